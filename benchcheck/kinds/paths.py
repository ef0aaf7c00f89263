"""What lies around a part: whether anything can run around it, where its nets go next, what stands across it.

Only nets declared `complete` can show that no other path exists; on any other net something unnamed may sit.
"""

from __future__ import annotations

from collections import deque

from benchcheck.kinds.build import pin_words
from benchcheck.kinds.check import Evidence, Probe
from benchcheck.kinds.part import Part, Surroundings

__all__ = ["alone", "lowered_unless_alone", "pad", "reference", "shunted_unless_alone", "voltage_across"]


def alone(part: Part, pins: tuple[str, str], around: Surroundings) -> bool:
    """Return whether no path but the part itself can run between two of its pins.

    That holds when, from one of the two nets, only complete nets are reached through other parts, and none
    that touches the part again.
    """
    nets = [part.net(pin) for pin in pins]
    return any(net is not None and _leads_nowhere(part, net, around) for net in nets)


def _leads_nowhere(part: Part, start: str, around: Surroundings) -> bool:
    elsewhere = set(part.pins.values()) - {start}
    if not around.complete(start):
        return False
    # nearest first, and asked when first met: on a large board the way back is short where there is one
    reached, open_ends = {start}, deque([start])
    while open_ends:
        for designator, _ in around.touching(open_ends.popleft()):
            if designator != part.designator:
                onward = set(around.nets_of(designator).values()) - reached
                if onward & elsewhere or not all(around.complete(net) for net in onward):
                    return False
                reached |= onward
                open_ends.extend(onward)
    return True


def lowered_unless_alone(part: Part, pins: tuple[str, str], around: Surroundings) -> Evidence:
    """Return what ohms or a blocking junction between two pins show: paths around can only lower them."""
    return Evidence.DIRECT if alone(part, pins, around) else Evidence.LOWERED


def shunted_unless_alone(part: Part, pins: tuple[str, str], around: Surroundings) -> Evidence:
    """Return what the drop of a junction between two pins shows: paths around can only lower it."""
    return Evidence.DIRECT if alone(part, pins, around) else Evidence.SHUNTED


def reference(part: Part, net: str | None, around: Surroundings) -> Probe:
    """Return a point on a net away from the part: reached through the joint and the trace, not the part's pad."""
    if net is None:
        return Probe("the point this lead must join, by the drawing or the photo")
    others = [(name, pin) for name, pin in around.touching(net) if name != part.designator]
    if net == around.ground():
        return Probe(f"a ground point away from {part.designator}", net)
    if not others:
        return Probe(f"a pad of {net} away from {part.designator}", net)
    name, pin = others[0]
    return Probe(f"{name} {pin_words(pin)}, the next part on {net}", net)


def pad(net: str, around: Surroundings) -> Probe:
    """Return a point on a net in words: the pin that is easiest to find on it, where the spec names one."""
    pins = sorted(around.touching(net), key=lambda at: _PLAIN.get(at[1], 2 if not at[1].isdecimal() else 3))
    if not pins:
        return Probe(f"a pad of {net}", net)
    name, pin = pins[0]
    return Probe(f"{net}, for example at {name} {pin_words(pin)}", net)


#: what a rail feeds comes first, then what stands across it; a resistor's leads are alike and come last.
_PLAIN = {"supply": 0, "ground": 0, "plus": 1, "minus": 1}


def voltage_across(part: Part, pins: tuple[str, str], around: Surroundings) -> float | None:
    """Return the DC voltage from the first to the second pin under power in volt, None where a net is unknown."""
    first, second = (_voltage(part.net(pin), around) for pin in pins)
    return None if first is None or second is None else first - second


def _voltage(net: str | None, around: Surroundings) -> float | None:
    if net is None:
        return None
    stated = around.voltage(net)
    return 0.0 if stated is None and net == around.ground() else stated
