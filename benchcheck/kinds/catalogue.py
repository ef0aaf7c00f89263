"""The built-in kinds of part in the order people meet them, and the checks a part gives with what surrounds it."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.kinds import (
    battery,
    bjt,
    capacitor,
    crystal,
    diode,
    ic,
    inductor,
    mosfet,
    ohmic,
    polar,
    regulator,
    resistor,
    switch,
    zener,
)
from benchcheck.kinds.check import Check
from benchcheck.kinds.devices import DEVICES
from benchcheck.kinds.fitted import fitted_checks
from benchcheck.kinds.joints import joint_checks
from benchcheck.kinds.part import Kind, Part, Surroundings

__all__ = ["KINDS", "part_checks"]

_KINDS = (
    resistor.KIND,
    *ohmic.KINDS,
    capacitor.KIND,
    *polar.KINDS,
    inductor.KIND,
    *diode.KINDS,
    zener.KIND,
    bjt.KIND,
    mosfet.KIND,
    regulator.KIND,
    *switch.KINDS,
    crystal.KIND,
    ic.KIND,
    battery.KIND,
)
#: every built-in kind, with what it is to a circuit.
KINDS: tuple[Kind, ...] = tuple(replace(kind, devices=DEVICES.get(kind.name)) for kind in _KINDS)


def part_checks(kind: Kind, part: Part, around: Surroundings) -> tuple[Check, ...]:
    """Return every check of a part: its kind's, its joints', and what the eyes must see; none of a neighbour's."""
    if part.neighbour:
        return ()
    joints = joint_checks(part, around) if part.joints else ()
    seen = fitted_checks(part, around) if part.fitted is not None else ()
    return (*seen, *joints, *kind.checks(part, around))
