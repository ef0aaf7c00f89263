"""The built-in kinds of part, in the order people meet them."""

from __future__ import annotations

from typing import Any

from benchcheck.kinds.battery import Battery
from benchcheck.kinds.bjt import Bjt
from benchcheck.kinds.capacitor import Capacitor
from benchcheck.kinds.check import Check
from benchcheck.kinds.crystal import Crystal
from benchcheck.kinds.diode import Diode, Led, Zener
from benchcheck.kinds.electrolytic import Electrolytic
from benchcheck.kinds.ic import Ic
from benchcheck.kinds.inductor import Inductor
from benchcheck.kinds.mosfet import Mosfet
from benchcheck.kinds.ohmic import Ferrite, Fuse, Ptc, Winding
from benchcheck.kinds.part import Kind, Surroundings
from benchcheck.kinds.regulator import Regulator
from benchcheck.kinds.resistor import Resistor
from benchcheck.kinds.switch import Connector, Switch
from benchcheck.kinds.tantalum import Tantalum

__all__ = ["KINDS"]

_LEADS = ("1", "2")
_POLES = ("plus", "minus")
_DIODE = ("anode", "cathode")


def _checks(part: Any, around: Surroundings) -> tuple[Check, ...]:
    return ()


KINDS: tuple[Kind, ...] = (
    Kind("resistor", Resistor, _LEADS, _checks, "ohms across it", two_lead=True),
    Kind("fuse", Fuse, _LEADS, _checks, "low ohms across it", two_lead=True),
    Kind("ptc", Ptc, _LEADS, _checks, "low ohms across a resettable fuse", two_lead=True),
    Kind("ferrite", Ferrite, _LEADS, _checks, "nearly a wire", two_lead=True),
    Kind("winding", Winding, _LEADS, _checks, "ohms of one winding", two_lead=True),
    Kind("capacitor", Capacitor, _LEADS, _checks, "insulation and capacitance of ceramic or film", two_lead=True),
    Kind("electrolytic", Electrolytic, _POLES, _checks, "charge, polarity, leakage, capacitance, ESR, bias"),
    Kind("tantalum", Tantalum, _POLES, _checks, "charge, polarity, leakage, capacitance, ESR, bias"),
    Kind("inductor", Inductor, _LEADS, _checks, "winding resistance, inductance if given", two_lead=True),
    Kind("diode", Diode, _DIODE, _checks, "forward drop, and blocking the other way"),
    Kind("zener", Zener, _DIODE, _checks, "forward drop and zener voltage"),
    Kind("led", Led, _DIODE, _checks, "forward drop, and blocking the other way"),
    Kind("bjt", Bjt, ("base", "collector", "emitter"), _checks, "both junctions, their difference, blocking"),
    Kind("mosfet", Mosfet, ("gate", "drain", "source"), _checks, "body diode, blocking, gate, on-resistance"),
    Kind("regulator", Regulator, ("input", "output", "ground"), _checks, "input apart from output, output voltage"),
    Kind("switch", Switch, _LEADS, _checks, "joined when closed, apart when open", two_lead=True),
    Kind("connector", Connector, _LEADS, _checks, "joined when mated, apart when not", two_lead=True),
    Kind("crystal", Crystal, _LEADS, _checks, "an insulator to a meter", two_lead=True),
    Kind("ic", Ic, ("supply", "ground"), _checks, "pins to ground and supply through their clamps", any_pins=True),
    Kind("battery", Battery, _POLES, _checks, "empty holder, and the cell out of the unit at rest and loaded"),
)
