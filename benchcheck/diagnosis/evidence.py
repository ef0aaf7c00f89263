"""Readings as evidence: numbers and overloads between nets, what the eyes saw, charge that was left.

What carries no number (jumps, beeps) and what was skipped says nothing here. Repeats of one check count once, by
their mean: touch-downs share the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.shots import Shot, shot_of
from benchcheck.kinds.between import between_named
from benchcheck.kinds.check import Check
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.measured import BROKEN_LEAD_OHM
from benchcheck.spec.board import Board

__all__ = ["Evidence", "Seen", "check_of", "evidence_of"]

_TIPS = "meter.leads_shorted"
_CHARGE_V = 0.05  # common practice: 50 mV or less before ohms


@dataclass(frozen=True, slots=True)
class Seen:
    """A reading between nets: `value` in the function's unit, NaN for overload, `resolution` of its last digit.

    `meter_range` names the range it was shown in, "" where nobody says; `by_digits` says whether its digits tell:
    those of what a meter sends may be made up. `meter` names what took it, "" for whatever was typed from.
    """

    check: str
    shot: Shot
    value: float
    resolution: float = 0.0
    meter_range: str = ""
    by_digits: bool = True
    meter: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that was read: between nets, by the eyes (part to "yes" or "no"), charge by net, and under power.

    `charges` are the checks that found it. `numbers` are all numeric readings by check; `unread` the checks between
    nets without a reading, `no_number` those whose reading has none. `leads_ohm` is what the tips read together,
    None also where no leads read so; `tips_open` says that they read overload.
    """

    seen: tuple[Seen, ...] = ()
    orientation: Mapping[str, str] | None = None
    charged: frozenset[str] = frozenset()
    charges: tuple[str, ...] = ()
    powered: Mapping[str, float] | None = None
    numbers: Mapping[str, float] | None = None
    unread: tuple[Check, ...] = ()
    no_number: tuple[str, ...] = ()
    leads_ohm: float | None = None
    tips_open: bool = False


def evidence_of(board: Board, readings: Sequence[Reading], session: Session) -> Evidence:
    """Return what a set of readings says; checks the board does not have are left out."""
    by_check: dict[str, list[Reading]] = {}
    for reading in readings:
        by_check.setdefault(reading.check, []).append(reading)
    known = [(check, taken) for name, taken in by_check.items() if (check := check_of(board, name)) is not None]
    numbers = {one.id: value for one, taken in known if not math.isnan(value := _value(taken))}
    charged = [one for one, _ in known if _is_charged(one, numbers)]
    return Evidence(
        tuple(_between(board, known)),
        {one.subject: _answer(taken) for one, taken in known if one.measurand == "orientation"},
        frozenset(probe.net for one in charged for probe in (one.red, one.black) if probe and probe.net),
        tuple(one.id for one in charged),
        {one.id: numbers[one.id] for one, _ in known if one.powered and one.id in numbers},
        numbers,
        tuple(c for c in board.checks if c.id not in by_check and shot_of(c, board) is not None),
        tuple(_no_number(board, known)),
        session.leads_ohm if abs(session.leads_ohm or 0.0) <= BROKEN_LEAD_OHM else None,
        _overloaded(by_check[_TIPS]) if _TIPS in by_check else False,
    )


def check_of(board: Board, name: str) -> Check | None:
    """Return the check of a reading: one of the spec's, or one between any two nets."""
    return board.by_id.get(name) or between_named(name)


def _value(taken: Sequence[Reading]) -> float:
    values = [one.display.value for one in taken if one.display.value is not None]
    return fmean(values) if values else math.nan


def _overloaded(taken: Sequence[Reading]) -> bool:
    return all(one.display.state is DisplayState.OVERLOAD or one.display.to_overload for one in taken)


def _no_number(board: Board, known: Iterable[tuple[Check, list[Reading]]]) -> Iterable[str]:
    """Yield the checks between nets that were read, but neither to a number nor to overload."""
    for one, taken in known:
        if shot_of(one, board) is not None and math.isnan(_value(taken)) and not _overloaded(taken):
            yield one.id


def _answer(taken: Sequence[Reading]) -> str:
    return {DisplayState.YES: "yes", DisplayState.NO: "no"}.get(taken[-1].display.state, "")


def _between(board: Board, known: Iterable[tuple[Check, list[Reading]]]) -> Iterable[Seen]:
    for one, taken in known:
        shot = shot_of(one, board)
        value = _value(taken)
        if shot is None or (math.isnan(value) and not _overloaded(taken)):
            continue
        if taken[-1].polarity == "swapped":
            shot = replace(shot.reversed, lead=None)
        digits = [each.display.resolution or 0.0 for each in taken]
        ranges, meters = {each.meter_range for each in taken}, {each.meter for each in taken} - {""}
        by_digits = all(each.origin is not Origin.METERED for each in taken)
        meter_range = ranges.pop() if len(ranges) == 1 else ""
        yield Seen(one.id, shot, value, max(digits), meter_range, by_digits, ", ".join(sorted(meters)))


def _is_charged(one: Check, numbers: Mapping[str, float]) -> bool:
    """Return whether a check of charge found some."""
    left = one.measurand == "residual_voltage" and one.function is Function.DC_VOLTAGE
    return left and abs(numbers.get(one.id, 0.0)) > _CHARGE_V
