"""Units read by ngspice, with device parameters that are not ours.

Saturation currents lie over a decade about what gives each part its usual drop at 1 mA, idealities from 1 to 2, the
board at 10 to 35 degC, tolerances at their edges. The meter is a current that gives way to its
compliance; capacitance and series resistance, which no junction shapes, are worked out from the drawn values.
"""

from __future__ import annotations

import math
import pathlib
import random
import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from benchcheck.bench.functions import Function
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
    pins,
    reconnect,
)  # fmt: skip
from benchcheck.circuit.faults import faulty
from benchcheck.circuit.models import JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.shots import DIRECT, Shot
from benchcheck.diagnosis.spread import single_junctions
from benchcheck.spec.board import Board
from tests.circuit.ngspice import PROGRAM
from tests.circuit.random_networks import deck_lines

_VT, _AT_A = 0.025865, 1e-3
_METERS = 24
_EDGE_V = 0.012  # within this of its compliance the source has given way


def spice_drawn(board: Board, netlist: Netlist, chance: random.Random) -> Netlist:
    """Return the netlist with other parameters than ours: tolerances at their edges, other junctions."""
    return Netlist(_other(board, device, chance) for device in single_junctions(netlist).devices)


def _edge(board: Board, device: Device, chance: random.Random) -> float:
    part = board.parts.get(device.designator.partition(":")[0])
    spread, nominal = getattr(part, "spread", None), getattr(part, "value", None)
    if spread is None or not nominal:
        return chance.choice((0.8, 1.2))
    return float(chance.choice(spread.interval(nominal)) / nominal)


def _junction(model: JunctionModel, chance: random.Random) -> JunctionModel:
    """Return another junction: its usual drop at 1 mA kept but for half a decade of IS either way."""
    drop = model.ideality * _VT * math.log(_AT_A / model.saturation_current_a)
    ideality = chance.uniform(1.0, 2.0)
    centre = _AT_A * math.exp(-drop / (ideality * _VT))
    return replace(model, ideality=ideality, saturation_current_a=centre * 10.0 ** chance.uniform(-0.5, 0.5))


def _other(board: Board, device: Device, chance: random.Random) -> Device:
    times = _edge(board, device, chance)
    match device:
        case Resistor():
            return replace(device, resistance_ohm=device.resistance_ohm * times)
        case Capacitor():
            return replace(device, capacitance_f=device.capacitance_f * times)
        case Inductor():
            return replace(device, dc_resistance_ohm=device.dc_resistance_ohm * times)
        case Diode():
            return replace(device, model=_junction(device.model, chance))
        case Zener():
            model = _junction(device.junction, chance)
            return replace(device, breakdown_voltage_v=device.breakdown_voltage_v * times, model=model)
        case Mosfet():
            return replace(device, model=replace(device.model, body=_junction(device.model.body, chance)))
        case Bjt(model=model):
            plain = JunctionModel(model.saturation_current_a, model.forward_ideality)
            other = _junction(plain, chance)
            ideality = min(other.ideality, 1.3)  # a transport model's collector current has an ideality near 1
            drop = plain.ideality * _VT * math.log(_AT_A / plain.saturation_current_a)
            saturation = _AT_A * math.exp(-drop / (ideality * _VT)) * 10.0 ** chance.uniform(-0.5, 0.5)
            changed = replace(
                model, saturation_current_a=saturation, forward_ideality=ideality, reverse_ideality=ideality
            )
            return replace(device, model=changed)
        case _:
            return device


def _plain(netlist: Netlist) -> Netlist:
    """Return what direct current sees, under names a deck takes."""
    names = {net: f"n{at}" for at, net in enumerate(netlist.nets)}
    return Netlist(one for at, device in enumerate(netlist.devices) for one in _deck_device(device, f"x{at}", names))


def _deck_device(device: Device, name: str, names: dict[str, str]) -> Iterator[Device]:
    nets = {pin: names[net] for pin, net in pins(device).items()}
    match device:
        case Inductor():
            yield Resistor(name, nets["a"], nets["b"], max(device.dc_resistance_ohm, 1e-4))
        case Switch():
            if device.closed:
                yield Resistor(name, nets["a"], nets["b"], device.closed_resistance_ohm)
        case Capacitor():
            if device.leakage_ohm:
                yield Resistor(name, nets["plus"], nets["minus"], device.leakage_ohm)
        case Clamp():
            for at, one in enumerate(single_junctions(Netlist([device])).devices):
                yield from _deck_device(one, f"{name}s{at}", names)
        case _:
            yield reconnect(replace(device, designator=name), **nets)


def spice_readings(
    engine: Engine, netlist: Netlist, shots: Sequence[Shot], ambient_c: float, folder: pathlib.Path
) -> list[float]:
    """Return what each direct shot reads by ngspice; NaN for overload. Decks hold few meters: they slow down fast."""
    return [
        value
        for begin in range(0, len(shots), _METERS)
        for value in _readings_of_deck(engine, netlist, shots[begin : begin + _METERS], ambient_c, folder)
    ]


def _readings_of_deck(
    engine: Engine, netlist: Netlist, shots: Sequence[Shot], ambient_c: float, folder: pathlib.Path
) -> list[float]:
    names = {net: f"n{at}" for at, net in enumerate(netlist.nets)}
    lines = ["* unit", *deck_lines(_plain(netlist))]
    lines += [f"R_leak{at} n{at} 0 1e13" for at in range(len(names))]
    script, asked = [], []
    for at, shot in enumerate(shots):
        red, black = names[shot.red], names[shot.black]
        if red == black:
            continue
        meter = engine.bench.meter_for(shot.function)
        assert meter is not None
        compliance = meter.ranges_of(shot.function)[-1].compliance_v or 3.0
        lines += [
            f"V_i{at} i{at} 0 0",
            f"B_m{at} {black} {red} I=v(i{at})*limit(({compliance}-v({red},{black}))/0.01,0,1)",
        ]
        for place, each in enumerate(meter.ranges_of(shot.function)):
            asked.append((at, place, compliance, each))
            script += [
                f"alter V_i{at} dc={each.test_current_a}",
                "op",
                f"echo MARK {len(asked) - 1} $&v({red}) $&v({black})",
            ]
        script.append(f"alter V_i{at} dc=0")
    options = ".options gmin=1e-15 reltol=1e-6 abstol=1e-14 vntol=1e-9 itl1=500"
    deck = folder / "unit.cir"
    deck.write_text(
        "\n".join([*lines, options, f".temp {ambient_c}", ".control", *script, "quit", ".endc", ".end", ""])
    )
    assert PROGRAM is not None
    ran = subprocess.run(
        [PROGRAM, "-b", deck.name], cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    volts = {int(k): float(a) - float(b) for k, a, b in re.findall(r"MARK (\d+) (\S+) (\S+)", ran.stdout)}
    found = [0.0 if shot.red == shot.black else math.nan for shot in shots]
    done = {at for at, shot in enumerate(shots) if shot.red == shot.black}
    for number, (at, _, compliance, each) in enumerate(asked):
        if at in done or number not in volts or volts[number] > compliance - _EDGE_V:
            continue
        shown = (
            volts[number] if shots[at].function is Function.DIODE else volts[number] / (each.test_current_a or 1e-3)
        )
        if shown <= each.ceiling:
            found[at] = shown
            done.add(at)
    return found


def spice_row(
    engine: Engine,
    board: Netlist,
    hypothesis: Hypothesis,
    shots: Sequence[Shot],
    ambient_c: float,
    folder: pathlib.Path,
) -> np.ndarray:
    """Return what every shot reads on a unit with one fault, direct current by ngspice."""
    chosen = [engine.hypotheses[0], hypothesis]
    row = read_under(engine.board, engine.bench, board, chosen, shots)[1].copy()
    netlist = board if hypothesis.part_fault is None else faulty(board, hypothesis.part_fault)
    plain = [
        at for at, shot in enumerate(shots) if shot.function in DIRECT and not shot.switches and shot.lead is None
    ]
    plain = [at for at in plain if {shots[at].red, shots[at].black} <= netlist.pins_on.keys()]
    row[plain] = spice_readings(engine, netlist, [shots[at] for at in plain], ambient_c, folder)
    return np.asarray(row)
