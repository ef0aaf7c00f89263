"""What `verify --json` gives to programs: one plain mapping, ready for `json.dumps`, from what was recorded."""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchcheck.checklist.waivers import Waiver
from benchcheck.record.codec import score_fields
from benchcheck.record.model import EventKind, Head
from benchcheck.record.record import Record
from benchcheck.score.model import Score

__all__ = ["RESULTS_FORMAT", "check_result", "record_results", "results_json", "waivers_of"]

RESULTS_FORMAT = 1
_CHECK_KEYS = (
    "check", "outcome", "verdict", "display", "value", "quantity_unit", "expanded_uncertainty",
    "coverage_factor", "lower", "upper", "limit_origin", "guard_band", "conformance_probability", "polarity",
    "meter", "attempts", "reason", "because", "change",
)  # fmt: skip


def results_json(
    head: Head, scores: Iterable[Score], exit_code: int | None, waivers: Iterable[Waiver] | None = None
) -> dict[str, object]:
    """Return the result of a visit for programs; `waivers` are the head's unless given.

    Numbers are in the SI `quantity_unit` of their check. What is not there is null: the value of an overload,
    the verdict of a check that was not measured, the reason (a code) of a verdict that needs none.
    """
    given = head.waivers if waivers is None else waivers
    return {
        "format": RESULTS_FORMAT,
        "unit": head.unit,
        "board": head.board,
        "stage": str(head.stage),
        "spec_digest": head.spec_digest,
        "decision_rule": head.decision_rule,
        "waivers": [{"check": waiver.check, "reason": waiver.reason} for waiver in given],
        "exit_code": exit_code,
        "checks": [check_result(score) for score in scores],
    }


def record_results(record: Record) -> dict[str, object]:
    """Return the result of a record for programs; `exit_code` is null while the visit has come to none."""
    code = record.result.exit_code if record.result else None
    return results_json(record.head, record.scores, code, waivers_of(record))


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
