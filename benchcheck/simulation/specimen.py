"""One physical unit: the parts of a board with the values they happen to have, and the faults they happen to have.

Every value is drawn within its tolerance from a generator of its own (seed and designator), so a fault changes
nothing else. Junctions spread by some millivolt from part to part. A part the spec gives no nets lies on nets of its
own, named as its leads are in words, so that a board without nets is a bag of single parts.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

import attrs

from benchcheck.circuit.devices import (
    Bjt,
    Capacitor,
    Clamp,
    Device,
    Diode,
    Inductor,
    Mosfet,
    Resistor,
    Switch,
    Zener,
    part_of,
)
from benchcheck.circuit.netlist import Netlist
from benchcheck.kinds.build import pin_words
from benchcheck.kinds.esr import esr_limits
from benchcheck.kinds.part import Part
from benchcheck.quantity import Tolerance
from benchcheck.simulation.faults import FaultsOfUnit, parse_faults
from benchcheck.spec.board import Board

__all__ = ["Positions", "Specimen"]

#: switch positions, by designator: "open" or "closed".
Positions = Mapping[str, str]

#: standard deviation of a forward voltage from part to part, in volt (common practice, no source: a lot spreads by
#: 10 to 20 mV); of a threshold, in volt; of what has no tolerance in a spec (windings, contacts), as a ratio.
_JUNCTION_V, _THRESHOLD_V, _UNSTATED = 0.010, 0.1, 0.045
#: a good part's ESR near 100 kHz against its limit at 120 Hz, and a ceramic's in ohm (common practice, no source).
_ESR_SHARE, _CERAMIC_ESR_OHM = 0.25, 0.01
_WIDEST = 2.0  # standard deviations: nothing lies beyond
_UNKNOWN_CHARGE_V = 2.0  # on a capacitor whose working voltage the spec does not know


class Specimen:
    """The unit as built; `faults` are those of parts, of parts without a model and of the operator."""

    def __init__(self, board: Board, faults: Iterable[str] = (), seed: int = 0) -> None:
        """Draw every part; raises UsageError for faults this board cannot have."""
        self.board, self.seed = board, seed
        self._pins: dict[str, Mapping[str, str]] = {}
        #: nets that stand for the leads of parts the spec gives no nets
        self.own_nets: set[str] = set()
        good = tuple(self._drawn_parts())
        devices = {device.designator for device in good}
        parts_with = {part_of(name) for name in devices}
        self.unmodelled = {name: pins for name, pins in self._pins.items() if pins and name not in parts_with}
        self._good = Netlist(good)
        self.faults: FaultsOfUnit = parse_faults(faults, self._good, self.unmodelled, board.by_id)
        self._cache: dict[tuple[tuple[str, str], ...], Netlist] = {}

    def pins_of(self, designator: str) -> Mapping[str, str]:
        """Return the nets of a part by pin, those of its own where the spec gives none."""
        return self._pins.get(designator, {})

    def rest(self) -> dict[str, str]:
        """Return the positions all switches rest in."""
        return {name: part.rest for name, part in self.board.parts.items() if hasattr(part, "rest")}

    def good(self, positions: Positions) -> Netlist:
        """Return this unit as it would be without its faults."""
        return self._switched(positions)

    def netlist(self, positions: Positions) -> Netlist:
        """Return this unit with its faults, switches in the given positions and others at rest."""
        key = tuple(sorted(positions.items()))
        if key not in self._cache:
            self._cache[key] = self.faults.applied_to(self._switched(positions), self._pins)
        return self._cache[key]

    def _switched(self, positions: Positions) -> Netlist:
        wanted = {**self.rest(), **positions}
        return Netlist(
            replace(device, closed=wanted.get(device.designator) == "closed")
            if isinstance(device, Switch)
            else device
            for device in self._good.devices
        )

    def residual(self) -> tuple[str, str, float] | None:
        """Return the nets of the largest capacitor and half the volts it works at: charge that was left there."""
        capacitors = [one for one in self._good.devices if isinstance(one, Capacitor)]
        largest = max(capacitors, key=lambda one: one.capacitance_f, default=None)
        if largest is None:
            return None
        sides = [self.board.voltage(net) for net in (largest.plus, largest.minus)]
        works_at = (sides[0] or 0.0) - (sides[1] or 0.0)
        return largest.plus, largest.minus, works_at / 2.0 or _UNKNOWN_CHARGE_V

    def chance(self, what: str) -> random.Random:
        """Return a generator of numbers that is this unit's alone, for one purpose."""
        return random.Random(f"{self.seed} {self.board.model} {what}")

    def _drawn_parts(self) -> Iterable[Device]:
        for designator, entry in self.board.parts.items():
            part, kind = entry, self.board.kinds.get(entry.kind)
            if not part.pins and kind is not None and not kind.any_pins:
                own = {pin: f"{designator} {pin_words(pin)}" for pin in kind.pins}
                part = attrs.evolve(part, pins=own)
                self.own_nets.update(own.values())
            self._pins[designator] = part.pins
            if kind is None or kind.devices is None or not part.pins:
                continue
            for device in kind.devices(part):
                yield _drawn(device, part, self.chance(device.designator))


def _step(chance: random.Random) -> float:
    """Return a normal number with deviation 1 and nothing beyond `_WIDEST`."""
    while abs(found := chance.gauss(0.0, 1.0)) > _WIDEST:
        pass
    return found


def _within(nominal: float, part: Part, chance: random.Random) -> float:
    """Return a value within the part's tolerance, whose limits lie a little beyond `_WIDEST` deviations."""
    spread = getattr(part, "spread", None) or getattr(part, "tolerance", None)
    step = _step(chance)
    if not isinstance(spread, Tolerance):
        return nominal * (1.0 + _UNSTATED * step)
    lower, upper = spread.interval(nominal)
    width = upper - nominal if step > 0 else nominal - lower
    return nominal + 0.95 * width * step / _WIDEST


def _resistor(device: Resistor, part: Part, chance: random.Random) -> Device:
    return replace(device, resistance_ohm=_within(device.resistance_ohm, part, chance))


def _capacitor(device: Capacitor, part: Any, chance: random.Random) -> Device:
    value = _within(device.capacitance_f, part, chance)
    return replace(device, capacitance_f=value, series_resistance_ohm=_esr(part) * (1.0 + _UNSTATED * _step(chance)))


def _esr(part: Any) -> float:
    if part.kind not in ("electrolytic", "tantalum"):
        return _CERAMIC_ESR_OHM
    limits = esr_limits(
        part.value, part.loss_tangent, part.technology, part.rated_voltage, tantalum=part.kind == "tantalum"
    )
    return _ESR_SHARE * (limits.upper or 0.0)


def _inductor(device: Inductor, part: Part, chance: random.Random) -> Device:
    winding = device.dc_resistance_ohm * (1.0 + _UNSTATED * _step(chance))
    return replace(device, inductance_h=_within(device.inductance_h, part, chance), dc_resistance_ohm=winding)


def _junction(device: Diode | Bjt | Clamp, part: Part, chance: random.Random) -> Device:
    return replace(device, drop_shift_v=device.drop_shift_v + _JUNCTION_V * _step(chance))


def _zener(device: Zener, part: Part, chance: random.Random) -> Device:
    return replace(device, breakdown_voltage_v=_within(device.breakdown_voltage_v, part, chance))


def _mosfet(device: Mosfet, part: Part, chance: random.Random) -> Device:
    """The body diode spreads as other junctions do: V shifts by n VT ln of what its saturation current is off."""
    body = device.model.body
    factor = math.exp(-_JUNCTION_V * _step(chance) / (body.ideality * 0.0259))
    body = replace(body, saturation_current_a=body.saturation_current_a * factor)
    return replace(device, model=replace(device.model, body=body), threshold_shift_v=_THRESHOLD_V * _step(chance))


def _switch(device: Switch, part: Part, chance: random.Random) -> Device:
    return replace(
        device, closed_resistance_ohm=device.closed_resistance_ohm * (1.0 + 2.0 * _UNSTATED * _step(chance))
    )


_DRAWS: Mapping[type[Device], Callable[[Any, Any, random.Random], Device]] = {
    Resistor: _resistor,
    Capacitor: _capacitor,
    Inductor: _inductor,
    Diode: _junction,
    Bjt: _junction,
    Clamp: _junction,
    Zener: _zener,
    Mosfet: _mosfet,
    Switch: _switch,
}


def _drawn(device: Device, part: Part, chance: random.Random) -> Device:
    draw = _DRAWS.get(type(device))
    return draw(device, part, chance) if draw is not None else device
