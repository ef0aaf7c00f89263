"""Where the probes of a check go on a unit, and what is read there when that is not between two nets of the board.

Tips go to the pads the spec names, whatever sits on them, except where the check is about the leads of a part
(polarity, bias): those are found on the part itself and move with it when it is the wrong way round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import pins
from benchcheck.kinds.check import Check, Probe
from benchcheck.simulation.specimen import Specimen

__all__ = ["Placement", "between_nets", "placement_of"]

_BY_LEAD = ("polarity", "bias")
_JOINT_OHM = 0.03  # a good joint with its lead (common practice, no source: below 0.1 ohm)
_KNOWN = {"leads_shorted": 0.0, "reference_resistor": 1000.2, "diode": 0.584, "cell": 1.562}
_AMBIENT_C = 23.0


@dataclass(frozen=True, slots=True)
class Placement:
    """Where red and black are: on two nets, or at something that has a value of its own (SI) wherever it lies.

    `series`: the meter lies in the supply's plus line.
    """

    red: str | None = None
    black: str | None = None
    value: float | None = None
    series: bool = False
    check: Check | None = None


def between_nets(red: str, black: str) -> Placement:
    """Return the probes on two nets."""
    return Placement(red, black)


def placement_of(specimen: Specimen, check: Check) -> Placement:
    """Return where the probes of a check are on this unit."""
    if check.function is Function.DC_CURRENT and check.subject in specimen.board.supplies:
        return Placement(series=True, check=check)
    value = _own_value(specimen, check)
    if value is not None:
        return Placement(value=value, check=check)
    red, black = _net(specimen, check, check.red), _net(specimen, check, check.black)
    if red is None or black is None:
        return Placement(value=_sensible(specimen, check), check=check)
    return Placement(red, black, check=check)


def _own_value(specimen: Specimen, check: Check) -> float | None:
    if check.subject == "meter":
        return _KNOWN.get(check.measurand, _sensible(specimen, check))
    if check.function is Function.TEMPERATURE:
        return _AMBIENT_C
    if check.measurand == "joint":
        return math.inf if _has_no_joint(specimen, check) else _JOINT_OHM
    if check.function in (Function.HFE, Function.TIME, Function.DC_CURRENT) or check.measurand in _DRIVEN:
        return _sensible(specimen, check)
    return None


_DRIVEN = ("gate_drive", "on_voltage")


def _has_no_joint(specimen: Specimen, check: Check) -> bool:
    """Whether the joint of this pin is missing; the circuit calls the ends of two-lead parts by their own names."""
    order = list(specimen.pins_of(check.subject))
    place = order.index(check.bracket) if check.bracket in order else -1
    for fault in specimen.faults.of_part(check.subject):
        if fault.code == "missing-joint":
            device = specimen.good({}).by_designator.get(fault.designator)
            names = list(pins(device)) if device is not None else []
            where = fault.where[0]
            if where == check.bracket or (len(names) == 2 and where in names and names.index(where) == place):
                return True
    return False


def _net(specimen: Specimen, check: Check, probe: Probe | None) -> str | None:
    if probe is None:
        return None
    own = f"{check.subject} "
    if check.measurand in _BY_LEAD and probe.point.startswith(own):
        device = specimen.netlist({}).by_designator.get(check.subject)
        pin = probe.point.removeprefix(own).split()[0]
        if device is not None and pin in pins(device):
            return pins(device)[pin]
    if probe.net is not None:
        return probe.net
    return probe.point if probe.point in specimen.own_nets else None


def _sensible(specimen: Specimen, check: Check) -> float:
    """Return what a good part reads by the check's own limits, or a bad one where the part has a fault."""
    lower, upper = check.limits.lower, check.limits.upper
    bad = bool(specimen.faults.of_part(check.subject))
    if check.measurand == "polarity":
        joined = (check.bracket == "marked") != bad
        return _JOINT_OHM if joined else 1e4
    if bad:
        return 3.0 * upper if upper is not None else 0.01 * (lower or 0.0)
    if check.expected is not None and check.expected not in (lower, upper):
        return check.expected
    if lower is not None and upper is not None:
        return (lower + upper) / 2.0
    if lower is not None:
        return lower * (10.0 if check.quantity_unit == "ohm" else 1.3)
    return 0.4 * upper if upper is not None else 0.0
