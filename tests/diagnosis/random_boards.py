"""Boards nobody has seen: plausible low-voltage specs of 15 to 60 parts, drawn from a seed, as the text of a spec.

A way in (fuse, diode, electrolytic), one or two further rails, then blocks as repairers meet them: dividers, lamps,
pull-ups at a chip's pins, transistor and MOSFET switches, buttons, filters, clamps, plugs. What the blocks are made
of is common practice, no source; values are those of the E12 series (IEC 60063).
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable

__all__ = ["random_spec"]

_E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
_FEWEST, _MOST, _LARGEST_BLOCK = 15, 60, 6
Nets = tuple[str, ...] | dict[str, str]


def _toml(text: str) -> str:
    return text if text.startswith("{") else f'"{text}"'


class _Draft:
    """Parts and nets so far; `rails` are what blocks hang on, `chips` the pins of each chip."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.lines: list[str] = []
        self.parts = 0
        self.rails: list[str] = []
        self.chips: dict[str, list[str]] = {}
        self._count: Counter[str] = Counter()

    def part(self, letter: str, kind: str, nets: Nets, **keys: str) -> str:
        """Add a part; a key's text is quoted unless it is a table."""
        self._count[letter] += 1
        name = f"{letter}{self._count[letter]}"
        if isinstance(nets, dict):
            joined = "{ " + ", ".join(f'{pin} = "{net}"' for pin, net in nets.items()) + " }"
        else:
            joined = "[" + ", ".join(f'"{net}"' for net in nets) + "]"
        self.lines += [
            f"[part.{name}]",
            f'kind = "{kind}"',
            *(f"{key} = {_toml(text)}" for key, text in keys.items()),
        ]
        self.lines.append(f"nets = {joined}")
        self.parts += 1
        return name

    def net(self, stem: str) -> str:
        """Return a new net; every path on it is in the spec, most of the time."""
        self._count[f"net {stem}"] += 1
        name = f"{stem}{self._count[f'net {stem}']}"
        if self.chance.random() < 0.8:
            self.lines = [f"[net.{name}]", "complete = true", *self.lines]
        return name

    def resistor(self, a: str, b: str, low: float, high: float) -> None:
        """Add a resistor of an E12 value between two bounds, in ohm."""
        decade = 10.0 ** self.chance.randint(0, 4)
        values = [value * decade for value in _E12 if low <= value * decade <= high]
        values = values or [
            value * 10.0**power for power in range(6) for value in _E12 if low <= value * 10.0**power <= high
        ]
        self.part(
            "R",
            "resistor",
            (a, b),
            value=f"{self.chance.choice(values):.6g} ohm",
            tolerance=self.chance.choice(("1 %", "5 %")),
        )

    def electrolytic(self, plus: str, farad_micro: tuple[int, ...] = (22, 47, 100, 220, 470)) -> None:
        value = f"{self.chance.choice(farad_micro)} uF"
        nets = {"plus": plus, "minus": "GND"}
        self.part("C", "electrolytic", nets, value=value, tolerance="20 %", rated_voltage="25 V")

    def ceramic(self, a: str, b: str, values: tuple[str, ...] = ("10 nF", "47 nF", "100 nF", "220 nF")) -> None:
        self.part("C", "capacitor", (a, b), value=self.chance.choice(values), tolerance="10 %")

    def rail(self) -> str:
        return self.chance.choice(self.rails)

    def pin(self, net: str) -> str:
        """Hang a net on a pin of a chip, a new chip where none has room."""
        free = [name for name, pins in self.chips.items() if len(pins) < 4]
        name = self.chance.choice(free) if free else f"rail {self.rail()} {len(self.chips)}"
        self.chips.setdefault(name, []).append(net)
        return net


def _divider(draft: _Draft) -> None:
    middle = draft.net("DIV")
    draft.resistor(draft.rail(), middle, 1e3, 220e3)
    draft.resistor(middle, "GND", 1e3, 220e3)
    if draft.chance.random() < 0.5:
        draft.ceramic(middle, "GND")
    if draft.chance.random() < 0.5:
        draft.pin(middle)


def _lamp(draft: _Draft) -> None:
    anode = draft.net("LED")
    draft.resistor(draft.rail(), anode, 330, 4.7e3)
    colour = draft.chance.choice(("red", "green", "yellow"))
    draft.part("D", "led", {"anode": anode, "cathode": "GND"}, colour=colour)


def _pull_up(draft: _Draft) -> None:
    draft.resistor(draft.rail(), draft.pin(draft.net("SIG")), 2.2e3, 100e3)


def _button(draft: _Draft) -> None:
    line = draft.pin(draft.net("KEY"))
    draft.resistor(draft.rail(), line, 4.7e3, 47e3)
    draft.part("S", "switch", (line, "GND"), rest="open")
    if draft.chance.random() < 0.5:
        draft.ceramic(line, "GND")


def _load(draft: _Draft, low: str) -> None:
    """Hang something on the switched side of a transistor: a resistor, or a winding with its diode."""
    rail = draft.rail()
    if draft.chance.random() < 0.5:
        draft.resistor(rail, low, 100, 10e3)
        return
    ohms = draft.chance.choice(("56 ohm", "120 ohm", "350 ohm"))
    draft.part("K", "winding", (rail, low), value=ohms, tolerance="10 %")
    draft.part("D", "diode", {"anode": low, "cathode": rail}, technology="silicon")


def _bjt_switch(draft: _Draft) -> None:
    base, collector = draft.net("B"), draft.net("COL")
    draft.resistor(draft.pin(draft.net("DRV")), base, 1e3, 22e3)
    if draft.chance.random() < 0.6:
        draft.resistor(base, "GND", 10e3, 100e3)
    draft.part("Q", "bjt", {"base": base, "collector": collector, "emitter": "GND"}, polarity="NPN")
    _load(draft, collector)


def _mosfet_switch(draft: _Draft) -> None:
    gate, drain = draft.net("G"), draft.net("DRN")
    draft.resistor(draft.pin(draft.net("DRV")), gate, 47, 470)
    draft.resistor(gate, "GND", 10e3, 100e3)
    draft.part("Q", "mosfet", {"gate": gate, "drain": drain, "source": "GND"}, channel="N")
    _load(draft, drain)


def _filter(draft: _Draft) -> None:
    first, second = draft.net("IN"), draft.net("FLT")
    draft.resistor(draft.rail(), first, 10e3, 100e3)
    draft.resistor(first, second, 1e3, 47e3)
    draft.ceramic(second, "GND")
    draft.resistor(second, "GND", 22e3, 220e3)


def _clamp(draft: _Draft) -> None:
    held = draft.net("REF")
    draft.resistor(draft.rail(), held, 1e3, 10e3)
    volt = draft.chance.choice(("3.3 V", "5.1 V", "6.8 V"))
    draft.part("D", "zener", {"anode": "GND", "cathode": held}, value=volt, tolerance="5 %")


def _plug(draft: _Draft) -> None:
    near, far = draft.net("JA"), draft.net("JB")
    draft.resistor(draft.rail(), near, 100, 2.2e3)
    draft.part("J", "connector", (near, far), rest="closed")
    draft.resistor(far, "GND", 1e3, 47e3)


_BLOCKS: tuple[Callable[[_Draft], None], ...] = (
    _divider, _lamp, _pull_up, _button, _bjt_switch, _mosfet_switch, _filter, _clamp, _plug,
)  # fmt: skip


def _way_in(draft: _Draft) -> None:
    fused = draft.net("FUSED")
    draft.part("F", "fuse", ("DCIN", fused))
    technology = draft.chance.choice(("silicon", "schottky"))
    after = "VIN"
    draft.part("D", "diode", {"anode": fused, "cathode": after}, technology=technology)
    draft.electrolytic(after)
    if draft.chance.random() < 0.5:
        draft.ceramic(after, "GND")
    draft.resistor(after, "GND", 10e3, 100e3)
    draft.rails.append(after)


def _regulated(draft: _Draft, rail: str, volt: str) -> None:
    """Add a rail: behind a regulator, or behind a choke, each with capacitors and what it always feeds."""
    source = draft.rails[0]
    if draft.chance.random() < 0.7:
        nets = {"input": source, "output": rail, "ground": "GND"}
        draft.part("VR", "regulator", nets, voltage=volt, topology=draft.chance.choice(("linear", "low-dropout")))
    else:
        draft.part("L", "inductor", (source, rail), dc_resistance='{ max = "1.2 ohm" }')
    draft.electrolytic(rail, (10, 22, 47, 100))
    draft.ceramic(rail, "GND")
    draft.resistor(rail, "GND", 1e3, 10e3)
    draft.rails.append(rail)


def _chips(draft: _Draft) -> None:
    for name, nets in draft.chips.items():
        pins = {f"p{at}": net for at, net in enumerate(nets, 1)}
        draft.part("U", "ic", pins | {"supply": name.split()[1], "ground": "GND"})


def random_spec(seed: int) -> str:
    """Return the spec of a board, as the text of a file; the same for the same seed."""
    chance = random.Random(f"board {seed}")
    draft = _Draft(chance)
    _way_in(draft)
    _regulated(draft, "V5", "5 V")
    if chance.random() < 0.5:
        _regulated(draft, "V3", "3.3 V")
    wanted = chance.randint(_FEWEST, _MOST - _LARGEST_BLOCK)
    while draft.parts + len(draft.chips) < wanted:
        chance.choice(_BLOCKS)(draft)
    _chips(draft)
    head = [
        "benchcheck = 1", "[board]", f'model = "Random board {seed}"', 'revision = "A"', "hazards = []",
        "[supply.DC]", 'nets = { plus = "DCIN", minus = "GND" }', 'voltage = "12 V"', 'current_limit = "300 mA"',
        'idle_current = { max = "60 mA" }', 'input_capacitance = "1000 uF"',
        "[rail.V5]", 'nets = { plus = "V5", minus = "GND" }', 'voltage = "5 V"', 'tolerance = "5 %"',
        'loads = ["0 A"]', 'to_ground = { min = "50 ohm" }',
    ]  # fmt: skip
    return "\n".join([*head, *draft.lines, ""])
