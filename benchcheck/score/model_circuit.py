"""A board as a circuit, and a meter as what it does to one: what the solver and `between` both start from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange, ramp_volts
from benchcheck.bench.model import Bench
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.devices import Device
    from benchcheck.circuit.excitation import Excitation
    from benchcheck.circuit.netlist import Netlist
    from benchcheck.circuit.physics import Conditions

__all__ = ["Model", "conditions_at", "excitation_for", "model_of", "positioned"]

_ZERO_C_IN_K = 273.15
_USUAL_HZ = 100.0


@dataclass(frozen=True, slots=True)
class Model:
    """The netlist of a board at rest, the nets unknown paths may touch, and the parts without a model.

    `ambient_c` is how warm the spec says it is, in degree Celsius.
    """

    netlist: Netlist
    incomplete: frozenset[str]
    unmodelled: tuple[str, ...] = ()
    ambient_c: float = 23.0

    @property
    def conditions(self) -> Conditions:
        """The conditions it is solved at."""
        return conditions_at(self.ambient_c)


def conditions_at(ambient_c: float) -> Conditions:
    """Return the conditions of a board at this ambient, in degree Celsius."""
    from benchcheck.circuit.physics import Conditions

    return Conditions(temperature_k=ambient_c + _ZERO_C_IN_K)


def model_of(board: Board) -> Model:
    """Return the circuit of a board; a net that a part without a model touches is as good as incomplete."""
    from benchcheck.circuit.netlist import Netlist

    devices: list[Device] = []
    unmodelled: list[str] = []
    incomplete = {net for part in board.parts.values() for net in part.pins.values() if not board.complete(net)}
    for part in board.parts.values():
        kind = board.kinds.get(part.kind)
        if kind is None or kind.devices is None:
            incomplete.update(part.pins.values())
            unmodelled.append(part.designator)
        elif part.pins:
            devices.extend(kind.devices(part))
            if part.unmodelled:
                incomplete.update(part.pins[pin] for pin in part.unmodelled)
                unmodelled.append(part.designator)
    return Model(Netlist(devices), frozenset(incomplete), tuple(unmodelled), board.ambient_c)


def positioned(netlist: Netlist, switches: tuple[tuple[str, str], ...]) -> Netlist:
    """Return the netlist with contacts in the positions a check asks for: pairs of designator and open or closed."""
    from benchcheck.circuit.devices import Switch
    from benchcheck.circuit.netlist import Netlist as Whole

    wanted = {name: position == "closed" for name, position in switches}
    if not any(isinstance(one, Switch) and one.closed != wanted.get(one.designator) for one in netlist.devices):
        return netlist
    moved = (
        replace(one, closed=wanted[one.designator]) if isinstance(one, Switch) and one.designator in wanted else one
        for one in netlist.devices
    )
    return Whole(moved, sound=netlist.devices)


def excitation_for(bench: Bench, function: Function, name: str = "") -> Excitation | None:
    """Return what the bench's meter (of this name) does to a circuit on a function.

    None where there is no such meter, and where it says too little of itself.
    """
    meter = bench.meter_for(function, name)
    ranges = sorted(meter.ranges_of(function), key=lambda one: one.full_scale) if meter is not None else []
    match function:
        case Function.OHMS | Function.LOW_POWER_OHMS:
            return _ohms(ranges, function)
        case Function.DIODE:
            return _diode(ranges)
        case Function.CAPACITANCE:
            return _charging(ranges) if meter is not None and meter.capacitance_by == "ramp" else _capacitance(ranges)
        case Function.ESR:
            return _esr(ranges)
    return None


def _ohms(ranges: list[MeterRange], function: Function) -> Excitation | None:
    from benchcheck.circuit.excitation import Ohms, OhmsRange

    known = tuple(
        OhmsRange(one.full_scale, one.test_current_a, one.compliance_v)
        for one in ranges
        if one.test_current_a and one.compliance_v
    )
    named: Literal["ohms", "low_power_ohms"] = "ohms" if function is Function.OHMS else "low_power_ohms"
    return Ohms(known, named) if known else None


def _diode(ranges: list[MeterRange]) -> Excitation | None:
    from benchcheck.circuit.excitation import DiodeTest

    if not ranges or not ranges[-1].test_current_a or not ranges[-1].compliance_v:
        return None
    return DiodeTest(ranges[-1].test_current_a, ranges[-1].compliance_v, ranges[-1].full_scale)


def _capacitance(ranges: list[MeterRange]) -> Excitation | None:
    """Return a measurement at the meter's frequency, at 100 Hz where it says none (common practice, no source)."""
    from benchcheck.circuit.excitation import CapacitanceAtFrequency, FrequencyRange

    if not ranges:
        return None
    frequencies_hz = [one.frequency_hz or _USUAL_HZ for one in ranges]
    rows = zip(ranges, frequencies_hz, strict=True)
    by_range = tuple(FrequencyRange(one.full_scale, hertz) for one, hertz in rows)
    return CapacitanceAtFrequency(
        frequencies_hz[-1], "parallel", ranges[-1].full_scale, by_range if len(set(frequencies_hz)) > 1 else ()
    )


def _charging(ranges: list[MeterRange]) -> Excitation | None:
    """Return a measurement by charging, each range with its own current."""
    from benchcheck.circuit.excitation import CapacitanceByCharging, ChargingRange

    known = tuple(
        ChargingRange(one.full_scale, one.test_current_a, *ramp_volts(one.compliance_v))
        for one in ranges
        if one.test_current_a and one.compliance_v
    )
    return CapacitanceByCharging(known) if known else None


def _esr(ranges: list[MeterRange]) -> Excitation | None:
    from benchcheck.circuit.excitation import Esr

    if not ranges:
        return None
    return Esr(next((one.frequency_hz for one in ranges if one.frequency_hz), 100e3), ranges[-1].full_scale)
