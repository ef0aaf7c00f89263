"""Readings as evidence: numbers and overloads between nets, what the eyes saw, charge that was left.

What carries no number (jumps, beeps) and what was skipped says nothing here. Repeats of one check count once, by their
mean: touch-downs share the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.shots import Shot, shot_of
from benchcheck.kinds.check import Check
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session
from benchcheck.spec.board import Board

__all__ = ["Evidence", "Seen", "evidence_of"]

_CHARGE_V = 0.05  # common practice: 50 mV or less before ohms


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading between two nets: `value` in the function's unit, NaN for overload; `resolution` of its last digit."""

    check: str
    shot: Shot
    value: float
    resolution: float = 0.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that was read: between nets, by the eyes (part to "yes" or "no"), charge by net, volts and amperes under power.

    `numbers` are all numeric readings by check; `unread` the checks between nets without a reading.
    """

    seen: tuple[Seen, ...] = ()
    orientation: Mapping[str, str] | None = None
    charged: frozenset[str] = frozenset()
    powered: Mapping[str, float] | None = None
    numbers: Mapping[str, float] | None = None
    unread: tuple[Check, ...] = ()
    leads_ohm: float | None = None


def evidence_of(board: Board, readings: Sequence[Reading], session: Session) -> Evidence:
    """Return what a set of readings says; checks the board does not have are left out."""
    by_check: dict[str, list[Reading]] = {}
    for reading in readings:
        by_check.setdefault(reading.check, []).append(reading)
    known = [(board.by_id[name], taken) for name, taken in by_check.items() if name in board.by_id]
    numbers = {check.id: value for check, taken in known if not math.isnan(value := _value(taken))}
    return Evidence(
        tuple(_between(board, known)),
        {check.subject: _answer(taken) for check, taken in known if check.measurand == "orientation"},
        frozenset(_charged(known, numbers)),
        {check.id: numbers[check.id] for check, _ in known if check.powered and check.id in numbers},
        numbers,
        tuple(c for c in board.checks if c.id not in by_check and shot_of(c, board) is not None),
        session.leads_ohm,
    )


def _value(taken: Sequence[Reading]) -> float:
    values = [one.display.value for one in taken if one.display.value is not None]
    return fmean(values) if values else math.nan


def _overloaded(taken: Sequence[Reading]) -> bool:
    return all(one.display.state is DisplayState.OVERLOAD or one.display.to_overload for one in taken)


def _answer(taken: Sequence[Reading]) -> str:
    return {DisplayState.YES: "yes", DisplayState.NO: "no"}.get(taken[-1].display.state, "")


def _between(board: Board, known: Iterable[tuple[Check, list[Reading]]]) -> Iterable[Seen]:
    for check, taken in known:
        shot = shot_of(check, board)
        value = _value(taken)
        if shot is None or (math.isnan(value) and not _overloaded(taken)):
            continue
        if taken[-1].polarity == "swapped":
            shot = replace(shot.reversed, lead=None)
        digits = [one.display.resolution or 0.0 for one in taken]
        yield Seen(check.id, shot, value, max(digits))


def _charged(known: Iterable[tuple[Check, list[Reading]]], numbers: Mapping[str, float]) -> Iterable[str]:
    for check, _ in known:
        left = check.measurand == "residual_voltage" and check.function is Function.DC_VOLTAGE
        if left and abs(numbers.get(check.id, 0.0)) > _CHARGE_V:
            yield from (
                probe.net for probe in (check.red, check.black) if probe is not None and probe.net is not None
            )
