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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange
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
    part_of,
    pins,
    reconnect,
)  # fmt: skip
from benchcheck.circuit.faults import faulty
from benchcheck.circuit.models import JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.edits import switched
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.shots import DIRECT, Shot
from benchcheck.diagnosis.spread import single_junctions
from benchcheck.spec.board import Board
from tests.circuit.ngspice import PROGRAM
from tests.circuit.random_networks import deck_lines
from tests.diagnosis.population import Shown, shown_of

_VT, _AT_A = 0.025865, 1e-3
#: the least that ngspice takes a saturation current for, without a word (its option EPSMIN; seen, not documented so)
_LEAST_IS_A = 1e-28
#: reltol far below a meter's error; the second where a breakdown's knee does not settle that closely.
_STRICT_THEN_LOOSE = (
    "gmin=1e-14 reltol=1e-5 abstol=1e-12 vntol=1e-6 itl1=500",
    "gmin=1e-13 reltol=1e-4 abstol=1e-11 vntol=1e-5 itl1=500",
)
_NO_BODY_A = 1e-25
_TOUCHING, _APART = 1e-4, 1e13  # a tip on a net, and one that is not, in ohm


def spice_drawn(board: Board, netlist: Netlist, seed: str, *, by_pin: bool = False) -> Netlist:
    """Return the netlist with other parameters than ours: tolerances at their edges, other junctions.

    Each part draws from the seed and its own designator, so that a unit and its twin with a fault are alike in the
    rest. `by_pin` keeps what protects a pin as one device, as ours.
    """
    whole = netlist if by_pin else single_junctions(netlist)
    return Netlist(_other(board, device, random.Random(f"{seed} {device.designator}")) for device in whole.devices)


def _edge(board: Board, device: Device, chance: random.Random) -> float:
    part = board.parts.get(device.designator.partition(":")[0])
    spread, nominal = getattr(part, "spread", None), getattr(part, "value", None)
    if spread is None or not nominal:
        return chance.choice((0.8, 1.2))
    return float(chance.choice(spread.interval(nominal)) / nominal)


def _junction(model: JunctionModel, chance: random.Random) -> JunctionModel:
    """Return another junction: its usual drop at 1 mA kept but for half a decade of IS either way.

    A light-emitting diode's ideality is what its drop takes at least: no saturation current is below `_LEAST_IS_A`.
    """
    drop = model.ideality * _VT * math.log(_AT_A / model.saturation_current_a)
    ideality = max(chance.uniform(1.0, 2.0), drop / (_VT * math.log(_AT_A / (10.0 * _LEAST_IS_A))))
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


def _deck_device(device: Device, name: str, names: dict[str, str]) -> Iterator[Device]:  # noqa: C901 (one a type)
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
        case Mosfet():
            yield from _channel_and_body(
                replace(device, gate=nets["gate"], drain=nets["drain"], source=nets["source"]), name
            )
        case _:
            yield reconnect(replace(device, designator=name), **nets)


def _channel_and_body(device: Mosfet, name: str) -> Iterator[Device]:
    """Yield a MOSFET's body diode as a part beside it: a level 1 model has no ideality (SPICE3 manual)."""
    bare = replace(device.model, body=replace(device.model.body, saturation_current_a=_NO_BODY_A))
    yield replace(device, designator=name, model=bare)
    ends = (device.source, device.drain) if device.channel == "N" else (device.drain, device.source)
    yield Diode(f"{name}body", *ends, device.model.body, device.drop_shift_v)


@dataclass(frozen=True)
class _Asked:
    """One operating point to find: which shot, on which range."""

    at: int
    red: str
    black: str
    compliance_v: float
    range: MeterRange


def spice_readings(
    engine: Engine, netlist: Netlist, shots: Sequence[Shot], ambient_c: float, folder: pathlib.Path
) -> Shown:
    """Return what each direct shot shows by ngspice.

    Raises RuntimeError where ngspice finds no operating point.
    """
    names = {net: f"n{at}" for at, net in enumerate(netlist.nets)}
    asked = tuple(_asked(engine, names, shots))
    lines = ["* unit", *deck_lines(_plain(netlist)), *_meter_lines(len(names))]
    script = [line for number, one in enumerate(asked) for line in _steps(number, one)]
    volts: dict[int, float] = {}
    for options in _STRICT_THEN_LOOSE:
        deck = [*lines, f".options {options}", f".temp {ambient_c}", ".control", *script, "quit", ".endc", ".end", ""]
        volts = _run("\n".join(deck), folder) | volts
        if len(volts) == len(asked):
            break
    else:
        raise RuntimeError(f"ngspice found {len(volts)} of {len(asked)} operating points")
    return _shown(shots, asked, volts)


def _run(deck: str, folder: pathlib.Path) -> dict[int, float]:
    assert PROGRAM is not None
    (folder / "unit.cir").write_text(deck)
    ran = subprocess.run(
        [PROGRAM, "-b", "unit.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    found = re.findall(r"^MARK (\d+) (\S+)$", ran.stdout, re.MULTILINE)
    return {int(number): float(volt) for number, volt in found}


def _asked(engine: Engine, names: Mapping[str, str], shots: Sequence[Shot]) -> Iterator[_Asked]:
    for at, shot in enumerate(shots):
        meter = engine.bench.meter_for(shot.function)
        assert meter is not None
        ranges = meter.ranges_of(shot.function)
        for each in ranges if shot.red != shot.black else ():
            compliance_v = each.compliance_v or ranges[-1].compliance_v or 3.0
            yield _Asked(at, names[shot.red], names[shot.black], compliance_v, each)


def _meter_lines(count: int) -> Iterator[str]:
    """Yield one meter that can be put on any net: a current, and a diode that takes it over at its compliance.

    Black is ngspice's own ground: a board that floats against it, or a current that a formula makes give way, took
    gmin stepping for every reading and minutes a unit.
    """
    yield from ("I_m 0 red 0", "D_m red held limit", "V_m held 0 3", "R_m red 0 1e13", ".model limit D IS=1e-16 N=1")
    for at in range(count):
        yield from (f"R_red_n{at} red n{at} {_APART}", f"R_black_n{at} 0 n{at} {_APART}", f"R_leak{at} n{at} 0 1e13")


def _steps(number: int, one: _Asked) -> Iterator[str]:
    yield from (f"alter R_red_{one.red} = {_TOUCHING}", f"alter R_black_{one.black} = {_TOUCHING}")
    yield from (f"alter V_m dc = {one.compliance_v}", f"alter I_m dc = {one.range.test_current_a}")
    yield from ("op", f"echo MARK {number} $&v(red)", "destroy all")
    yield from (f"alter R_red_{one.red} = {_APART}", f"alter R_black_{one.black} = {_APART}")


def _shown(shots: Sequence[Shot], asked: Sequence[_Asked], volts: Mapping[int, float]) -> Shown:
    """Return what stands on the display: the smallest range that holds it, the current not having given way."""
    found = [0.0 if shot.red == shot.black else math.nan for shot in shots]
    places, tried = [-1] * len(shots), [-1] * len(shots)
    for number, one in enumerate(asked):
        tried[one.at] += 1
        if not math.isnan(found[one.at]) or volts[number] > one.compliance_v:
            continue
        by_volt = shots[one.at].function is Function.DIODE
        value = volts[number] if by_volt else volts[number] / (one.range.test_current_a or 1e-3)
        if value <= one.range.ceiling:
            found[one.at], places[one.at] = value, tried[one.at]
    return Shown(np.array(found), np.array(places))


def spice_row(
    engine: Engine, hypothesis: Hypothesis, shots: Sequence[Shot], seed: str, ambient_c: float, folder: pathlib.Path
) -> Shown:
    """Return what every shot shows on a unit with one fault, direct current by ngspice.

    Worked out here all the same: capacitance and series resistance, and readings on a lead of the faulty part itself.
    """
    fault = hypothesis.part_fault
    netlist = engine.netlist if fault is None else faulty(engine.netlist, fault)
    unit = spice_drawn(engine.board, netlist, seed)
    row = Shown(np.full(len(shots), np.nan), np.full(len(shots), -1))
    left = []
    by_switches: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for at, shot in enumerate(shots):
        own_lead = fault is not None and shot.lead is not None and shot.lead.designator == part_of(fault.designator)
        if shot.function in DIRECT and not own_lead and {shot.red, shot.black} <= unit.pins_on.keys():
            by_switches.setdefault(shot.switches, []).append(at)
        else:
            left.append(at)
    for switches, places in by_switches.items():
        chosen = [shots[at] for at in places]
        read = spice_readings(engine, switched(unit, switches), chosen, ambient_c, folder)
        row.value[places], row.place[places] = read.value, read.place
    if left:
        ours = spice_drawn(engine.board, engine.netlist, seed, by_pin=True)
        both = [engine.hypotheses[0], hypothesis]
        _, read = shown_of(engine, ours, both, [shots[at] for at in left])
        row.value[left], row.place[left] = read.value, read.place
    return row
