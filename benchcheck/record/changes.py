"""What changed on a unit between two visits, the most significant first.

A change counts against the uncertainty of the difference: what one meter got wrong both times cancels, what
two meters got wrong each in its own way does not. A display that changed its kind (a value, then OL) stands
above every number, since no budget has a difference for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.metrology import Budget, Contribution, Verdict, difference
from benchcheck.quantity import DisplayState
from benchcheck.record.record import Record
from benchcheck.record.visits import meter_key, record_budgets, resolutions, same_meters
from benchcheck.score.model import Outcome, Score

__all__ = ["Change", "ChangeKind", "Changes", "changes_between"]

LEVEL = 0.9545
_RANKS = {verdict: rank for rank, verdict in enumerate(Verdict)}


class ChangeKind(StrEnum):
    """What sort of change it is."""

    SHAPE = "shape"  # a value, then a word or overload, or the other way round, or another word
    VALUE = "value"
    VERDICT = "verdict"  # the verdict alone: other limits, another guard band, another meter
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Change:
    """One check on two visits; numbers in its SI quantity unit, None where there is no difference to take.

    `difference` is later minus earlier with its `expanded_uncertainty` at 95.45 %; `significance` their ratio,
    above 1 where the change is more than the uncertainty, infinite for a change of shape. `one_meter` says
    that the meter's own errors cancelled.
    """

    check: str
    kind: ChangeKind
    earlier: Score
    later: Score
    difference: float | None = None
    expanded_uncertainty: float | None = None
    significance: float = 0.0
    one_meter: bool = False

    @property
    def significant(self) -> bool:
        """Whether the change is more than its uncertainty can explain."""
        return self.significance > 1.0


@dataclass(frozen=True, slots=True)
class Changes:
    """Two visits compared: every check both measured, the most significant change first.

    `only_earlier` and `only_later` are checks one of them measured; `remarks` say in words what limits the
    comparison.
    """

    earlier: Record
    later: Record
    ranked: tuple[Change, ...]
    only_earlier: tuple[str, ...] = ()
    only_later: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def changes_between(earlier: Record, later: Record) -> Changes:
    """Return what changed between two records, read with their budgets; the order given is kept."""
    before, after = _measured(earlier), _measured(later)
    budgets = record_budgets(earlier), record_budgets(later)
    counts = resolutions(earlier), resolutions(later)
    shapes = _shapes(earlier), _shapes(later)
    found = [
        _shaped(before[check], after[check], shapes)
        or _change(before[check], after[check], (budgets[0].get(check), budgets[1].get(check)), _count(counts, check))
        for check in before
        if check in after
    ]
    found.sort(key=lambda change: (-change.significance, -_worsening(change), change.kind == ChangeKind.SAME))
    return Changes(
        earlier,
        later,
        tuple(found),
        tuple(check for check in before if check not in after),
        tuple(check for check in after if check not in before),
        _remarks(earlier, later),
    )


def _measured(record: Record) -> dict[str, Score]:
    return {score.check: score for score in record.scores if score.outcome is Outcome.MEASURED}


def _count(counts: tuple[Mapping[str, float], Mapping[str, float]], check: str) -> float:
    return max(counts[0].get(check, 0.0), counts[1].get(check, 0.0))


def _shapes(record: Record) -> dict[str, str]:
    """Return what was shown for each check beside a number: a state, or the text itself where it is one."""
    return {
        reading.check: reading.display.text.casefold()
        if reading.display.state is DisplayState.TEXT
        else str(reading.display.state)
        for reading in record.readings
    }


def _shaped(before: Score, after: Score, shapes: tuple[Mapping[str, str], Mapping[str, str]]) -> Change | None:
    """Return the change of two scores of which a difference cannot be taken, None where it can."""
    if before.value is not None and after.value is not None and before.quantity_unit == after.quantity_unit:
        return None
    was = shapes[0].get(before.check, before.display.casefold())
    now = shapes[1].get(after.check, after.display.casefold())
    if was == now and (before.value is None) == (after.value is None):
        return Change(before.check, _of_verdict(before, after), before, after)
    return Change(before.check, ChangeKind.SHAPE, before, after, significance=math.inf)


def _change(before: Score, after: Score, budgets: tuple[Budget | None, Budget | None], count: float) -> Change:
    delta, expanded, one_meter = _difference(before, after, budgets, count)
    significance = abs(delta) / expanded if expanded else (math.inf if delta else 0.0)
    kind = ChangeKind.VALUE if significance > 1.0 else _of_verdict(before, after)
    return Change(before.check, kind, before, after, delta, expanded, significance, one_meter)


def _difference(
    before: Score, after: Score, budgets: tuple[Budget | None, Budget | None], count: float
) -> tuple[float, float, bool]:
    """Return the difference, its expanded uncertainty, and whether one meter's errors cancelled."""
    first, second = budgets
    if first is None or second is None:
        delta = (after.value or 0.0) - (before.value or 0.0)
        return delta, math.hypot(before.expanded_uncertainty or 0.0, after.expanded_uncertainty or 0.0), False
    shared = same_meters(first, second)
    left: tuple[Contribution, ...] = ()
    if shared and count:  # what sharing a meter does not remove
        left = (Contribution.from_limits("linearity", "differential linearity", count, origin="1 count"),)
    both = difference(second, first, left)
    return both.value, both.coverage(LEVEL).expanded_uncertainty, shared


def _of_verdict(before: Score, after: Score) -> ChangeKind:
    return ChangeKind.VERDICT if before.verdict is not after.verdict else ChangeKind.SAME


def _remarks_on_meters(earlier: Record, later: Record) -> list[str]:
    """Say which meters count as the same without a serial number, and which of one name do not."""
    remarks = []
    after = {one.name: one for one in later.head.instruments}
    for before in sorted((one for one in earlier.head.instruments if one.name in after), key=lambda one: one.name):
        if meter_key(before) != meter_key(after[before.name]):
            remarks.append(
                f"{before.name} is another meter, or was calibrated in between: its own errors do not cancel"
            )
        elif not before.identity:
            remarks.append(
                f"{before.name} has no serial number in the records; it is taken to be the same meter both times"
            )
    return remarks


def _worsening(change: Change) -> int:
    """Return by how many steps the verdict got worse, below 0 where it got better."""
    before, after = change.earlier.verdict, change.later.verdict
    return _RANKS[after] - _RANKS[before] if before and after else 0


def _remarks(earlier: Record, later: Record) -> tuple[str, ...]:
    remarks = []
    if earlier.head.unit != later.head.unit:
        remarks.append(f'the records are of two units, "{earlier.head.unit}" and "{later.head.unit}"')
    if (earlier.head.board, earlier.head.revision) != (later.head.board, later.head.revision):
        remarks.append("board or revision differ: a changed reading need not be a changed part")
    elif earlier.head.spec_digest != later.head.spec_digest:
        remarks.append("the spec was changed in between: verdicts may differ where readings do not")
    remarks += _remarks_on_meters(earlier, later)
    remarks += [f"{record.name}: {problem.message}" for record in (earlier, later) for problem in record.problems]
    return tuple(remarks)
