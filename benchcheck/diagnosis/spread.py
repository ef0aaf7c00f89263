"""How good parts spread: what each device's own deviation is worth, as one standard deviation.

A resistor strays within its tolerance, a junction by its own shift and by what all junctions of this board have in
common (temperature, makers' other processes). One number a device, shared by all readings it takes part in.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

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
from benchcheck.circuit.leanings import Leaning
from benchcheck.circuit.models import JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.kinds.esr import esr_limits
from benchcheck.score.model_circuit import Model, model_of
from benchcheck.spec.board import Board

__all__ = [
    "COMMON_JUNCTION_V", "FAULT_OHMS", "IDEALITY", "JUNCTION_V", "LED_SHARE", "THERMAL_V", "THRESHOLD_V",
    "clamp_moved", "junction_moved", "junction_spread", "leaking", "model_with_series", "shifted",
    "single_junctions", "slot_spread", "value_spread",
]  # fmt: skip

#: standard deviations, common practice without a source: one junction against its kind and what all of a board have
#: in common, in volt (2 mV/K and other makers' processes); ideality; what has no tolerance stated, as a ratio.
JUNCTION_V, COMMON_JUNCTION_V, LED_V = 0.016, 0.040, 0.05
IDEALITY = 0.3
#: of a light-emitting diode's shift, what goes with all other junctions.
LED_SHARE = 0.6
#: idealities of 1 to 2 a junction has (common practice: diffusion, recombination); a fit is not stopped near those,
#: for at a stop lines say that it goes on.
_IDEALITIES = 0.5, 3.0
_AT_A = 1e-3
#: a MOSFET's threshold, in volt: data sheets allow 1 to 2 V between least and most of one type (common practice).
THRESHOLD_V = 0.4
_UNSTATED, _CONTACT = 0.15, 0.6
THERMAL_V = 0.0259
#: how far a fault's own resistance (a leak, a splash) lies from what is usual, as a logarithm: no two are alike.
FAULT_OHMS = 1.0
#: a good part's ESR near 100 kHz against its limit at 120 Hz, and a ceramic's, in ohm (common practice, no source).
_ESR_SHARE, _CERAMIC_OHM = 0.25, 0.01


def model_with_series(board: Board) -> Model:
    """Return the circuit of a board with the series resistance good capacitors have."""
    model = model_of(board)
    devices = (_with_series(board, device) for device in model.netlist.devices)
    return replace(model, netlist=Netlist(devices))


def _with_series(board: Board, device: Device) -> Device:
    if not isinstance(device, Capacitor):
        return device
    return replace(device, series_resistance_ohm=_series_ohm(board.parts.get(part_of(device.designator))))


def _series_ohm(part: Any) -> float:
    if part is None or part.kind not in ("electrolytic", "tantalum"):
        return _CERAMIC_OHM
    tantalum = part.kind == "tantalum"
    limits = esr_limits(part.value, part.loss_tangent, part.technology, part.rated_voltage, tantalum=tantalum)
    return _ESR_SHARE * (limits.upper or 0.0)


def value_spread(board: Board, device: Device) -> float:
    """Return the standard deviation of a device's value as a ratio; a tolerance is rectangular."""
    part: Any = board.parts.get(part_of(device.designator))
    spread, nominal = getattr(part, "spread", None), getattr(part, "value", None)
    if spread is not None and nominal:
        lower, upper = spread.interval(nominal)
        return float((upper - lower) / (2.0 * nominal * math.sqrt(3.0)))
    if isinstance(device, Switch) or (isinstance(device, Resistor | Inductor) and not nominal):
        return _CONTACT
    return _UNSTATED


def single_junctions(netlist: Netlist) -> Netlist:
    """Return the netlist with every clamp as the diodes it is made of, so that each strays on its own."""
    return Netlist(one for device in netlist.devices for one in _singles(device))


def _singles(device: Device) -> Iterator[Device]:
    if not isinstance(device, Clamp):
        yield device
        return
    above = device.supply_model or device.model
    yield Diode(f"{device.designator}:ground", device.ground, device.pin, device.model, device.drop_shift_v)
    if device.supply is not None:
        yield Diode(f"{device.designator}:supply", device.pin, device.supply, above, device.drop_shift_v)


def shifted(netlist: Netlist, volts: float) -> Netlist:
    """Return the netlist with every junction's forward voltage moved."""
    return Netlist(_shifted(device, volts) for device in netlist.devices)


def _shifted(device: Device, volts: float) -> Device:
    match device:
        case Diode() | Bjt() | Clamp():
            return replace(device, drop_shift_v=device.drop_shift_v + volts)
        case Zener():
            return replace(device, model=_lowered(device.junction, volts))
        case Mosfet():
            return replace(device, model=replace(device.model, body=_lowered(device.model.body, volts)))
        case _:
            return device


def _lowered(model: JunctionModel, volts: float) -> JunctionModel:
    """Return the junction that drops so many volt more: V = n VT ln(I / IS)."""
    less = math.exp(-volts / (model.ideality * THERMAL_V))
    return replace(model, saturation_current_a=model.saturation_current_a * less)


def junction_moved(device: Device, volts: float, ideality: float) -> Device:
    """Return a device whose junctions drop so many volt more at 1 mA and have another ideality, by so much."""
    moved = _shifted(device, volts)
    match moved:
        case Clamp():
            above = None if moved.supply_model is None else _more_ideal(moved.supply_model, ideality)
            return replace(moved, model=_more_ideal(moved.model, ideality), supply_model=above)
        case Diode():
            return replace(moved, model=_more_ideal(moved.model, ideality))
        case Zener():
            return replace(moved, model=_more_ideal(moved.junction, ideality))
        case Mosfet():
            return replace(moved, model=replace(moved.model, body=_more_ideal(moved.model.body, ideality)))
        case Bjt(model=model):
            as_one = _more_ideal(JunctionModel(model.saturation_current_a, model.forward_ideality), ideality)
            more = as_one.ideality / model.forward_ideality
            changed = replace(
                model, saturation_current_a=as_one.saturation_current_a, forward_ideality=as_one.ideality,
                reverse_ideality=model.reverse_ideality * more,
            )  # fmt: skip
            return replace(moved, model=changed)
        case _:
            return moved


def leaking(netlist: Netlist, by: float) -> Netlist:
    """Return the netlist with every junction passing more at rest, as one of so many standard deviations may."""
    return Netlist(junction_moved(device, -by * JUNCTION_V, by * IDEALITY) for device in netlist.devices)


def clamp_moved(clamp: Clamp, volts: tuple[float, float], ideality: tuple[float, float]) -> Clamp:
    """Return a clamp whose junctions, to ground and to the supply, drop so much more and have another ideality."""
    above = _more_ideal(clamp.supply_model or clamp.model, ideality[1])
    moved = replace(
        clamp, model=_more_ideal(clamp.model, ideality[0]), supply_model=_lowered(above, volts[1] - volts[0])
    )
    return replace(moved, drop_shift_v=moved.drop_shift_v + volts[0])


def _more_ideal(model: JunctionModel, by: float) -> JunctionModel:
    """Return the junction with another ideality that drops the same at 1 mA."""
    if not by:
        return model
    ideality = min(max(model.ideality + by, _IDEALITIES[0]), _IDEALITIES[1])
    less = (_AT_A / model.saturation_current_a) ** (model.ideality / ideality)
    return replace(model, ideality=ideality, saturation_current_a=_AT_A / less)


def junction_spread(board: Board, designator: str) -> tuple[float, float]:
    """Return a junction's own standard deviation and what all of a board's have in common, in volt."""
    led = getattr(board.parts.get(designator), "kind", "") == "led"
    return (LED_V, LED_SHARE * COMMON_JUNCTION_V) if led else (JUNCTION_V, COMMON_JUNCTION_V)


def slot_spread(board: Board, netlist: Netlist, slot: Leaning) -> float:
    """Return the standard deviation of what a reading leans on: a ratio of ohms or breakdown, else volts.

    Of an ideality it is less than 0: a stray of it lifts the drop at small currents, as one of the drop does.
    """
    if slot.of == "threshold":
        return THRESHOLD_V
    if slot.of == "ideality":
        return -IDEALITY
    if not slot.designator:
        return JUNCTION_V if slot.of == "drop" else FAULT_OHMS
    if slot.of == "drop":
        return junction_spread(board, slot.designator)[0]
    device = netlist.by_designator.get(slot.designator)
    return value_spread(board, device) if device is not None else 0.0
