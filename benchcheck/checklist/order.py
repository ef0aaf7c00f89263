"""The order of a visit: look, prove that charge is gone, polarity, parts, shorts, and only then power.

Within a phase checks of one function stand together, so that the meter's switch is turned least. Among those a part's
own checks keep their order (forward before reverse), and the part comes next for which the fewest points are sought
anew, so that one tip stays on ground while the other goes round; derived checks follow the last of their sources.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from benchcheck.bench.functions import Function
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.waivers import Waiver
from benchcheck.kinds.check import Check, Phase, Probe
from benchcheck.spec.board import Board

__all__ = ["Checklist", "draw_up", "in_order", "points_of", "sought_anew"]

#: the phases in which the order of the file says nothing.
_FREE = (Phase.POLARITY, Phase.PARTS, Phase.ISOLATION)
_FUNCTION_ORDER = {function: place for place, function in enumerate(Function)}


@dataclass(frozen=True, slots=True)
class Checklist:
    """The checks of one visit in the order to take them.

    `pulled_in` are the ids that nobody selected but a selected check needs before it.
    """

    board: Board
    checks: tuple[Check, ...]
    pulled_in: frozenset[str] = frozenset()
    waivers: tuple[Waiver, ...] = ()


def in_order(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return the checks in the order to take them; those alike in phase and function by the points they need."""
    placed = _sparing_the_hands(sorted(checks, key=_switch))
    line = [check for check in placed if not check.sources]
    for derived in (check for check in placed if check.sources):
        last = max((at for at, check in enumerate(line) if check.id in derived.sources), default=len(line) - 1)
        line.insert(last + 1, derived)
    return tuple(line)


def _switch(check: Check) -> tuple[Phase, int]:
    """Return what stands together: the phase, and where the meter's switch is."""
    return check.phase, _FUNCTION_ORDER[check.function]


def points_of(check: Check) -> frozenset[str]:
    """Return what the tips touch: the net where the spec says so, else the point."""
    return frozenset(map(_point, filter(None, (check.red, check.black))))


def sought_anew(at: frozenset[str], check: Check) -> int:
    """Return how many points have to be found for a check by a hand whose tips are at others already."""
    return len(points_of(check) - at)


def _point(probe: Probe) -> str:
    return probe.net or probe.point


def _sparing_the_hands(line: Sequence[Check]) -> list[Check]:
    """Return the checks, within each function the part with the nearest points next; equally near ones as they were.

    Switches of the board are set no more often for it. Elsewhere the order of the file means something: the supply
    before its rails, loads one after the other.
    """
    found: list[Check] = []
    at: frozenset[str] = frozenset()
    for (phase, _), alike in groupby(line, key=_switch):
        left = list(alike)
        while left:
            last = found[-1] if found else None
            found.append(left.pop(_nearest(at, last, left) if phase in _FREE else 0))
            at = points_of(found[-1]) or at
    return found


def _nearest(at: frozenset[str], last: Check | None, left: Sequence[Check]) -> int:
    """Return the place of the check for which least is done: its part is at hand, switches, points."""
    subject, switches = (last.subject, last.switches) if last is not None else ("", ())
    first_of = {check.subject: place for place, check in reversed(list(enumerate(left)))}
    if subject in first_of:
        return first_of[subject]
    places = sorted(first_of.values())
    return min(places, key=lambda one: (left[one].switches != switches, sought_anew(at, left[one])))


def draw_up(
    board: Board,
    selected: Collection[str] | None = None,
    *,
    waivers: tuple[Waiver, ...] = (),
    at_the_bench: bool = True,
) -> Checklist:
    """Return the checklist for the selected check ids, all of the board's when None.

    A derived check brings its sources, a powered check what must be in order before power. `at_the_bench`
    is false when every reading is already on file: then nothing is probed and residual charge needs no proof.
    """
    if selected is None:
        return Checklist(board, in_order(board.checks), waivers=waivers)
    wanted = _with_needs(board, selected, at_the_bench)
    chosen = tuple(check for check in board.checks if check.id in wanted)
    pulled_in = frozenset(wanted - set(selected))
    return Checklist(board, in_order(chosen), pulled_in, waivers)


def _with_needs(board: Board, selected: Collection[str], at_the_bench: bool) -> set[str]:
    interlocks = Interlocks.of(board)
    wanted, open_ends = set(selected), list(selected)
    while open_ends:
        check = board.by_id[open_ends.pop()]
        needs = set(check.sources)
        if check.powered or at_the_bench:
            needs.update(interlocks.prerequisites(check))
        open_ends.extend(needs - wanted)
        wanted |= needs
    return wanted
