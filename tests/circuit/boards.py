"""Seeded invented boards without power: parts scattered over nets as on a small repair, two nets being hubs."""

from __future__ import annotations

import random

from benchcheck.circuit.devices import (
    Bjt,
    Capacitor,
    Clamp,
    Device,
    Diode,
    Inductor,
    Mosfet,
    Resistor,
    Zener,
)
from benchcheck.circuit.excitation import DiodeTest, Ohms, OhmsRange
from benchcheck.circuit.models import RECTIFIER, SCHOTTKY, SILICON, MosfetModel
from benchcheck.circuit.netlist import Netlist

#: parts of each sort in a board of 60
MIX = {"r": 24, "c": 12, "d": 7, "z": 2, "q": 6, "m": 3, "l": 3, "u": 3}

#: a handheld of 6,000 counts: test currents and compliance as handhelds have them (common practice)
OHMS = Ohms(
    (
        OhmsRange(600.0, 6e-4, 2.7),
        OhmsRange(6e3, 1e-4, 2.7),
        OhmsRange(60e3, 1e-5, 2.7),
        OhmsRange(600e3, 1e-6, 2.7),
        OhmsRange(6e6, 1e-7, 2.7),
        OhmsRange(60e6, 2e-8, 2.7),
    )
)
DIODE = DiodeTest(1e-3, 3.0, 2.0)


def board(seed: int, parts: int = 60, nets: int = 40) -> Netlist:
    """Return a board of so many parts over so many nets; every net is on at least one resistor or winding's way."""
    rng = random.Random(f"board {seed}")
    names = ["GND", "VCC", *(f"N{i}" for i in range(1, nets - 1))]
    letters = [letter for letter, count in MIX.items() for _ in range(round(count * parts / 60))]
    rng.shuffle(letters)
    weights = [8.0, 5.0, *[1.0] * (nets - 2)]
    unused = names[2:]
    rng.shuffle(unused)
    devices: list[Device] = []
    for number, letter in enumerate(letters):
        pins = 3 if letter in "qm" else 2
        chosen: list[str] = []
        while len(chosen) < pins:
            net = unused.pop() if unused and rng.random() < 0.6 else rng.choices(names, weights)[0]
            if net not in chosen:
                chosen.append(net)
        devices.append(_part(f"{letter.upper()}{number}", letter, chosen, rng))
    return Netlist(devices)


def _part(name: str, letter: str, nets: list[str], rng: random.Random) -> Device:
    match letter:
        case "r":
            return Resistor(name, nets[0], nets[1], float(f"{10 ** rng.uniform(1, 6):.2g}"))
        case "c":
            return Capacitor(name, nets[0], nets[1], 10 ** rng.uniform(-9, -4), 0.1, polarised=rng.random() < 0.5)
        case "d":
            return Diode(name, nets[0], nets[1], rng.choice((SILICON, SCHOTTKY, RECTIFIER)))
        case "z":
            return Zener(name, nets[0], nets[1], rng.choice((3.3, 5.1, 8.2)))
        case "q":
            return Bjt(name, nets[0], nets[1], nets[2], rng.choice(("NPN", "PNP")))
        case "m":
            model = MosfetModel(threshold_v=rng.choice((1.0, 1.5, 2.5)))
            return Mosfet(name, nets[0], nets[1], nets[2], "N" if rng.random() < 0.6 else "P", model)
        case "l":
            return Inductor(name, nets[0], nets[1], 1e-5, 10 ** rng.uniform(-2, 1))
        case _:
            pin = nets[0] if nets[0] not in ("GND", "VCC") else nets[1]
            return Clamp(name, pin if pin not in ("GND", "VCC") else "N1", "GND", "VCC")


def probe_pairs(netlist: Netlist, count: int, seed: int = 0) -> list[tuple[str, str]]:
    """Return ordered pairs of nets: half of them to ground, both ways round, the rest anywhere."""
    rng = random.Random(f"pairs {seed}")
    nets = [net for net in netlist.nets if net != "GND"]
    pairs: dict[tuple[str, str], None] = {}
    while len(pairs) < count:
        one = rng.choice(nets)
        other = "GND" if rng.random() < 0.5 else rng.choice(nets)
        if one != other:
            pairs |= {(one, other): None, (other, one): None}
    return list(pairs)[:count]
