"""From the pins of a netlist to the pins of a kind, or the question which way round.

Numbers on a resistor or a fuse do not matter; on a diode or an electrolytic they do, and no numbering is common
to all libraries, so a person decides.
"""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.document import toml_value
from benchcheck.draft.netlist import Wired
from benchcheck.kinds.part import Kind

__all__ = ["pins_for"]

#: what a netlist may call a pin, in lower case -> the pin of a kind.
CALLED: Mapping[str, str] = {
    "a": "anode", "anode": "anode", "k": "cathode", "ka": "cathode", "cathode": "cathode", "cat": "cathode",
    "+": "plus", "p": "plus", "pos": "plus", "plus": "plus", "-": "minus", "n": "minus", "neg": "minus",
    "minus": "minus", "b": "base", "base": "base", "c": "collector", "collector": "collector", "e": "emitter",
    "emitter": "emitter", "g": "gate", "gate": "gate", "d": "drain", "drain": "drain", "s": "source",
    "source": "source", "in": "input", "vin": "input", "input": "input", "vi": "input", "out": "output",
    "vout": "output", "output": "output", "vo": "output", "gnd": "ground", "ground": "ground", "vss": "ground",
    "vcc": "supply", "vdd": "supply", "supply": "supply",
}  # fmt: skip


def pins_for(kind: Kind, wired: Wired) -> tuple[object | None, str]:
    """Return what `nets` holds for a part, or None, and the question that goes with it.

    >>> from benchcheck.kinds.catalogue import KINDS
    >>> kinds = {kind.name: kind for kind in KINDS}
    >>> pins_for(kinds["resistor"], Wired("R1", 3, {"2": "GND", "1": "FB"}))
    (['FB', 'GND'], '')
    >>> pins_for(kinds["diode"], Wired("D1", 3, {"1": "A", "2": "B"}))
    (None, 'which way round? nets = { anode = "A", cathode = "B" }')
    """
    nets = wired.pins
    if len(nets) > 1 and len(set(nets.values())) == 1:
        return None, f"every pin is on net {next(iter(nets.values()))}; look at the list of nets"
    if kind.any_pins:
        return _any(kind, nets)
    if len(nets) != len(kind.pins):
        return None, f"{len(nets)} pins in the nets ({_told(nets)}), and a {kind.name} has {', '.join(kind.pins)}"
    if kind.two_lead:
        return [nets[pin] for pin in sorted(nets, key=_place)], ""
    named = {CALLED.get(pin.casefold(), ""): net for pin, net in nets.items()}
    if set(named) == set(kind.pins):
        return {pin: named[pin] for pin in kind.pins}, ""
    if set(nets) == {"1", "2"} and wired.ordered:  # SPICE's C n+ n-
        return {kind.pins[0]: nets["1"], kind.pins[1]: nets["2"]}, "which way round? the netlist's first node as plus"
    example = dict(zip(kind.pins, (nets[pin] for pin in sorted(nets, key=_place)), strict=True))
    return None, f"which way round? nets = {toml_value(example)}"


def _any(kind: Kind, nets: Mapping[str, str]) -> tuple[object, str]:
    """Return the pins of an IC under their own names; supply and ground are what its clamps lead to."""
    named = {CALLED.get(pin.casefold(), pin): net for pin, net in nets.items()}
    if len(named) < len(nets):
        named = dict(nets)
    lacking = [pin for pin in kind.pins if pin not in named]
    question = f"which pins are {' and '.join(lacking)}? its pins are checked against them" if lacking else ""
    order = [pin for pin in kind.pins if pin in named]
    return {pin: named[pin] for pin in (*(p for p in named if p not in order), *order)}, question


def _place(pin: str) -> tuple[int, str]:
    return (int(pin), "") if pin.isascii() and pin.isdigit() and len(pin) < 9 else (10**9, pin.casefold())


def _told(nets: Mapping[str, str]) -> str:
    return ", ".join(f"{pin} on {net}" for pin, net in nets.items())
