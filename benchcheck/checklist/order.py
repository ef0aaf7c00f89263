"""The order of a visit: look, prove that charge is gone, polarity, parts, shorts, and only then power.

Within a phase checks of one function stand together, so that the meter's switch is turned least, and among those
the one comes next for which the fewest tips are moved, so that black stays on ground while red goes round; derived
checks follow the last of their sources.
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

__all__ = ["Checklist", "Places", "draw_up", "in_order", "moves", "tips"]

#: where red and black are: a net or a point, None where they are not yet anywhere.
Places = tuple[str | None, str | None]

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
    """Return the checks in the order to take them; those alike in phase and function by the tips they move."""
    placed = _sparing_the_hands(sorted(checks, key=_switch))
    line = [check for check in placed if not check.sources]
    for derived in (check for check in placed if check.sources):
        last = max((at for at, check in enumerate(line) if check.id in derived.sources), default=len(line) - 1)
        line.insert(last + 1, derived)
    return tuple(line)


def _switch(check: Check) -> tuple[Phase, int]:
    """Return what stands together: the phase, and where the meter's switch is."""
    return check.phase, _FUNCTION_ORDER[check.function]


def moves(red_black: Places, check: Check) -> int:
    """Return how many tips are moved for a check from where they are; a check without tips moves none."""
    goes = tips(check)
    return sum(to is not None and to != at for at, to in zip(red_black, goes, strict=True))


def tips(check: Check) -> Places:
    """Return where red and black go: the net where the spec says so, else the point; None where there is no tip."""
    return _place(check.red), _place(check.black)


def _place(probe: Probe | None) -> str | None:
    return (probe.net or probe.point) if probe is not None else None


def _sparing_the_hands(line: Sequence[Check]) -> list[Check]:
    """Return the checks, within each function the nearest next; equally near ones keep their order.

    Switches of the board are set no more often for it, and under power nothing changes place: load and supply
    voltage come first there.
    """
    found: list[Check] = []
    at: Places = (None, None)
    for (phase, _), alike in groupby(line, key=_switch):
        left = list(alike)
        while left:
            place = 0 if phase.powered else _nearest(at, found[-1].switches if found else (), left)
            found.append(left.pop(place))
            red, black = tips(found[-1])
            at = red or at[0], black or at[1]
    return found


def _nearest(at: Places, switches: tuple[tuple[str, str], ...], left: Sequence[Check]) -> int:
    """Return the place of the check for which least is moved: switches before tips."""
    return min(range(len(left)), key=lambda one: (left[one].switches != switches, moves(at, left[one])))


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
