"""Seeded random networks of one device mix each, and the same network as a SPICE deck.

A network is grown net by net so that every net has a resistive way to the reference, then devices are scattered over
it; two supplies feed it through resistors, as boards are fed.
"""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Literal

from benchcheck.circuit.devices import (
    Bjt,
    Clamp,
    CurrentSource,
    Device,
    Diode,
    Mosfet,
    Resistor,
    VoltageSource,
    Zener,
)
from benchcheck.circuit.models import (
    CLAMP_JUNCTION,
    GERMANIUM,
    LED_RED,
    RECTIFIER,
    SCHOTTKY,
    SILICON,
    BjtModel,
    JunctionModel,
    MosfetModel,
    zener_junction,
)
from benchcheck.circuit.netlist import Netlist

MIXES = {
    "resistors": "r",
    "diodes both ways round": "d",
    "zeners and clamps": "zc",
    "bipolar transistors": "q",
    "mosfets": "m",
    "everything": "dzcqm",
}
JUNCTIONS = (SILICON, RECTIFIER, SCHOTTKY, GERMANIUM, LED_RED)
BJTS = (
    BjtModel(),
    BjtModel(forward_gain=120.0, reverse_gain=1.0, early_forward_v=80.0),
    BjtModel(2e-14, 300.0, 6.0, leakage_emitter_a=1e-13, early_forward_v=120.0, knee_forward_a=0.08,
             base_resistance_ohm=20.0, collector_resistance_ohm=1.0, emitter_resistance_ohm=0.3),
)  # fmt: skip
MOSFETS = (
    MosfetModel(),
    MosfetModel(0.9, 2.0, 0.02, 0.05, 0.02),
    MosfetModel(2.5, 0.5, 0.01),
)


def ohm(rng: random.Random) -> float:
    return float(f"{10 ** rng.uniform(1.0, 6.0):.3g}")


def network(seed: int, mix: str, nets: int | None = None) -> Netlist:
    """Return one network: its nets, its resistors and about one device of the mix for two nets."""
    rng = random.Random(f"{mix} {seed}")
    count = nets or rng.choice((6, 12, 25, 40))
    names = ["0", "vp", "vn", *(f"n{i}" for i in range(count))]
    devices: list[Device] = [
        VoltageSource("vvp", "vp", "0", rng.choice((3.3, 5.0, 9.0, 12.0))),
        VoltageSource("vvn", "0", "vn", rng.choice((1.5, 3.0, 5.0))),
    ]
    for i in range(count):
        devices.append(Resistor(f"rt{i}", f"n{i}", rng.choice(names[: 3 + i]), ohm(rng)))
    for i in range(count // 2):
        a, b = rng.sample(names, 2)
        devices.append(Resistor(f"rx{i}", a, b, ohm(rng)))
    for i in range(max(2, count // 2)):
        letter = rng.choice(MIXES[mix])
        if letter != "r":
            devices.append(MAKERS[letter](f"{i}", [*names[3:], "0"], rng))
    if rng.random() < 0.5:
        devices.append(CurrentSource("ii", rng.choice(names[3:]), "0", rng.uniform(-1e-3, 1e-3)))
    return Netlist(devices)


def diode(number: str, names: list[str], rng: random.Random) -> Device:
    anode, cathode = rng.sample(names, 2)
    return Diode(f"d{number}", anode, cathode, rng.choice(JUNCTIONS))


def zener(number: str, names: list[str], rng: random.Random) -> Device:
    volt = rng.choice((3.3, 5.1, 6.2, 8.2))
    model = replace(zener_junction(volt), breakdown_ideality=rng.choice((1.0, 2.0, 3.0)))
    anode, cathode = rng.sample(names, 2)
    return Zener(f"d{number}", anode, cathode, volt, model)


def clamp(number: str, names: list[str], rng: random.Random) -> Device:
    return Clamp(f"c{number}", rng.choice(names[:-1]), "0", "vp", CLAMP_JUNCTION)


def bjt(number: str, names: list[str], rng: random.Random) -> Device:
    collector, base, emitter = rng.sample(names, 3)
    polarity: Literal["NPN", "PNP"] = rng.choice(("NPN", "PNP"))
    return Bjt(f"q{number}", collector, base, emitter, polarity, rng.choice(BJTS))


def mosfet(number: str, names: list[str], rng: random.Random) -> Device:
    gate, drain, source = rng.sample(names, 3)
    channel: Literal["N", "P"] = rng.choice(("N", "P"))
    return Mosfet(f"m{number}", gate, drain, source, channel, rng.choice(MOSFETS))


MAKERS = {"d": diode, "z": zener, "c": clamp, "q": bjt, "m": mosfet}


# the same as a deck ---------------------------------------------------------------------------------------


class _Cards:
    """Model cards by their text, numbered as they come."""

    def __init__(self) -> None:
        self.names: dict[str, str] = {}

    def name(self, card: str) -> str:
        return self.names.setdefault(card, f"mod{len(self.names)}")


def junction_card(model: JunctionModel) -> str:
    breakdown = ""
    if model.breakdown_voltage_v is not None:
        breakdown = (
            f" BV={model.breakdown_voltage_v!r} IBV={model.breakdown_current_a!r} NBV={model.breakdown_ideality!r}"
        )
    return (
        f"D(IS={model.saturation_current_a!r} N={model.ideality!r} RS={model.series_resistance_ohm!r}"
        f" EG={model.bandgap_ev!r} XTI={model.temperature_exponent!r} TNOM=27{breakdown})"
    )


def bjt_card(device: Bjt) -> str:
    m = device.model
    infinite = {"VAF": m.early_forward_v, "VAR": m.early_reverse_v, "IKF": m.knee_forward_a, "IKR": m.knee_reverse_a}
    finite = " ".join(f"{key}={value!r}" for key, value in infinite.items() if value != float("inf"))
    return (
        f"{device.polarity}(IS={m.saturation_current_a!r} BF={m.forward_gain!r} BR={m.reverse_gain!r}"
        f" NF={m.forward_ideality!r} NR={m.reverse_ideality!r} ISE={m.leakage_emitter_a!r}"
        f" NE={m.leakage_emitter_ideality!r} ISC={m.leakage_collector_a!r} NC={m.leakage_collector_ideality!r}"
        f" RB={m.base_resistance_ohm!r} RC={m.collector_resistance_ohm!r} RE={m.emitter_resistance_ohm!r}"
        f" TNOM=27 {finite})"
    )


def mosfet_card(device: Mosfet) -> str:
    m, sense = device.model, 1.0 if device.channel == "N" else -1.0
    return (
        f"{device.channel}MOS(LEVEL=1 VTO={sense * m.threshold_v!r} KP={m.transconductance_a_per_v2!r}"
        f" LAMBDA={m.channel_modulation_per_v!r} GAMMA=0 PHI=0.6 IS={m.body.saturation_current_a!r}"
        f" RD={m.drain_resistance_ohm!r} RS={m.source_resistance_ohm!r} TNOM=27)"
    )


def deck_lines(netlist: Netlist) -> list[str]:
    """Return the devices and model cards as lines of a deck."""
    cards = _Cards()
    lines = [line for device in netlist.devices for line in device_lines(device, cards)]
    return [*lines, *(f".model {name} {card}" for card, name in cards.names.items())]


def device_lines(device: Device, cards: _Cards) -> list[str]:  # noqa: C901 (one branch a device type)
    match device:
        case Resistor(name, a, b, value):
            return [f"R_{name} {a} {b} {value!r}"]
        case VoltageSource(name, plus, minus, value):
            return [f"V_{name} {plus} {minus} {value!r}"]
        case CurrentSource(name, plus, minus, value):
            return [f"I_{name} {minus} {plus} {value!r}"]
        case Diode(name, anode, cathode, model):
            return [f"D_{name} {anode} {cathode} {cards.name(junction_card(model))}"]
        case Zener(name, anode, cathode):
            return [f"D_{name} {anode} {cathode} {cards.name(junction_card(device.junction))}"]
        case Clamp(name, pin, ground, supply, model):
            card = cards.name(junction_card(model))
            return [f"D_{name}a {ground} {pin} {card}", f"D_{name}b {pin} {supply} {card}"]
        case Bjt(name, collector, base, emitter):
            return [f"Q_{name} {collector} {base} {emitter} {cards.name(bjt_card(device))}"]
        case Mosfet(name, gate, drain, source):
            return [f"M_{name} {drain} {gate} {source} {source} {cards.name(mosfet_card(device))} W=100u L=100u"]
        case _:
            raise NotImplementedError(type(device))
