"""A reading as the circuit sees it: which nets the tips touch, on which function, with switches how.

Most checks are read from net to net. Where a check speaks of a part's own lead (its polarity, its joint), the lead is
kept: under some faults it is not on the net it should be on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Device
from benchcheck.kinds.build import pin_words
from benchcheck.kinds.check import Check, Probe
from benchcheck.kinds.part import Part
from benchcheck.spec.board import Board

__all__ = ["ALTERNATING", "DIRECT", "Lead", "MeterErrors", "Shot", "device_pin", "shot_of"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

DIRECT = (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE)
ALTERNATING = (Function.CAPACITANCE, Function.ESR)
_OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)
_BY_LEAD = ("polarity", "joint")
#: a last digit that is no other range's, as a ratio, and how far beyond its end a range may show a number.
_FINER, _BEYOND = 1.5, 1.05


@dataclass(frozen=True, slots=True)
class Lead:
    """One tip on a part's own lead rather than on its net; `on_red` says which tip."""

    designator: str
    pin: str
    on_red: bool


@dataclass(frozen=True, slots=True)
class Shot:
    """Red and black net, function, switch positions that differ from rest, and the lead where one is touched."""

    red: str
    black: str
    function: Function
    switches: tuple[tuple[str, str], ...] = ()
    lead: Lead | None = None

    @property
    def reversed(self) -> Shot:
        """The same with the probes exchanged."""
        return Shot(self.black, self.red, self.function, self.switches)


def shot_of(check: Check, board: Board) -> Shot | None:
    """Return the shot of an unpowered check between two nets, None for every other check."""
    if check.powered or check.function not in (*DIRECT, *ALTERNATING):
        return None
    if check.red is None or check.black is None or check.red.net is None or check.black.net is None:
        return None
    rest = {name: getattr(part, "rest", "") for name, part in board.parts.items()}
    switches = tuple((name, position) for name, position in check.switches if rest.get(name) != position)
    return Shot(check.red.net, check.black.net, check.function, switches, _lead(check, board))


def _lead(check: Check, board: Board) -> Lead | None:
    part = board.parts.get(check.subject)
    if part is None or check.measurand not in _BY_LEAD:
        return None
    for probe, on_red in ((check.red, True), (check.black, False)):
        pin = _pin_touched(part, probe)
        if pin:
            return Lead(part.designator, pin, on_red)
    return None


def _pin_touched(part: Part, probe: Probe | None) -> str:
    if probe is None:
        return ""
    return next((pin for pin in part.pins if probe.point == f"{part.designator} {pin_words(pin)}"), "")


def device_pin(board: Board, device: Device, lead: Lead) -> str:
    """Return what a lead of a part is called on its circuit device."""
    if lead.pin in device.PINS:
        return lead.pin
    place = list(board.parts[lead.designator].pins).index(lead.pin)
    return device.PINS[place]


class MeterErrors:
    """What the bench's meters add to a reading of each function: their limits of error and where overload begins.

    They are at `ambient_c`, in degree Celsius.
    """

    def __init__(self, bench: Bench, ambient_c: float = 23.0) -> None:
        self._bench, self.ambient_c = bench, ambient_c
        self._known: dict[Function, list[tuple[float, float, float]]] = {}

    def _lines(self, function: Function) -> list[tuple[float, float, float]]:
        """Return (ceiling, limit of error at 0, slope of it) of each range, smallest first."""
        if function not in self._known:
            lines = []
            for each in self._ranges(function):
                base = each.half_width(0.0, self.ambient_c)
                full = each.half_width(each.full_scale, self.ambient_c)
                lines.append((each.ceiling, base, (full - base) / each.full_scale))
            self._known[function] = lines
        return self._known[function]

    def limit_of_error(self, function: Function, value: Floats, places: Indices | None = None) -> Floats:
        """Return the limit of error at each value, in the function's quantity unit; NaN stays.

        A value is of the first range that holds it, or of a further one where `places` says so.
        """
        size = np.abs(value)
        lines = self._lines(function)
        if not lines:
            return 0.03 * size + 1e-12
        found = lines[-1][1] + lines[-1][2] * size
        least = np.full(size.shape, -1) if places is None else places
        for place, (ceiling, base, slope) in reversed(list(enumerate(lines[:-1]))):
            here = ((size <= ceiling) & (place > least)) | (place == least)
            found = np.where(here, base + slope * size, found)
        return np.asarray(found)

    def line_of(self, function: Function, place: int) -> tuple[float, float] | None:
        """Return the limit of error at nothing and its slope in a range of a function; None where there is none."""
        lines = self._lines(function)
        return lines[place][1:] if 0 <= place < len(lines) else None

    def place_of(self, function: Function, value: float, name: str = "") -> int:
        """Return the place of the range of a name, where there is one, else of the first that holds a value."""
        named = (at for at, one in enumerate(self._ranges(function)) if one.name == name)
        return next(named, int(self.range_of(function, np.array([value]))[0]))

    def meter_of(self, function: Function) -> str:
        """Return the name of the bench's meter for a function, "" where there is none."""
        meter = self._bench.meter_for(function)
        return meter.name if meter is not None else ""

    def on_one_meter(self, *functions: Function) -> bool:
        """Return whether one meter of the bench reads all of these functions."""
        return len({id(self._bench.meter_for(function)) for function in functions}) == 1

    def overload_from(self, function: Function) -> float:
        """Return the value from which the display shows overload."""
        meter = self._bench.meter_for(function)
        widest = meter.widest(function) if meter is not None else None
        return widest.overload_from if widest is not None else float("inf")

    def test_current_a(self, function: Function, value: Floats) -> Floats:
        """Return the current that each value is read with, in ampere; 1 mA where the bench does not say."""
        found = np.full(np.shape(value), 1e-3)
        for each in reversed(self._ranges(function)):
            found = np.where(~(np.abs(value) > each.ceiling), each.test_current_a or 1e-3, found)
        return np.asarray(found)

    def ceilings(self, function: Function) -> list[float]:
        """Return the largest value each range of a function shows, smallest range first."""
        return [ceiling for ceiling, _, _ in self._lines(function)]

    def range_of(self, function: Function, value: Floats) -> NDArray[np.intp]:
        """Return the place of the range each value is shown in, smallest first."""
        return np.searchsorted(self.ceilings(function), np.abs(value) * (1.0 - 1e-9))

    def ranges_shown(
        self, function: Function, value: float, resolution: float = 0.0, name: str = ""
    ) -> tuple[int, int]:
        """Return the places of the first and the last range one reading of ohms can have been shown in, else -1.

        Both are the range of a name, where it is known. Else the first holds the reading, or has its digits: a
        display a few counts beyond a range's end has digits that the next range does not have. Nor is the last one
        whose digits are coarser. It is the widest where digits are not known (0), or finer than those of the first:
        what a meter sends may have more of them than its display.
        """
        ranges = self._ranges(function)
        if function not in _OHMS or np.isnan(value) or not ranges:
            return -1, -1
        named = [at for at, one in enumerate(ranges) if one.name == name]
        if named:
            return named[0], named[0]
        place = int(self.range_of(function, np.array([value]))[0])
        while place > 0 and resolution and abs(value) <= ranges[place - 1].ceiling * _BEYOND:
            if place < len(ranges) and ranges[place].resolution <= _FINER * resolution:
                break
            place -= 1
        alike = sum(one.resolution <= _FINER * resolution for one in ranges[place:])
        return place, place + alike - 1 if alike else max(len(ranges) - 1, place)

    def _ranges(self, function: Function) -> list[MeterRange]:
        """Return the ranges of a function, smallest first; of ohms those that a circuit can be solved for, if any."""
        meter = self._bench.meter_for(function)
        every = sorted(meter.ranges_of(function), key=lambda one: one.full_scale) if meter is not None else []
        driven = [one for one in every if one.test_current_a and one.compliance_v]
        return driven if driven and function in _OHMS else every

    def leads_ohm(self, function: Function, read_ohm: float | None) -> tuple[float, float]:
        """Return what leads add to a reading of ohms and its standard deviation, in ohm."""
        meter = self._bench.meter_for(function)
        if meter is None or function not in (Function.OHMS, Function.LOW_POWER_OHMS, Function.ESR):
            return 0.0, 0.0
        if function is Function.ESR:
            return 0.0, 0.02
        if read_ohm is not None and meter is self._bench.meter_for(Function.OHMS):
            return read_ohm, 0.03
        if meter.leads.nulled:
            return 0.0, 0.02
        return meter.leads.resistance_ohm, meter.leads.limits_ohm / 1.7
