"""A reader for the small part of the SPICE deck language that the reference decks use."""

from __future__ import annotations

import pathlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from benchcheck.circuit.devices import (
    Bjt,
    Capacitor,
    CurrentSource,
    Device,
    Diode,
    Inductor,
    Mosfet,
    Resistor,
    VoltageSource,
)
from benchcheck.circuit.models import BjtModel, JunctionModel, MosfetModel
from benchcheck.circuit.netlist import Netlist

SUFFIXES = {
    "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15
}  # fmt: skip
NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)(meg|mil|[tgkmunpf])?[a-z]*$")

JUNCTION_CARD = {
    "is": "saturation_current_a", "n": "ideality", "rs": "series_resistance_ohm", "bv": "breakdown_voltage_v",
    "ibv": "breakdown_current_a", "nbv": "breakdown_ideality", "eg": "bandgap_ev", "xti": "temperature_exponent"
}  # fmt: skip
BJT_CARD = {
    "is": "saturation_current_a", "bf": "forward_gain", "br": "reverse_gain", "nf": "forward_ideality",
    "nr": "reverse_ideality", "ise": "leakage_emitter_a", "ne": "leakage_emitter_ideality",
    "isc": "leakage_collector_a", "nc": "leakage_collector_ideality", "vaf": "early_forward_v",
    "var": "early_reverse_v", "ikf": "knee_forward_a", "ikr": "knee_reverse_a", "rb": "base_resistance_ohm",
    "rc": "collector_resistance_ohm", "re": "emitter_resistance_ohm", "eg": "bandgap_ev",
    "xti": "temperature_exponent", "xtb": "gain_temperature_exponent"
}  # fmt: skip
#: parameters that say nothing about direct current at the nominal temperature, or repeat a default
IGNORED = {"tnom", "level", "gamma", "phi", "cjo", "vj", "m", "tt", "cje", "cjc", "tf", "tr"}


@dataclass(frozen=True)
class Deck:
    """One deck: its netlist, the start voltages it gives and its temperature."""

    netlist: Netlist
    nodeset: dict[str, float]
    temperature_k: float


@dataclass
class _Reading:
    cards: dict[str, tuple[str, dict[str, float]]]
    devices: list[Device] = field(default_factory=list)


def number(text: str) -> float:
    found = NUMBER.match(text.lower())
    assert found, f"{text!r} is not a SPICE number"
    return float(found[1]) * SUFFIXES.get(found[2] or "", 1.0)


def parameters(text: str) -> dict[str, float]:
    return {key: number(value) for key, value in re.findall(r"(\w+)\s*=\s*([^\s()]+)", text.lower())}


def logical_lines(text: str) -> list[str]:
    lines: list[str] = []
    for line in text.splitlines()[1:]:
        if line.startswith("+"):
            lines[-1] += " " + line[1:]
        elif line.strip() and not line.startswith("*"):
            lines.append(line.strip().lower())
    return lines


def read(text: str) -> Deck:
    lines = logical_lines(text)
    cards = {}
    for line in lines:
        if line.startswith(".model"):
            _, name, kind = re.split(r"[\s(]+", line)[:3]
            cards[name] = (kind, parameters(line))
    reading = _Reading(cards)
    nodeset: dict[str, float] = {}
    temperature_k = 300.15
    for line in lines:
        if line.startswith(".nodeset"):
            nodeset |= {net: number(volt) for net, volt in re.findall(r"v\((\S+?)\)\s*=\s*(\S+)", line)}
        elif line.startswith(".temp"):
            temperature_k = number(line.split()[1]) + 273.15
        elif not line.startswith("."):
            DEVICES[line[0]](line.split(), reading)
    return Deck(Netlist(reading.devices), nodeset, temperature_k)


def read_file(path: pathlib.Path) -> Deck:
    return read(path.read_text(encoding="utf-8"))


def renamed(card: dict[str, float], names: dict[str, str]) -> dict[str, float]:
    unknown = card.keys() - names.keys() - IGNORED
    assert not unknown, f"model parameters not understood: {unknown}"
    return {names[key]: value for key, value in card.items() if key in names}


def source_value(words: list[str]) -> float:
    return number(words[4] if words[3] == "dc" else words[3])


def resistor(words: list[str], reading: _Reading) -> None:
    reading.devices.append(Resistor(words[0], words[1], words[2], number(words[3])))


def capacitor(words: list[str], reading: _Reading) -> None:
    reading.devices.append(Capacitor(words[0], words[1], words[2], number(words[3])))


def inductor(words: list[str], reading: _Reading) -> None:
    reading.devices.append(Inductor(words[0], words[1], words[2], number(words[3])))


def voltage_source(words: list[str], reading: _Reading) -> None:
    reading.devices.append(VoltageSource(words[0], words[1], words[2], source_value(words)))


def current_source(words: list[str], reading: _Reading) -> None:
    # SPICE: the current flows from the first node through the source to the second
    reading.devices.append(CurrentSource(words[0], words[2], words[1], source_value(words)))


def diode(words: list[str], reading: _Reading) -> None:
    kind, card = reading.cards[words[3]]
    assert kind == "d"
    model = JunctionModel(**renamed(card, JUNCTION_CARD))
    reading.devices.append(Diode(words[0], words[1], words[2], model))


def bjt(words: list[str], reading: _Reading) -> None:
    kind, card = reading.cards[words[4]]
    model = BjtModel(**renamed(card, BJT_CARD))
    polarity: Literal["NPN", "PNP"] = "NPN" if kind == "npn" else "PNP"
    reading.devices.append(Bjt(words[0], words[1], words[2], words[3], polarity, model))


def mosfet(words: list[str], reading: _Reading) -> None:
    name, drain, gate, source, bulk, model_name = words[:6]
    assert bulk == source, "only parts with the bulk tied to the source"
    kind, card = reading.cards[model_name]
    assert card.get("gamma", 0.0) == 0.0
    size = parameters(" ".join(words[6:]))
    sense = 1.0 if kind == "nmos" else -1.0
    model = MosfetModel(
        threshold_v=sense * card.get("vto", 0.0),
        transconductance_a_per_v2=card.get("kp", 2e-5) * size.get("w", 1e-4) / size.get("l", 1e-4),
        channel_modulation_per_v=card.get("lambda", 0.0),
        drain_resistance_ohm=card.get("rd", 0.0),
        source_resistance_ohm=card.get("rs", 0.0),
        body=JunctionModel(saturation_current_a=card.get("is", 1e-14)),
    )
    reading.devices.append(Mosfet(name, gate, drain, source, "N" if kind == "nmos" else "P", model))


DEVICES: dict[str, Callable[[list[str], _Reading], None]] = {
    "r": resistor,
    "c": capacitor,
    "l": inductor,
    "v": voltage_source,
    "i": current_source,
    "d": diode,
    "q": bjt,
    "m": mosfet,
}
