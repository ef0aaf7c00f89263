"""What readings under power say for and against a fault: a few signatures, each worth a fixed factor.

A current above its limit is a path that should not be there; a rail at nothing is shorted or not fed; a rail one
diode drop below its input is a converter that does not switch; a rail too high has lost its feedback. The factors are
common practice without a source, small beside what a reading between nets says.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import part_of
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = ["signs_under_power", "under_power"]

Floats = NDArray[np.float64]

_STRONG, _FAIR, _AGAINST = math.log(20.0), math.log(8.0), math.log(0.05)
_JOINING = ("short", "bridge", "leaky", "reversed")
_PARTING = ("open", "missing-joint", "decade")
#: what a diode takes between the input and the output of a converter that stands still, in volt (common practice).
_DROP_V = (0.1, 1.0)
_NOTHING = 0.1  # of the nominal voltage, and of the largest idle current


def under_power(board: Board, hypotheses: Sequence[Hypothesis], evidence: Evidence) -> Floats:
    """Return what the powered readings add to the log odds of every hypothesis."""
    found = np.zeros(len(hypotheses))
    for nets, codes, worth, _ in signs_under_power(board, evidence):
        for at, one in enumerate(hypotheses):
            if one.code in codes and nets & _nets(board, one):
                found[at] += worth
    return found


def _nets(board: Board, one: Hypothesis) -> set[str]:
    """Return the nets a fault concerns."""
    if one.part_fault is not None and one.part_fault.where and not one.part_fault.designator:
        return set(one.part_fault.where)
    part = board.parts.get(part_of(one.designator))
    return set(part.pins.values()) if part is not None else set()


Sign = tuple[set[str], tuple[str, ...], float, str]


def signs_under_power(board: Board, evidence: Evidence) -> Iterator[Sign]:
    """Yield (nets, codes, worth, words) for every powered reading that says something."""
    for name, value in (evidence.powered or {}).items():
        check = board.by_id[name]
        if check.measurand == "idle_current":
            yield from _idle(board, check, value)
        elif check.measurand == "voltage" and check.subject in board.rails:
            yield from _rail(board, check, value)


def _fed(board: Board) -> set[str]:
    supplies = {each.nets["plus"] for each in board.supplies.values()}
    return supplies | {each.nets["plus"] for each in board.rails.values()}


def _idle(board: Board, check: Check, value: float) -> Iterator[Sign]:
    upper = check.limits.upper
    supply = {board.supplies[check.subject].nets["plus"]}
    if upper is None:
        return
    if value > upper:
        yield _fed(board) - {""}, _JOINING, _STRONG, f"{check.id} is above its limit: a path that should not be there"
    elif abs(value) < _NOTHING * upper:
        yield supply | _behind(board, supply), _PARTING, _FAIR, f"{check.id} is next to nothing: the way in is open"


def _behind(board: Board, nets: set[str]) -> set[str]:
    """Return the nets one part further in."""
    ground = board.ground()
    parts = [part for part in board.parts.values() if nets & set(part.pins.values())]
    return {net for part in parts for net in part.pins.values()} - {ground or ""}


def _rail(board: Board, check: Check, value: float) -> Iterator[Sign]:
    rail = board.rails[check.subject]
    plus = {rail.nets["plus"]}
    limits, size = check.limits, abs(value)
    lower = min((abs(end) for end in (limits.lower, limits.upper) if end is not None), default=0.0)
    upper = max((abs(end) for end in (limits.lower, limits.upper) if end is not None), default=math.inf)
    if math.copysign(1.0, value) != math.copysign(1.0, rail.voltage) and size >= _NOTHING * abs(rail.voltage):
        words = f"{check.id} has the wrong sign: red and black exchanged, or the rail fed the wrong way round"
        yield plus | _behind(board, plus), ("reversed", "swapped-pins"), _FAIR, words
    elif lower <= size <= upper:
        yield plus, ("short",), _AGAINST / 2.0, f"{check.id} is within its limits"
    elif size < _NOTHING * abs(rail.voltage):
        yield plus, (*_JOINING, *_PARTING), _FAIR, f"{check.id} is next to nothing: shorted, or not fed"
    elif size > upper:
        yield plus | _behind(board, plus), _PARTING, _FAIR, f"{check.id} is too high: its feedback is lost"
    elif any(_DROP_V[0] < abs(one.voltage) - size < _DROP_V[1] for one in board.supplies.values()):
        words = f"{check.id} is a diode drop below its input: the converter does not switch"
        yield _behind(board, plus), (*_PARTING, "short", "swapped-pins", "wrong-polarity-type"), _FAIR, words
    else:
        yield plus | _behind(board, plus), (*_JOINING, *_PARTING), _FAIR / 2.0, f"{check.id} is too low"
