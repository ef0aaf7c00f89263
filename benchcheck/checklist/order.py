"""The order of a visit: look, prove that charge is gone, polarity, parts, shorts, and only then power.

Within a phase checks of one function stand together, so that the meter's switch is turned least; derived
checks follow the last of their sources.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.waivers import Waiver
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = ["Checklist", "draw_up", "in_order"]

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
    """Return the checks in the order to take them; checks alike in phase and function keep their order."""
    placed = sorted(checks, key=lambda check: (check.phase, _FUNCTION_ORDER[check.function]))
    line = [check for check in placed if not check.sources]
    for derived in (check for check in placed if check.sources):
        last = max((at for at, check in enumerate(line) if check.id in derived.sources), default=len(line) - 1)
        line.insert(last + 1, derived)
    return tuple(line)


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
