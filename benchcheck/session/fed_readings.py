"""Readings the supply itself gives: the idle current it reads back, and how long it held its limit at first power.

A read-back below 5 mA is no evidence. The time of an inrush is known to between two polls: where they are close, its
reading is the middle of that interval with half of it as the last digit, so that it stands in the budget.
"""

from __future__ import annotations

from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.instruments.power_sequence import RESOLVED_POLLS
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import Display, DisplayState, format_value
from benchcheck.readings.reading import Origin, Reading
from benchcheck.session.feed import SwitchedOn
from benchcheck.session.power import Power, PowerEnded
from benchcheck.session.power_rules import supply_of_bench

__all__ = ["EVIDENCE_AMPERE", "at_the_limit", "idle_readings", "inrush_reading"]

#: below this a supply's own display is no evidence.
EVIDENCE_AMPERE = 5e-3
_FINEST_S = 1e-3


def idle_readings(check: Check, power: Power) -> tuple[Reading, ...]:
    """Return the idle current as the supply reads it back, several readings where it wanders.

    Empty where it is too small to be evidence.
    """
    points = power.steady()
    if any(abs(point.current_ampere) < EVIDENCE_AMPERE for point in points):
        return ()
    note = "read back by the supply, standing still" if len(points) == 1 else "read back by the supply, wandering"
    readings = (_read_back(check, power.bench, point.current_ampere, note) for point in points)
    return tuple(replace(one, repeat=place) for place, one in enumerate(readings, 1))


def inrush_reading(check: Check, first: SwitchedOn) -> Reading:
    """Return how long the first power-up held the current limit.

    Where polls do not resolve it only its end counts, and only for a limit it does not reach; beyond that nobody
    knows: the reading is then words, which decide nothing, and its note says between which polls it lay.
    """
    half_s = max((first.latest_s - first.earliest_s) / 2.0, _FINEST_S)
    if first.gap_s <= first.charging_s / RESOLVED_POLLS and half_s <= first.charging_s / RESOLVED_POLLS:
        middle_s = (first.latest_s + first.earliest_s) / 2.0
        ends = " and ".join(map(_shown, (first.earliest_s, first.latest_s)))
        return _timed(check, middle_s, half_s, f"between {ends}")
    most, gap = _shown(first.latest_s), _shown(first.gap_s)
    upper = check.limits.upper
    if upper is not None and first.latest_s + _FINEST_S <= upper and check.limits.lower is None:
        note = f"at most this: polls {gap} apart do not resolve it"
        return _timed(check, first.latest_s, _FINEST_S, note)
    lay = f"it ended between the looks at {_shown(first.earliest_s)} and {most}"
    if first.earliest_s < _FINEST_S:
        lay = f"it was over by the first look after {most}"
    display = Display(f"at most {most}", DisplayState.TEXT)
    note = f"looks at the supply were up to {gap} apart, and {lay}"
    return Reading(check.id, display, "s", Origin.METERED, note=note)


def _shown(seconds: float) -> str:
    return format_value(seconds, "s", _FINEST_S, ascii=True)


def at_the_limit(check: Check, ended: PowerEnded, bench: Bench) -> Reading | None:
    """Return what the supply showed when it was switched off, where that answers a check of the supply itself."""
    if ended.last is None or check.measurand != "idle_current" or check.phase is not Phase.IDLE:
        return None
    return _read_back(check, bench, ended.last.current_ampere, f"switched off: {ended.reason}")


def _read_back(check: Check, bench: Bench, current_ampere: float, note: str) -> Reading:
    supply = supply_of_bench(bench, check.subject)
    assert supply is not None
    chosen = supply.readback.range_for(Function.DC_CURRENT, current_ampere)
    step = chosen.resolution if chosen is not None else 1e-3
    text = format_value(current_ampere, "A", step, ascii=True)
    display = Display(text, DisplayState.VALUE, current_ampere, step)
    named = chosen.name if chosen is not None else ""
    return Reading(check.id, display, "A", Origin.METERED, meter=supply.name, meter_range=named, note=note)


def _timed(check: Check, value_s: float, half_s: float, note: str) -> Reading:
    display = Display(format_value(value_s, "s", half_s, ascii=True), DisplayState.VALUE, value_s, half_s)
    return Reading(check.id, display, "s", Origin.METERED, note=note)
