"""How good parts spread: each device's own deviation as a small edit of the netlist, one standard deviation large.

A resistor strays within its tolerance, a junction by its own shift and by what all junctions of this board have in
common (temperature, makers' other processes). One number a device, shared by all readings it takes part in.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
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
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.netlist import Netlist
from benchcheck.kinds.esr import esr_limits
from benchcheck.score.model_circuit import Model, model_of
from benchcheck.spec.board import Board

__all__ = [
    "COMMON_JUNCTION_V", "IDEALITY", "JUNCTION_V", "Deviation", "deviations", "model_with_series", "single_junctions",
    "value_spread",
]  # fmt: skip

#: standard deviations, common practice without a source: one junction against its kind and what all of a board have
#: in common, in volt (2 mV/K and other makers' processes); ideality; what has no tolerance stated, as a ratio.
JUNCTION_V, COMMON_JUNCTION_V, LED_V = 0.016, 0.040, 0.05
IDEALITY = 0.3
_UNSTATED, _CONTACT, _SERIES = 0.15, 0.6, 0.5
_THERMAL_V = 0.0259
#: a good part's ESR near 100 kHz against its limit at 120 Hz, and a ceramic's, in ohm (common practice, no source).
_ESR_SHARE, _CERAMIC_OHM = 0.25, 0.01


@dataclass(frozen=True, slots=True)
class Deviation:
    """One device strayed by one standard deviation; `volts` is how far its forward voltage did."""

    designator: str
    edit: Edit
    volts: float = 0.0


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
    yield Diode(f"{device.designator}:ground", device.ground, device.pin, device.model, device.drop_shift_v)
    if device.supply is not None:
        yield Diode(f"{device.designator}:supply", device.pin, device.supply, device.model, device.drop_shift_v)


def deviations(board: Board, netlist: Netlist) -> tuple[Deviation, ...]:
    """Return how each device that direct current sees strays, one standard deviation each."""
    return tuple(found for device in netlist.devices for found in _of(board, device))


def _of(board: Board, device: Device) -> Iterator[Deviation]:
    name = device.designator
    match device:
        case Resistor(resistance_ohm=ohm):
            yield _strayed(name, replace(device, resistance_ohm=ohm * (1.0 + value_spread(board, device))))
        case Inductor(dc_resistance_ohm=ohm):
            yield _strayed(name, replace(device, dc_resistance_ohm=ohm * (1.0 + value_spread(board, device))))
        case Switch(closed=True, closed_resistance_ohm=ohm):
            yield _strayed(name, replace(device, closed_resistance_ohm=ohm * (1.0 + _CONTACT)))
        case Diode() | Bjt():
            led = getattr(board.parts.get(name), "kind", "") == "led"
            volts = LED_V if led else JUNCTION_V
            yield _strayed(name, replace(device, drop_shift_v=device.drop_shift_v + volts), volts)
        case Zener():
            yield from _zener(board, device)
        case Mosfet():
            yield _strayed(name, _body_shifted(device, JUNCTION_V), JUNCTION_V)


def _strayed(name: str, device: Device, volts: float = 0.0) -> Deviation:
    return Deviation(name, Edit((name,), (device,)), volts)


def _zener(board: Board, device: Zener) -> Iterator[Deviation]:
    model = device.junction
    shifted = replace(model, saturation_current_a=_lowered(model.saturation_current_a, model.ideality, JUNCTION_V))
    yield _strayed(device.designator, replace(device, model=shifted), JUNCTION_V)
    broken = device.breakdown_voltage_v * (1.0 + value_spread(board, device))
    yield _strayed(device.designator, replace(device, breakdown_voltage_v=broken))


def _body_shifted(device: Mosfet, volts: float) -> Mosfet:
    body = device.model.body
    body = replace(body, saturation_current_a=_lowered(body.saturation_current_a, body.ideality, volts))
    return replace(device, model=replace(device.model, body=body))


def _lowered(saturation_a: float, ideality: float, volts: float) -> float:
    """Return the saturation current whose junction drops so many volt more: V = n VT ln(I / IS)."""
    return saturation_a * math.exp(-volts / (ideality * _THERMAL_V))
