"""What readings lean on, as strays of one standard deviation: one number a device, shared by all its readings.

The circuit gives slopes to resistances, forward voltages and idealities; here they become slopes to strays: a part's
value, a junction's own shift and its ideality, and what all junctions share.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, Device, Inductor, Resistor, part_of
from benchcheck.circuit.leanings import Leaning
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.shots import MeterErrors
from benchcheck.diagnosis.spread import (
    COMMON_JUNCTION_V,
    IDEALITY,
    JUNCTION_V,
    LED_SHARE,
    THERMAL_V,
    slot_spread,
    value_spread,
)
from benchcheck.spec.board import Board

__all__ = ["OHMS", "Reactive", "Strays", "moved_spread"]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Key = tuple[str, str, int]

OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)
#: of a reading whose slopes are not known: what the parts on its way spread, as a ratio, and a junction, in volt.
_MOVED_RATIO, _MOVED_JUNCTION_V = 0.04, 0.04
_JUNCTION_FROM_V, _JUNCTION_TO_V = 0.1, 1.3
_AT_A = 1e-3
#: strays of a part's marked value.
_VALUES = ("ohms", "farad")
#: standard deviation of a good capacitor's series resistance, as a ratio (common practice, no source).
_SERIES_SPREAD = 0.5
#: what is left of a part's value at the least.
_LEAST_RATIO = 0.05


@dataclass(frozen=True, slots=True)
class Reactive:
    """A passive part strayed, as alternating current sees it, and its stray's place."""

    place: int
    designator: str
    strayed: Device


class Strays:
    """The strays of a board, in order: what slots lean on, idealities, all junctions at once, capacitors."""

    def __init__(self, board: Board, netlist: Netlist, keys: Iterable[Key] = ()) -> None:
        """Take the board and its circuit; `keys` are the strays it is known to have, in order."""
        self._board, self._netlist = board, netlist
        self._place: dict[Key, int] = {key: place for place, key in enumerate(keys)}
        self.common = self._of("", "all junctions")

    def __len__(self) -> int:
        return len(self._place)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The device, what of it, and which of its junctions: of every stray, in order."""
        return tuple(self._place)

    def _of(self, designator: str, what: str, number: int = 0) -> int:
        return self._place.setdefault((designator, what, number), len(self._place))

    def place(self, designator: str, what: str, number: int = 0) -> int:
        """Return the place of a device's stray, -1 for none; `number` tells its junctions apart."""
        return self._place.get((designator, what, number), -1)

    def leans_on(self, slot: Leaning) -> bool:
        """Return whether what a reading leans on is a stray of a good part."""
        return bool(slot.designator) and (slot.designator, slot.of, 0) in self._place

    def of_device(self, designator: str, what: str, by: Floats, number: int = 0) -> float:
        """Return how far a device is strayed, in `by` (strays); `number` tells its junctions apart."""
        place = self.place(designator, what, number)
        return float(by[place]) if place >= 0 else 0.0

    def carried_over(self, other: Strays, by: Floats, count: int) -> Floats:
        """Return the first `count` strays here as another board's have it, 0 for those it does not have."""
        found = np.zeros(count)
        for key, place in self._place.items():
            at = other._place.get(key, -1)
            if place < count and 0 <= at < len(by):
                found[place] = by[at]
        return found

    def bounded(self, count: int) -> NDArray[np.bool_]:
        """Return which of the first `count` strays are of values whose tolerance the spec states."""
        found = np.zeros(count, bool)
        for (designator, what, _), place in self._place.items():
            part = self._board.parts.get(part_of(designator))
            stated = getattr(part, "spread", None) is not None and getattr(part, "value", None)
            if place < count:
                found[place] = bool(stated) and what in _VALUES
        return found

    def bent(self, name: str) -> int:
        """Return the stray of what is off the straight lines when junctions drop a little less or more."""
        return self._of("", f"bent {name}")

    def reactive(self, by: float = 1.0) -> tuple[Reactive, ...]:
        """Return every passive part strayed by so many standard deviations, capacitors in value and in series."""
        return tuple(self._reactive(by))

    def _reactive(self, by: float) -> Iterator[Reactive]:
        for device in self._netlist.devices:
            name = device.designator
            ratio, series = (
                max(1.0 + by * each, _LEAST_RATIO) for each in (value_spread(self._board, device), _SERIES_SPREAD)
            )
            match device:
                case Capacitor(capacitance_f=farad, series_resistance_ohm=ohm):
                    yield Reactive(self._of(name, "farad"), name, replace(device, capacitance_f=farad * ratio))
                    strayed = replace(device, series_resistance_ohm=ohm * series)
                    yield Reactive(self._of(name, "series"), name, strayed)
                case Resistor(resistance_ohm=ohm):
                    yield Reactive(self._of(name, "ohms"), name, replace(device, resistance_ohm=ohm * ratio))
                case Inductor(dc_resistance_ohm=ohm):
                    yield Reactive(self._of(name, "ohms"), name, replace(device, dc_resistance_ohm=ohm * ratio))

    def columns(self, slots: Sequence[Leaning]) -> list[tuple[int, float]]:
        """Return of each slot: the place of its stray, and one standard deviation."""
        met: dict[tuple[str, str], int] = {}
        found = []
        for slot in slots:
            number = met[slot.designator, slot.of] = met.get((slot.designator, slot.of), -1) + 1
            spread = slot_spread(self._board, self._netlist, slot)
            found.append((self._of(slot.designator, slot.of, number), spread))
        return found

    def slopes(self, slots: Sequence[Leaning], by_slot: Floats32) -> Floats32:
        """Return slopes to strays (readings x strays) from slopes to slots (readings x slots)."""
        columns = self.columns(slots)
        found = np.zeros((len(self), len(by_slot)), np.float32)
        for slot, (place, spread), own in zip(slots, columns, np.ascontiguousarray(by_slot.T), strict=True):
            found[place] += spread * own
            if slot.of == "drop":
                share = LED_SHARE if spread > JUNCTION_V else 1.0
                found[self.common] += share * COMMON_JUNCTION_V * own
        return np.ascontiguousarray(found.T)


def _ideality_v(function: Function, value: Floats, errors: MeterErrors) -> Floats:
    """Return what one standard deviation of ideality moves a junction's drop by that carries the test current."""
    if function not in OHMS:
        return np.zeros_like(value)
    return np.asarray(IDEALITY * THERMAL_V * np.abs(np.log(errors.test_current_a(function, value) / _AT_A)))


def moved_spread(function: Function, value: Floats, errors: MeterErrors) -> Floats:
    """Return the standard deviation of a reading whose slopes are not known: of ohms as a ratio."""
    size = np.maximum(np.abs(np.nan_to_num(value)), 1e-12)
    per = errors.test_current_a(function, value) if function in OHMS else np.ones_like(size)
    volts = size * per
    junction = (volts > _JUNCTION_FROM_V) & (volts < _JUNCTION_TO_V)
    by_junction = np.where(junction, np.hypot(_MOVED_JUNCTION_V, _ideality_v(function, value, errors)) / per, 0.0)
    spread = np.hypot(_MOVED_RATIO * size, by_junction)
    return np.asarray(spread / size if function in OHMS else spread)
