"""What `verify --json` gives to programs: one plain mapping, ready for `json.dumps`, from what was recorded."""

from __future__ import annotations

import math
from pathlib import Path

from benchcheck.checklist.waivers import Waiver
from benchcheck.record.codec import score_fields
from benchcheck.record.model import EventKind
from benchcheck.record.record import Record, read_record
from benchcheck.score.model import Score

__all__ = ["RESULTS_FORMAT", "check_result", "results_json", "waivers_of"]

RESULTS_FORMAT = 1
_CHECK_KEYS = (
    "check", "outcome", "verdict", "display", "value", "quantity_unit", "expanded_uncertainty",
    "coverage_factor", "lower", "upper", "limit_origin", "guard_band", "conformance_probability", "polarity",
    "meter", "attempts", "reason", "because", "change",
)  # fmt: skip


def results_json(record: Record | Path) -> dict[str, object]:
    """Return the result of a record, or of the record file at a path, for programs.

    Numbers are in the SI `quantity_unit` of their check. What is not there is null: the value of an overload,
    the verdict of a check that was not measured, the reason (a code) of a verdict that needs none, the exit
    code while the visit has come to none. Raises RecordError for a file that cannot be read.
    """
    if isinstance(record, Path):
        record = read_record(record, with_budgets=False)
    head = record.head
    return {
        "format": RESULTS_FORMAT,
        "unit": head.unit,
        "board": head.board,
        "stage": str(head.stage),
        "spec_digest": head.spec_digest,
        "decision_rule": head.decision_rule,
        "waivers": [{"check": waiver.check, "reason": waiver.reason} for waiver in waivers_of(record)],
        "exit_code": record.result.exit_code if record.result else None,
        "checks": [check_result(score) for score in record.scores],
    }


def check_result(score: Score) -> dict[str, object]:
    """Return one of `checks[]`: every key, whatever came of the check."""
    fields = score_fields(score)
    return {key: _plain(fields[key]) for key in _CHECK_KEYS} | {"attempts": score.attempts}


def waivers_of(record: Record) -> tuple[Waiver, ...]:
    """Return the waivers of a record: those it began with, and those written down on the way."""
    later = [
        Waiver(entry.value.check, entry.value.text)
        for entry in record.all_events
        if entry.value.kind is EventKind.WAIVER and entry.seal not in record.undone
    ]
    return (*record.head.waivers, *later)


def _plain(value: object) -> object:
    """JSON has no word for what is not finite."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
