"""Joints: from a part's own lead to the next part on its net, so that joint and trace are both in the path."""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import check, chosen, merged_switches, probe
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.kinds.part import Part, Surroundings
from benchcheck.kinds.paths import reference

__all__ = ["joint_checks"]

_JOINED = Limits(None, 1.0, "common practice, from a service note: good below 0.1 ohm, suspect above 1 ohm")


def joint_checks(part: Part, around: Surroundings) -> tuple[Check, ...]:
    """Return `joint` for every pin the spec gives a net for."""
    return tuple(_joint(part, pin, net, around) for pin, net in part.pins.items())


def _joint(part: Part, pin: str, net: str, around: Surroundings) -> Check:
    return check(
        part.designator,
        "joint",
        Function.OHMS,
        Phase.JOINTS,
        chosen(part.joint, _JOINED),
        probe(part, pin),
        reference(part, net, around),
        bracket=pin,
        switches=merged_switches(part.joint),
        first_step=f"touch the lead above the solder, do not press on the pad; {phrases.NULL_LEADS}",
        why="A cold joint or a lost trace reads high or jumps, while the part itself reads right across its leads.",
        workaround="Force 0.1 to 1 A from a limited supply through the joint and read the millivolts across it.",
    )
