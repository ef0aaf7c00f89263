"""Bipolar transistor: two junctions from one base, their difference, and that collector to emitter blocks.

The base-emitter junction reads a few millivolts above base-collector. That is far below a meter's accuracy,
but both readings share its error, so their difference tells collector from emitter.
"""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import Details, check, check_id, chosen, merged_switches, middle, part_check
from benchcheck.kinds.check import Check, Formula, Limits, Phase, Probe
from benchcheck.kinds.fields import Gain, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone, shunted_unless_alone

__all__ = ["Bjt"]

_DROP = Limits(0.55, 0.80, "common practice, from readings of 0.61 to 0.73 V at about 1 mA")
_DIFFERENCE = Limits(
    0.0, 0.06, "computed: VT ln((1+BR)/BR), 6 mV for reverse gain 4, 60 mV for 0.1; base-emitter reads higher"
)
_BLOCKS = Limits(1.0, None, "common practice, no source: blocks at 1 V; OL off the board")


@attrs.frozen(kw_only=True)
class Bjt(Part):
    """`kind = "bjt"`."""

    polarity: Literal["NPN", "PNP"]
    be_drop: Window[Volts] | None = None
    bc_drop: Window[Volts] | None = None
    drop_difference: Window[Volts] | None = None
    ce_blocking: Window[Volts] | None = None
    hfe: Window[Gain] | None = None

    def forward(self, end: str) -> tuple[str, str]:
        """Return the pins for red and black that make the junction from the base to `end` conduct."""
        return ("base", end) if self.polarity == "NPN" else (end, "base")


def checks(part: Bjt, around: Surroundings) -> tuple[Check, ...]:
    """Return `be_drop`, `bc_drop`, `drop_difference`, `ce_blocking`, and `hfe` where a limit is given.

    A junction whose two pins the board joins is not asked for, nor what would be computed from it: base and
    collector on one net make a diode of the transistor.
    """
    drops = [
        _drop(part, around, f"{letter}_drop", end, limits)
        for letter, end, limits in (("be", "emitter", part.be_drop), ("bc", "collector", part.bc_drop))
        if not _joined(part, "base", end)
    ]
    given = [*drops, _difference(part)] if len(drops) == 2 else drops
    if not _joined(part, "base", "collector") and not _joined(part, "collector", "emitter"):
        given.append(_blocking(part, around))
    if part.hfe is not None:
        given.append(_gain(part, part.hfe))
    return tuple(given)


def _joined(part: Bjt, one: str, other: str) -> bool:
    return part.net(one) is not None and part.net(one) == part.net(other)


def _drop(part: Bjt, around: Surroundings, measurand: str, end: str, given: Window[Volts] | None) -> Check:
    other = "a PNP" if part.polarity == "NPN" else "an NPN"
    return part_check(
        part,
        measurand,
        Function.DIODE,
        part.forward(end),
        _DROP,
        evidence=shunted_unless_alone(part, part.forward(end), around),
        given=given,
        expected=middle(chosen(given, _DROP)),
        first_step=phrases.COOL,
        why=f"OL this way and a drop with the leads exchanged is {other} or another pin order.",
        workaround=f"A resistor across the junction lowers it: exchange the leads and compare. {phrases.LIFT_LEAD}",
    )


def _difference(part: Bjt) -> Check:
    name = part.designator
    details: Details = {
        "sources": (check_id(name, "be_drop"), check_id(name, "bc_drop")),
        "formula": Formula.DIFFERENCE,
        "switches": merged_switches(part.drop_difference),
        "why": "A negative difference means collector and emitter exchanged: pin orders differ from maker to maker.",
        "workaround": "Read both junctions twice on one range, without warming the part, or try the hFE socket.",
    }
    limits = chosen(part.drop_difference, _DIFFERENCE)
    return check(name, "drop_difference", Function.DERIVED, Phase.PARTS, limits, quantity_unit="V", **details)


def _blocking(part: Bjt, around: Surroundings) -> Check:
    """Red where the collector current enters: collector of an NPN, emitter of a PNP."""
    pins = ("collector", "emitter") if part.polarity == "NPN" else ("emitter", "collector")
    return part_check(
        part,
        "ce_blocking",
        Function.DIODE,
        pins,
        _BLOCKS,
        given=part.ce_blocking,
        evidence=lowered_unless_alone(part, pins, around),
        why="With the base left alone nothing flows; the same number both ways is a resistor beside it.",
        workaround=phrases.REVERSE_CURRENT,
        settle=True,
    )


def _gain(part: Bjt, given: Window[Gain]) -> Check:
    limits = chosen(given, Limits())
    return check(
        part.designator,
        "hfe",
        Function.HFE,
        Phase.PARTS,
        limits,
        Probe(f"hFE socket, {part.polarity} side: base, collector, emitter each in its own hole"),
        expected=middle(limits),
        first_step=f"take it off the board; {part.polarity} side of the socket, by the pin order of its maker",
        why="The socket gives about 10 uA of base current at 3 V: compare with a data-sheet line near 1 to 5 mA.",
        workaround="Compare with a new transistor of the same type and rank in the same socket.",
    )


KIND = Kind("bjt", Bjt, ("base", "collector", "emitter"), checks, "both junctions, their difference, blocking")
