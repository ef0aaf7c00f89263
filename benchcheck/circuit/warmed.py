"""A board at another temperature as one at the nominal: the same currents at the same voltages, every part re-stated.

What solves circuits at the nominal temperature alone, and keeps what it found, then serves any.
"""

from __future__ import annotations

from dataclasses import replace

from .cards import BODY, Junction, bjt_arrays, junction_arrays, mosfet_arrays
from .devices import Bjt, Clamp, Device, Diode, Mosfet, Zener
from .models import JunctionModel
from .netlist import Netlist
from .physics import Conditions

__all__ = ["warmed"]


def warmed(netlist: Netlist, conditions: Conditions) -> Netlist:
    """Return the netlist whose parts at the nominal temperature are what these are under the conditions."""
    return Netlist(_warmed(device, conditions) for device in netlist.devices)


def _warmed(device: Device, at: Conditions) -> Device:
    match device:
        case Diode():
            return replace(device, model=_junction(device.model, at))
        case Zener():
            return replace(device, model=_junction(device.junction, at))
        case Clamp():
            above = None if device.supply_model is None else _junction(device.supply_model, at)
            return replace(device, model=_junction(device.model, at), supply_model=above)
        case Mosfet():
            return _mosfet(device, at)
        case Bjt():
            return _bjt(device, at)
        case _:
            return device


def _junction(model: JunctionModel, at: Conditions, name: str = "junction") -> JunctionModel:
    found = junction_arrays([Junction("", name, 0, 0, model)], at)
    nominal_v = Conditions().thermal_voltage_v
    return replace(
        model,
        saturation_current_a=float(found.saturation[0]),
        ideality=float(found.slope_v[0]) / nominal_v,
        breakdown_ideality=float(found.breakdown_slope_v[0]) / nominal_v,
    )


def _mosfet(device: Mosfet, at: Conditions) -> Mosfet:
    found = mosfet_arrays([replace(device, threshold_shift_v=0.0)], at)
    model = replace(
        device.model,
        threshold_v=float(found.threshold[0]),
        transconductance_a_per_v2=float(found.transconductance[0]),
        body=_junction(device.model.body, at, BODY),
    )
    return replace(device, model=model)


def _bjt(device: Bjt, at: Conditions) -> Bjt:
    found = bjt_arrays([replace(device, drop_shift_v=0.0)], at)
    ratio = at.thermal_voltage_v / Conditions().thermal_voltage_v
    old = device.model
    model = replace(
        old,
        saturation_current_a=float(found.saturation[0]),
        forward_gain=float(found.forward_gain[0]),
        reverse_gain=float(found.reverse_gain[0]),
        forward_ideality=old.forward_ideality * ratio,
        reverse_ideality=old.reverse_ideality * ratio,
        leakage_emitter_a=float(found.leakage_emitter[0]),
        leakage_emitter_ideality=old.leakage_emitter_ideality * ratio,
        leakage_collector_a=float(found.leakage_collector[0]),
        leakage_collector_ideality=old.leakage_collector_ideality * ratio,
    )
    return replace(device, model=model)
