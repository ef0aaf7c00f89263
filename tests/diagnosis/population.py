"""Virtual units: parts drawn within their tolerances, meters within their specification, faults drawn uniformly.

Drawn here and not from what the diagnosis expects: its spreads, its priors and its tails are not used.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
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
)  # fmt: skip
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predictions import shown_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.spec.board import Board

#: junctions: part to part, all of one unit, in volt; what has no tolerance, as a ratio.
JUNCTION_V, UNIT_V, UNSTATED = 0.015, 0.010, 0.1
LEADS_OHM = (0.1, 0.3)


@dataclass(frozen=True)
class Shown:
    """True readings in the functions' units (NaN: overload) and the places of the ranges of ohms they are shown in.

    A place of -1 is the first range that holds the value.
    """

    value: np.ndarray
    place: np.ndarray


@dataclass(frozen=True)
class Unit:
    """A virtual unit: the row of its true hypothesis, what was read on it, whether a reading shows the fault."""

    truth: int
    evidence: Evidence
    shown: bool = False


def drawn(
    board: Board, netlist: Netlist, chance: random.Random, shift_v: tuple[float, float] = (0.0, 0.0)
) -> Netlist:
    """Return the netlist with every value drawn; junctions are centred off by something within `shift_v`."""
    common = chance.gauss(0.0, UNIT_V) + chance.choice((-1, 1)) * chance.uniform(*shift_v)
    return Netlist(_drawn(board, device, chance, common) for device in netlist.devices)


def ratio(board: Board, device: Device, chance: random.Random) -> float:
    """Return what a value is multiplied by: anywhere within the part's tolerance."""
    part = board.parts.get(part_of(device.designator))
    spread, nominal = getattr(part, "spread", None), getattr(part, "value", None)
    if spread is None or not nominal:
        return max(chance.gauss(1.0, UNSTATED), 0.5)
    lower, upper = spread.interval(nominal)
    return float(chance.uniform(lower, upper) / nominal)


def _drawn(board: Board, device: Device, chance: random.Random, common: float) -> Device:
    times, volts = ratio(board, device, chance), common + chance.gauss(0.0, JUNCTION_V)
    match device:
        case Resistor():
            return replace(device, resistance_ohm=device.resistance_ohm * times)
        case Capacitor():
            series = device.series_resistance_ohm * math.exp(chance.gauss(0.0, 0.3))
            return replace(device, capacitance_f=device.capacitance_f * times, series_resistance_ohm=series)
        case Inductor():
            return replace(device, dc_resistance_ohm=device.dc_resistance_ohm * chance.uniform(0.5, 1.8))
        case Switch():
            return replace(device, closed_resistance_ohm=device.closed_resistance_ohm * chance.uniform(0.5, 2.0))
        case Diode() | Bjt() | Clamp():
            return replace(device, drop_shift_v=volts)
        case Zener():
            model = device.junction
            less = math.exp(-volts / (model.ideality * 0.0259))
            model = replace(model, saturation_current_a=model.saturation_current_a * less)
            return replace(device, breakdown_voltage_v=device.breakdown_voltage_v * times, model=model)
        case Mosfet():
            body = device.model.body
            less = math.exp(-volts / (body.ideality * 0.0259))
            body = replace(body, saturation_current_a=body.saturation_current_a * less)
            return replace(device, model=replace(device.model, body=body))
        case _:
            return device


class MeterOfUnit:
    """A meter somewhere within its specification: one gain and one offset for each range, leads of its own."""

    def __init__(self, bench: Bench, chance: random.Random) -> None:
        self._bench, self._chance = bench, chance
        self._found: dict[tuple[Function, str], tuple[float, float]] = {}
        self.leads_ohm = round(chance.uniform(*LEADS_OHM), 1)

    def show(self, function: Function, true: float, place: int = -1) -> tuple[float, float]:
        """Return what is displayed (NaN for overload) and its last digit, for a true value.

        A true value is of the range at `place`, else of the first that holds it, whatever the leads add: in the next
        one, at another test current, a junction would make another of it.
        """
        meter = self._bench.meter_for(function)
        assert meter is not None
        if math.isnan(true):
            return math.nan, 0.0
        leads_ohm = 0.0
        if function in (Function.OHMS, Function.LOW_POWER_OHMS) and not meter.leads.nulled:
            leads_ohm = self.leads_ohm + self._chance.gauss(0.0, 0.01)
        for chosen in sorted(meter.ranges_of(function), key=lambda one: one.full_scale)[max(place, 0) :]:
            if abs(true) > chosen.ceiling:
                continue
            true += leads_ohm
            if (key := (function, chosen.name)) not in self._found:
                self._found[key] = self._chance.uniform(-0.8, 0.8), self._chance.uniform(-0.8, 0.8)
            gain, offset = self._found[key]
            base = chosen.half_width(0.0)
            shown = true + gain * (chosen.half_width(true) - base) + offset * base
            shown = min(max(shown, -chosen.ceiling), chosen.ceiling)  # past its end a meter takes the next range
            digit = chosen.resolution
            return round(shown / digit) * digit, digit
        return math.nan, 0.0


def seen_on(shots: Sequence[Shot], true: Shown, meter: MeterOfUnit) -> tuple[Seen, ...]:
    """Return what a meter shows of a unit's true readings."""
    found = []
    for at, shot in enumerate(shots):
        value, digit = meter.show(shot.function, float(true.value[at]), int(true.place[at]))
        found.append(Seen(str(at), shot, value, digit))
    return tuple(found)


def eyes(board: Board, hypothesis: Hypothesis) -> dict[str, str]:
    """Return what a careful look says of every part whose way round is looked at."""
    looked_at = {check.subject for check in board.checks if check.measurand == "orientation"}
    turned = hypothesis.designator if hypothesis.code == "reversed" else ""
    return {part: "no" if part == turned else "yes" for part in looked_at}


def units(
    engine: Engine,
    shots: Sequence[Shot],
    seed: str,
    draws: int,
    faults: int,
    shift_v: tuple[float, float] = (0.0, 0.0),
) -> Iterable[Unit]:
    """Yield good and faulty units in turn: `faults` of each for every one of `draws` boards drawn."""
    for draw in range(draws):
        yield from units_of_draw(engine, shots, seed, draw, faults, shift_v)


def units_of_draw(
    engine: Engine,
    shots: Sequence[Shot],
    seed: str,
    draw: int,
    faults: int,
    shift_v: tuple[float, float] = (0.0, 0.0),
) -> Iterable[Unit]:
    """Yield faulty and good units in turn of one board drawn."""
    circuit_faults = [at for at, one in enumerate(engine.hypotheses) if one.part_fault is not None]
    chance = random.Random(f"{seed} {engine.board.model} {draw}")
    board = drawn(engine.board, engine.netlist, chance, shift_v)
    chosen = [chance.choice(circuit_faults) for _ in range(faults)]
    hypotheses = [engine.hypotheses[0], *(engine.hypotheses[at] for at in chosen)]
    true = shown_of(engine, board, hypotheses, shots)
    for number, at in enumerate(chosen, 1):
        shown = differ(engine, shots, at, true[number], true[0])
        yield replace(unit_of(engine, shots, at, true[number], chance), shown=shown)
        yield unit_of(engine, shots, 0, true[0], chance)


def shown_of(
    engine: Engine, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot]
) -> list[Shown]:
    """Return what shots show on a board under each of some hypotheses, the good board first of them."""
    values, places = shown_under(engine.board, engine.bench, netlist, hypotheses, shots)
    return [Shown(*pair) for pair in zip(values, places, strict=True)]


def unit_with(engine: Engine, shots: Sequence[Shot], seed: str, draw: int, fault: str) -> Unit:
    """Return one board drawn with a fault named in words."""
    at = next(at for at, one in enumerate(engine.hypotheses) if str(one) == fault)
    chance = random.Random(f"{seed} {engine.board.model} {draw}")
    board = drawn(engine.board, engine.netlist, chance)
    rows = shown_of(engine, board, [engine.hypotheses[0], engine.hypotheses[at]], shots)
    return unit_of(engine, shots, at, rows[1], chance)


def differ(engine: Engine, shots: Sequence[Shot], at: int, faulty: Shown, whole: Shown) -> bool:
    """Return whether a true reading is off the unit's without the fault by more than the meter's limit of error.

    A number that near to where the last range ends is no other reading than overload. What no meter is specified to
    show, such as the series resistance of a winding, tells of no fault, `at` (its row).
    """
    column = {shot: place for place, shot in enumerate(engine.predictions.shots)}
    known = np.array([engine.predictions.known[[0, at], column[shot]].all() for shot in shots])
    row, good = faulty.value, whole.value
    pairs = np.stack([row, good], axis=1), np.stack([faulty.place, whole.place], axis=1)
    limits = [
        float(np.nanmax(engine.errors.limit_of_error(shot.function, np.nan_to_num(pair), places)))
        for shot, pair, places in zip(shots, *pairs, strict=True)
    ]
    far = np.abs(np.nan_to_num(row - good)) > np.array(limits)
    ends = np.array([engine.errors.overload_from(shot.function) for shot in shots])
    near_end = np.abs(np.nan_to_num(np.where(np.isnan(row), good, row))) + np.array(limits) >= ends
    return bool(((far | ((np.isnan(row) != np.isnan(good)) & ~near_end)) & known).any())


def unit_of(engine: Engine, shots: Sequence[Shot], at: int, row: Shown, chance: random.Random) -> Unit:
    meter = MeterOfUnit(engine.bench, chance)
    seen = seen_on(shots, row, meter)
    evidence = Evidence(seen, orientation=eyes(engine.board, engine.hypotheses[at]), leads_ohm=meter.leads_ohm)
    return Unit(at, evidence)
