"""The circuit around a part: netlists, and what they do when a meter or a supply is put on them.

Pure numbers: nothing here knows of specs, meters' classes or verdicts. Names are handed on when first used,
so that building netlists needs no numerical library.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .connectivity import ParallelPaths as ParallelPaths
    from .connectivity import groups as groups
    from .connectivity import parallel_paths as parallel_paths
    from .devices import Bjt as Bjt
    from .devices import Capacitor as Capacitor
    from .devices import Clamp as Clamp
    from .devices import CurrentSource as CurrentSource
    from .devices import Device as Device
    from .devices import Diode as Diode
    from .devices import Inductor as Inductor
    from .devices import Mosfet as Mosfet
    from .devices import Resistor as Resistor
    from .devices import Switch as Switch
    from .devices import VoltageSource as VoltageSource
    from .devices import Zener as Zener
    from .excitation import CapacitanceAtFrequency as CapacitanceAtFrequency
    from .excitation import CapacitanceByCharging as CapacitanceByCharging
    from .excitation import ChargingRange as ChargingRange
    from .excitation import DcVoltage as DcVoltage
    from .excitation import DiodeTest as DiodeTest
    from .excitation import Esr as Esr
    from .excitation import Excitation as Excitation
    from .excitation import FrequencyRange as FrequencyRange
    from .excitation import InductanceAtFrequency as InductanceAtFrequency
    from .excitation import Ohms as Ohms
    from .excitation import OhmsRange as OhmsRange
    from .models import BjtModel as BjtModel
    from .models import JunctionModel as JunctionModel
    from .models import MosfetModel as MosfetModel
    from .netlist import Netlist as Netlist
    from .physics import Conditions as Conditions
    from .reading import MeterReading as MeterReading
    from .reading import sensitivities as sensitivities
    from .reading import solve_reading as solve_reading
    from .solution import OperatingPoint as OperatingPoint
    from .solution import operating_point as operating_point
    from .solution import operating_points as operating_points

_HOME = {
    "connectivity": ("ParallelPaths", "groups", "parallel_paths"),
    "devices": (
        "Bjt", "Capacitor", "Clamp", "CurrentSource", "Device", "Diode", "Inductor", "Mosfet", "Resistor", "Switch",
        "VoltageSource", "Zener",
    ),
    "excitation": (
        "CapacitanceAtFrequency", "CapacitanceByCharging", "ChargingRange", "DcVoltage", "DiodeTest", "Esr",
        "Excitation", "FrequencyRange", "InductanceAtFrequency", "Ohms", "OhmsRange",
    ),
    "models": ("BjtModel", "JunctionModel", "MosfetModel"),
    "netlist": ("Netlist",),
    "solution": ("OperatingPoint", "operating_point", "operating_points"),
    "physics": ("Conditions",),
    "reading": ("MeterReading", "sensitivities", "solve_reading"),
}  # fmt: skip
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "Bjt",
    "BjtModel",
    "CapacitanceAtFrequency",
    "CapacitanceByCharging",
    "Capacitor",
    "ChargingRange",
    "Clamp",
    "Conditions",
    "CurrentSource",
    "DcVoltage",
    "Device",
    "Diode",
    "DiodeTest",
    "Esr",
    "Excitation",
    "FrequencyRange",
    "InductanceAtFrequency",
    "Inductor",
    "JunctionModel",
    "MeterReading",
    "Mosfet",
    "MosfetModel",
    "Netlist",
    "Ohms",
    "OhmsRange",
    "OperatingPoint",
    "ParallelPaths",
    "Resistor",
    "Switch",
    "VoltageSource",
    "Zener",
    "groups",
    "operating_point",
    "operating_points",
    "parallel_paths",
    "sensitivities",
    "solve_reading",
]


def __getattr__(name: str) -> object:
    """Return a public name, importing the module it lives in."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_MODULE_OF[name]}", __name__), name)
