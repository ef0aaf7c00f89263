"""What each kind of part is to a circuit: the devices an entry stamps into a netlist, unpowered and at rest.

Values are the nominal ones of the spec; where a kind states none, a typical one stands in and its reading is never
trusted beyond what `complete` nets allow. A crystal is open and a battery is out; a regulator has no model.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
)
from benchcheck.circuit.models import (
    CLAMP_JUNCTION,
    GERMANIUM,
    LED_BLUE_WHITE,
    LED_INFRARED,
    LED_RED,
    LED_YELLOW_GREEN,
    SCHOTTKY,
    SILICON,
    JunctionModel,
)
from benchcheck.kinds.part import Part

__all__ = ["DEVICES"]

#: a jumper, a bead or a fuse where the spec states no resistance, in ohm (common practice, no source).
_NEARLY_A_WIRE_OHM = 0.05
_DIODES: Mapping[str, JunctionModel] = {"silicon": SILICON, "schottky": SCHOTTKY, "germanium": GERMANIUM}
_LEDS: Mapping[str, JunctionModel] = {
    "infrared": LED_INFRARED,
    "red": LED_RED,
    "orange": LED_RED,
    "yellow": LED_YELLOW_GREEN,
    "green": LED_YELLOW_GREEN,
}


def _two(part: Part) -> tuple[str, str]:
    first, second = part.pins.values()
    return first, second


def _resistor(part: Any) -> tuple[Device, ...]:
    ohm = part.value or _NEARLY_A_WIRE_OHM
    return (Resistor(part.designator, *_two(part), ohm, marked=bool(part.value)),)


def _resistance(value_ohm: Callable[[Any], float | None]) -> Callable[[Any], tuple[Device, ...]]:
    """Return what stamps a part that bears no resistance: a fuse is marked with its current."""

    def stamp(part: Any) -> tuple[Device, ...]:
        return (Resistor(part.designator, *_two(part), value_ohm(part) or _NEARLY_A_WIRE_OHM, marked=False),)

    return stamp


def _limit_middle(part: Any) -> float | None:
    """Return half the largest resistance the spec allows, where it says one."""
    limit = getattr(part, "resistance", None) or getattr(part, "dc_resistance", None)
    return limit.max / 2 if limit is not None and limit.max else None


def _capacitor(part: Any) -> tuple[Device, ...]:
    return (Capacitor(part.designator, *_two(part), part.value, wet=False),)


def _polar(part: Any, *, wet: bool) -> tuple[Device, ...]:
    plus, minus = part.pins["plus"], part.pins["minus"]
    return (Capacitor(part.designator, plus, minus, part.value, polarised=not part.bipolar, wet=wet),)


def _inductor(part: Any) -> tuple[Device, ...]:
    ohm = _limit_middle(part) or _NEARLY_A_WIRE_OHM
    return (Inductor(part.designator, *_two(part), part.value or 1e-4, ohm, marked=part.value is not None),)


def _diode(part: Any) -> tuple[Device, ...]:
    return (Diode(part.designator, part.pins["anode"], part.pins["cathode"], _DIODES[part.technology]),)


def _led(part: Any) -> tuple[Device, ...]:
    model = _LEDS.get(part.colour, LED_BLUE_WHITE)
    return (Diode(part.designator, part.pins["anode"], part.pins["cathode"], model),)


def _zener(part: Any) -> tuple[Device, ...]:
    return (Zener(part.designator, part.pins["anode"], part.pins["cathode"], part.value),)


def _bjt(part: Any) -> tuple[Device, ...]:
    pins = part.pins
    return (Bjt(part.designator, pins["collector"], pins["base"], pins["emitter"], part.polarity),)


def _mosfet(part: Any) -> tuple[Device, ...]:
    pins = part.pins
    return (Mosfet(part.designator, pins["gate"], pins["drain"], pins["source"], part.channel),)


def _contact(part: Any) -> tuple[Device, ...]:
    return (Switch(part.designator, *_two(part), closed=part.rest == "closed"),)


def _ic(part: Any) -> tuple[Device, ...]:
    """Return a clamp for every pin, to ground and to supply unless the spec says otherwise."""
    found: list[Device] = []
    for pin in sorted({pin for pin, _ in part.clamped()}):
        name, net = f"{part.designator}:{pin}", part.pins[pin]
        rails = {rail: part.pins[rail] for other, rail in part.clamped() if other == pin}
        if "ground" in rails:
            found.append(Clamp(name, net, rails["ground"], rails.get("supply")))
        else:
            found.append(Diode(name, net, rails["supply"], CLAMP_JUNCTION))
    return tuple(found)


#: kind -> what its entries with nets stamp; a kind not named here has no model.
DEVICES: Mapping[str, Callable[[Any], tuple[Device, ...]]] = {
    "resistor": _resistor,
    "fuse": _resistance(_limit_middle),
    "ptc": _resistance(_limit_middle),
    "ferrite": _resistance(_limit_middle),
    "winding": _resistance(lambda part: part.value or _limit_middle(part)),
    "capacitor": _capacitor,
    "electrolytic": lambda part: _polar(part, wet=True),
    "tantalum": lambda part: _polar(part, wet=False),
    "inductor": _inductor,
    "diode": _diode,
    "led": _led,
    "zener": _zener,
    "bjt": _bjt,
    "mosfet": _mosfet,
    "switch": _contact,
    "connector": _contact,
    "ic": _ic,
    "crystal": lambda part: (),
    "battery": lambda part: (),
}
