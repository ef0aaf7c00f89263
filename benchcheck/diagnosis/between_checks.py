"""Readings between any two nets, so that what the diagnosis asks for can be written down: `between.ohms[BSW:LX]`."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.bench.model import Bench
from benchcheck.diagnosis.shots import ALTERNATING, DIRECT
from benchcheck.kinds.between import between_check
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = ["between_checks"]


def between_checks(board: Board, bench: Bench) -> Iterator[Check]:
    """Yield a check without limits for every two nets and every function of the bench that tells of the circuit."""
    nets = sorted({net for part in board.parts.values() for net in part.pins.values()})
    for function in (*DIRECT, *ALTERNATING):
        if bench.meter_for(function) is None:
            continue
        for red in nets:
            for black in nets:
                if red != black:
                    yield between_check(function, red, black)
