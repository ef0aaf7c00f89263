"""IC: each listed pin against ground and supply on the diode function, through the pin's clamps.

A clamp conducts from ground to the pin and from the pin to the supply: red on ground, black on the pin, and
red on the pin, black on the supply.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import chosen, middle, part_check
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.fields import Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import shunted_unless_alone

__all__ = ["Ic"]

_CLAMP = Limits(0.30, 0.80, "common practice, no source: a pin's clamp at about 1 mA")
_BOTH = ("ground", "supply")


@attrs.frozen(kw_only=True)
class Ic(Part):
    """`kind = "ic"`: `nets` names its pins, among them `ground` and `supply`; others are free.

    `clamps = { fb = ["ground"], en = [] }` names what each pin clamps to where it is not both. The supply pin
    is checked against ground only where `clamps` names it.
    """

    clamps: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    pin: Window[Volts] | None = None

    def clamped(self) -> Iterator[tuple[str, str]]:
        """Give every pin with each of `ground` and `supply` it clamps to and does not share a net with."""
        for pin, net in self.pins.items():
            usual = () if pin in _BOTH else _BOTH
            for rail in self.clamps.get(pin, usual):
                if rail in self.pins and rail != pin and self.pins[rail] != net:
                    yield pin, rail

    @property
    def unmodelled(self) -> tuple[str, ...]:
        """Every pin that may clamp to a ground which `nets` does not name: nobody can say where its current goes."""
        if "ground" in self.pins:
            return ()
        return tuple(pin for pin in self.pins if self.clamps.get(pin, _BOTH))


def checks(part: Ic, around: Surroundings) -> tuple[Check, ...]:
    """Return `pin` for every pin and rail it clamps to."""
    return tuple(_pin(part, around, pin, rail) for pin, rail in part.clamped())


def _pin(part: Ic, around: Surroundings, pin: str, rail: str) -> Check:
    probed = (rail, pin) if rail == "ground" else (pin, rail)
    return part_check(
        part,
        "pin",
        Function.DIODE,
        probed,
        _CLAMP,
        evidence=shunted_unless_alone(part, probed, around),
        given=part.pin,
        bracket=f"{pin}:{rail}",
        expected=middle(chosen(part.pin, _CLAMP)),
        first_step=phrases.COOL,
        why="OL where like pins read a drop is an open joint, near zero a bridge; two pins exactly alike may be one.",
        workaround="Compare on this meter with a good unit or the other channel: charts do not carry over.",
        settle=True,
    )


KIND = Kind("ic", Ic, ("supply", "ground"), checks, "pins to ground and supply through their clamps", any_pins=True)
