"""Diode and LED: forward drop on the diode function, and that it blocks the other way.

Limits hold for a diode function of about 1 mA (0.5 to 1.5 mA), and none has a lower limit a short would pass.
"""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import chosen, middle, part_check
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.fields import Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone, shunted_unless_alone

__all__ = ["Diode", "Led", "forward_check"]

_PINS, _REVERSE = ("anode", "cathode"), ("cathode", "anode")
_DROPS = {
    "silicon": Limits(
        0.45, 0.80, "common practice, from meter manuals: 0.5 to 0.8 V or 0.4 to 0.9 V at 0.5 to 1.5 mA"
    ),
    "schottky": Limits(0.12, 0.45, "common practice, from readings of 0.15 V (3 A part) and 0.35 V (small part)"),
    "germanium": Limits(0.15, 0.40, "common practice, from readings of 0.23 V and 0.25 V"),
}
#: blocking: what a forward junction beside it does not reach and every diode function exceeds.
_BLOCKS = {
    "silicon": Limits(1.0, None, "common practice, no source: blocks at 1 V"),
    "schottky": Limits(0.6, None, "common practice, no source: blocks at 0.6 V; large ones leak"),
    "germanium": Limits(0.6, None, "common practice, no source: blocks at 0.6 V; all leak a little"),
}
_LED_ORIGIN = "common practice, from memory: at about 1 mA"
_LEDS = {
    "infrared": Limits(0.9, 1.3, _LED_ORIGIN),
    "red": Limits(1.5, 2.1, _LED_ORIGIN),
    "orange": Limits(1.5, 2.1, _LED_ORIGIN),
    "yellow": Limits(1.5, 2.1, _LED_ORIGIN),
    "green": Limits(1.6, 2.3, _LED_ORIGIN),
    "true-green": Limits(2.2, 3.1, _LED_ORIGIN),
    "blue": Limits(2.3, 3.2, _LED_ORIGIN),
    "white": Limits(2.3, 3.2, _LED_ORIGIN),
    "ultraviolet": Limits(2.6, 3.6, _LED_ORIGIN),
}


@attrs.frozen(kw_only=True)
class Diode(Part):
    """`kind = "diode"`: silicon unless told."""

    technology: Literal["silicon", "schottky", "germanium"] = "silicon"
    forward_drop: Window[Volts] | None = None
    reverse: Window[Volts] | None = None


@attrs.frozen(kw_only=True)
class Led(Part):
    """`kind = "led"`: green is the yellowish green of old indicators, "true-green" the one of blue's family."""

    colour: Literal["infrared", "red", "orange", "yellow", "green", "true-green", "blue", "white", "ultraviolet"]
    forward_drop: Window[Volts] | None = None
    reverse: Window[Volts] | None = None


def forward_check(
    part: Part, around: Surroundings, supplied: Limits, given: Window[Volts] | None, why: str, workaround: str
) -> Check:
    """Return `forward_drop`, red on the anode."""
    return part_check(
        part,
        "forward_drop",
        Function.DIODE,
        _PINS,
        supplied,
        evidence=shunted_unless_alone(part, _PINS, around),
        given=given,
        expected=middle(chosen(given, supplied)),
        first_step=phrases.COOL,
        why=why,
        workaround=workaround,
    )


def _reverse_check(part: Diode | Led, around: Surroundings, supplied: Limits) -> Check:
    return part_check(
        part,
        "reverse",
        Function.DIODE,
        _REVERSE,
        supplied,
        given=part.reverse,
        evidence=lowered_unless_alone(part, _REVERSE, around),
        why="The cathode side must block: OL, or on a board anything well above the forward drop.",
        workaround=phrases.REVERSE_CURRENT,
        settle=True,
    )


def diode_checks(part: Diode, around: Surroundings) -> tuple[Check, ...]:
    """Return `forward_drop` and `reverse`."""
    why = (
        "OL this way and a drop the other is a reversed part; the same value both ways is a resistor, not a junction."
    )
    lift = f"If both ways read alike, something lies in parallel. {phrases.LIFT_LEAD}"
    forward = forward_check(part, around, _DROPS[part.technology], part.forward_drop, why, lift)
    return forward, _reverse_check(part, around, _BLOCKS[part.technology])


def led_checks(part: Led, around: Surroundings) -> tuple[Check, ...]:
    """Return `forward_drop` and `reverse`."""
    why = "Many meters stop at 2 to 3 V: OL on a good blue or white one proves nothing, on a red one it does."
    light = "Light it from the bench supply, 5 V through 1 kohm, anode to plus."
    forward = forward_check(part, around, _LEDS[part.colour], part.forward_drop, why, light)
    return forward, _reverse_check(part, around, _BLOCKS["silicon"])


KINDS = (
    Kind("diode", Diode, _PINS, diode_checks, "forward drop, and blocking the other way"),
    Kind("led", Led, _PINS, led_checks, "forward drop, and blocking the other way"),
)
