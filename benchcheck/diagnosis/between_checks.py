"""Readings between any two nets, so that what the diagnosis asks for can be written down: `between.ohms[BSW:LX]`."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.diagnosis.shots import ALTERNATING, DIRECT
from benchcheck.kinds.between import between_check, between_refused
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = ["between_checks", "not_between"]


def between_checks(board: Board, bench: Bench) -> Iterator[Check]:
    """Yield a check without limits for every two nets and every function of the bench that tells of the circuit."""
    nets = _nets(board)
    for function in _functions(bench):
        for red in nets:
            for black in nets:
                if red != black:
                    yield between_check(function, red, black)


def not_between(board: Board, bench: Bench, name: str) -> str:
    """Return why none of these checks has such a name, "" where one has it."""
    return between_refused(name, _nets(board), tuple(map(str, _functions(bench))))


def _nets(board: Board) -> list[str]:
    return sorted({net for part in board.parts.values() for net in part.pins.values()})


def _functions(bench: Bench) -> list[Function]:
    return [function for function in (*DIRECT, *ALTERNATING) if bench.meter_for(function) is not None]
