"""Where a visit has read every pair of a passive group: the parts of it judged by their branches, none lifted.

One reading between two nets holds all that lies around the part. All readings between three or more nets hold what
lies between each two (computed guarding), and assume nothing of the other parts: what they say comes first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import CircuitError, UsageError
from benchcheck.kinds.check import Check
from benchcheck.metrology import Budget, Contribution, Verdict
from benchcheck.quantity import DisplayState, brief_value
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.model import Score
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.score.branches import FoundBranch

__all__ = ["judged_by_branches"]

Pair = frozenset[str]
_MEASURAND = "resistance"
_CONVICTED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def judged_by_branches(
    board: Board,
    bench: Bench,
    session: Session,
    readings: Mapping[str, Sequence[Reading]],
    scores: Mapping[str, Score],
) -> dict[str, Score]:
    """Return the scores that change, by check id, because the branch that a part is has been worked out.

    `readings` and `scores` are those of the visit by check id. Groups whose readings make no branches change nothing.
    """
    read = dict(_read(board, bench, readings))
    changed: dict[str, Score] = {}
    for nets in _groups(board, read, scores):
        of_group = [(name, one) for name, one in read.items() if _pair(board.by_id[name]) <= nets]
        for branch in _branches(board, bench, session, of_group):
            name = f"{branch.part}.{_MEASURAND}"
            score = scores.get(name)
            if branch.part and score is not None and name in read and name not in changed:
                new = _with_branch(score, branch, nets)
                if new is not None:
                    changed[name] = new
    return changed


def _read(board: Board, bench: Bench, readings: Mapping[str, Sequence[Reading]]) -> Iterator[tuple[str, Reading]]:
    """Yield the resistances read, by check id, on the meter whose errors are known and with all switches at rest."""
    meter = bench.meter_for(Function.OHMS)
    for name, taken in readings.items():
        check = board.by_id.get(name)
        if check is None or check.function is not Function.OHMS or check.powered or check.switches or not taken:
            continue
        value, known = taken[-1].display.value, meter is not None and taken[-1].meter in ("", meter.name)
        steady = taken[-1].display.state is DisplayState.VALUE
        if len(_pair(check)) == 2 and known and steady and value is not None and value > 0.0:
            yield name, taken[-1]


def _pair(check: Check) -> Pair:
    return frozenset(probe.net for probe in (check.red, check.black) if probe is not None and probe.net)


def _groups(board: Board, read: Mapping[str, Reading], scores: Mapping[str, Score]) -> Iterator[Pair]:
    """Yield groups of three nets or more of which every pair was read, each around a part that is not yet clear."""
    pairs = {_pair(board.by_id[name]) for name in read}
    given: set[Pair] = set()
    for name in read:
        score = scores.get(name)
        if score is None or board.by_id[name].measurand != _MEASURAND:
            continue
        group = set(_pair(board.by_id[name]))
        for net in sorted({net for pair in pairs for net in pair} - group):
            if all(frozenset((net, other)) in pairs for other in group):
                group.add(net)
        found = frozenset(group)
        if len(found) > 2 and found not in given:
            given.add(found)
            yield found


def _branches(
    board: Board, bench: Bench, session: Session, of_group: Sequence[tuple[str, Reading]]
) -> tuple[FoundBranch, ...]:
    from benchcheck.score.branches import branches

    taken = []
    for name, one in of_group:
        check = board.by_id[name]
        assert check.red is not None
        assert check.black is not None
        assert one.display.value is not None
        taken.append((check.red.net or "", check.black.net or "", one.display.value, one.display.resolution or 0.0))
    try:
        return branches(board, bench, taken, session)
    except (CircuitError, UsageError):
        return ()


def _with_branch(score: Score, branch: FoundBranch, nets: Pair) -> Score | None:
    """Return the score by the branch, or None where it says nothing new.

    What is decided comes in the place of what was said of one reading; a branch that decides nothing is only told.
    """
    value = f"at least {brief_value(branch.at_least_ohm, 'ohm', 3)}"
    if branch.value is not None and branch.standard_uncertainty is not None:
        value = f"{brief_value(branch.value, 'ohm', 4)}, u {brief_value(branch.standard_uncertainty, 'ohm', 2)}"
    told = f"by all readings between {', '.join(sorted(nets))} it is {value}"
    if branch.verdict in ("", Verdict.UNDECIDED) or (
        score.verdict is Verdict.PASS and branch.verdict != Verdict.FAIL
    ):
        if score.verdict is not Verdict.UNDECIDED:
            return None
        return replace(score, because=f"{score.because}; {told}")
    verdict = Verdict(branch.verdict)
    if verdict is score.verdict:
        return None
    budget = None
    if branch.value is not None and branch.standard_uncertainty is not None:
        spread = Contribution(f"{score.check}.branch", "the readings of the group", branch.standard_uncertainty)
        budget = Budget(branch.value, "ohm", (spread,))
    return replace(
        score,
        verdict=verdict,
        code=None,
        value=branch.value,
        expanded_uncertainty=None if budget is None else 2.0 * budget.combined_standard_uncertainty,
        coverage_factor=None if budget is None else 2.0,
        guard_band=None,
        conformance_probability=None,
        because=told + (f"; {branch.because}" if branch.because and verdict in _CONVICTED else ""),
        change="" if verdict is Verdict.PASS else score.change,
        budget=budget,
    )
