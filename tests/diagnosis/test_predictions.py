from __future__ import annotations

import math
import pathlib
import random
from dataclasses import replace

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec
from benchcheck.circuit.devices import Capacitor, Device, Inductor, Resistor
from benchcheck.circuit.excitation import CapacitanceAtFrequency
from benchcheck.circuit.faults import faulty, possible_faults
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.diagnosis.engine import Engine, engine_for
from benchcheck.diagnosis.groups import groups_of
from benchcheck.diagnosis.hypotheses import GOOD
from benchcheck.diagnosis.predictions import predict, read_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.spread import JUNCTION_V, model_with_series
from benchcheck.diagnosis.strays import OHMS
from benchcheck.score.model_circuit import excitation_for

from . import boards, population

ROOT = pathlib.Path(__file__).parents[2]


def test_direct_readings_under_a_fault_are_what_the_circuit_solves_alone(engine: Engine) -> None:
    chance = np.random.default_rng(7)
    table = engine.predictions
    direct = [at for at, shot in enumerate(table.shots) if shot.function in (Function.OHMS, Function.DIODE)]
    direct = [at for at in direct if table.shots[at].lead is None and table.shots[at].red != table.shots[at].black]
    rows = [at for at, one in enumerate(engine.hypotheses) if one.part_fault is not None]
    for row, at in zip(chance.choice(rows, 12), chance.choice(direct, 12), strict=True):
        shot, fault = table.shots[at], engine.hypotheses[row].part_fault
        assert fault is not None
        excitation = excitation_for(engine.bench, shot.function)
        assert excitation is not None
        alone = solve_reading(faulty(engine.netlist, fault), shot.red, shot.black, excitation).value
        assert math.isclose(table.mean[row, at], math.nan if alone is None else alone, rel_tol=1e-5) or (
            alone is None and math.isnan(table.mean[row, at])
        )


def test_a_latch_that_closes_in_one_range_alone_is_read_there_and_is_no_overload() -> None:
    # a drawn board: from rest, Newton's method goes in circles at 10 uA, above and below it does not
    engine = engine_for(load_spec(ROOT / "specs/halvorne-r52.toml"), boards.bench())
    shot = next(s for s in engine.checks if (s.red, s.black, s.function) == ("DC", "GND", Function.OHMS))
    chance = random.Random(f"fresh {engine.board.model} 4")
    unit = population.drawn(engine.board, engine.netlist, chance)
    excitation = excitation_for(engine.bench, Function.OHMS)
    assert excitation is not None
    alone = solve_reading(unit, "DC", "GND", excitation).value
    assert read_under(engine.board, engine.bench, unit, [GOOD], [shot])[0, 0] == pytest.approx(alone, rel=1e-5)


def test_readings_at_a_frequency_are_what_the_circuit_solves_alone(engine: Engine) -> None:
    excitation = CapacitanceAtFrequency(100.0, "parallel", 1.0)
    faults = possible_faults(engine.netlist)
    fault = next(one for one in faults if str(one) == "C1 decade x0.1")
    board = faulty(engine.netlist, fault)
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == "C1 decade x0.1")
    at = next(
        at
        for at, shot in enumerate(engine.predictions.shots)
        if shot.function is Function.CAPACITANCE and {shot.red, shot.black} == {"VCC", "GND"}
    )
    alone = solve_reading(board, "VCC", "GND", excitation).value
    assert engine.predictions.mean[row, at] == pytest.approx(alone, rel=1e-3)


def test_capacitors_in_parallel_add_up() -> None:
    # textbook: parallel capacitances add
    table = Alternating(Netlist([Capacitor("C1", "A", "B", 1e-6), Capacitor("C2", "A", "B", 2e-6)]), [], 100.0)
    assert table.capacitance("A", "B", 1.0)[0] == pytest.approx(3e-6, rel=1e-4)


def test_one_bad_capacitor_hides_among_good_ones() -> None:
    # trade handbook value, computed: 0.1 ohm beside 5 ohm reads 0.098 ohm
    devices = [Capacitor("C1", "A", "B", 1.0, 0.1), Capacitor("C2", "A", "B", 1.0, 5.0)]
    assert Alternating(Netlist(devices), [], 100e3).series("A", "B", 100.0)[0] == pytest.approx(0.098, abs=5e-4)


def test_spread_at_a_frequency_is_the_slope_of_the_reading() -> None:
    resistor = Resistor("R1", "A", "B", 1e5)
    devices = (Capacitor("C1", "A", "B", 1e-6, 1.0), resistor)
    strayed = Capacitor("C1", "A", "B", 1.001e-6, 1.0)
    table = Alternating(Netlist(devices), [], 100.0)
    after = Alternating(Netlist([strayed, resistor]), [], 100.0).capacitance("A", "B", 1.0)[0]
    moved = table.spread("A", "B", [("C1", strayed)], esr=False)[0, 0]
    assert moved == pytest.approx(after - table.capacitance("A", "B", 1.0)[0], rel=1e-2)


def test_a_part_far_off_moves_a_capacitance_as_the_circuit_solved_again_does() -> None:
    """A capacitor behind 42 ohm, of which a meter at 100 Hz shows about 1/(R^2 C w^2): 56 % more at 0.8 R."""
    resistor, capacitor = Resistor("R1", "A", "B", 42.0), Capacitor("C1", "B", "C", 220e-6, 0.1)
    less, other = replace(resistor, resistance_ohm=0.8 * 42.0), replace(capacitor, capacitance_f=176e-6)
    strays: list[tuple[str, Device]] = [("R1", less), ("C1", other)]
    table = Alternating(Netlist([resistor, capacitor]), [], 100.0)
    before = table.capacitance("A", "C", 1.0)[0]
    again = Alternating(Netlist([less, capacitor]), [], 100.0), Alternating(Netlist([resistor, other]), [], 100.0)
    moved = [each.capacitance("A", "C", 1.0)[0] - before for each in again]
    assert table.changed("A", "C", strays) == pytest.approx(moved, rel=1e-4)
    assert 1.4 < 1.0 + table.changed("A", "C", strays)[0] / before < 1.5625  # less: C1 is no short at 100 Hz


def test_capacitance_through_a_resistance_may_be_off_its_line_and_a_capacitors_own_is_not() -> None:
    """On the drawn board 42 ohm of a winding lie before BZC; V5's capacitors lie between the tips themselves."""
    board, bench = load_spec(ROOT / "specs/lumbry-qn4.toml"), boards.bench()
    shots = [Shot(red, "GND", Function.CAPACITANCE) for red in ("BZC", "V5")]
    found = predict(board, bench, model_with_series(board).netlist, [GOOD], shots)
    behind, across = found.own[0] / found.mean[0]
    assert behind > 0.2  # at 0.8 R and 0.8 C it is nearly twice as much, and a line says 0.6 more
    assert across < 0.02


def test_what_no_meter_can_show_is_not_known() -> None:
    table = Alternating(Netlist([Inductor("L1", "A", "B", 1e-3, 0.1), Capacitor("C1", "B", "C", 1e-6)]), [], 100e3)
    assert not table.has_capacitance("A", "B")[0]
    assert not table.has_series("A", "B")[0]
    assert table.has_capacitance("B", "C")[0]
    assert math.isnan(table.series("A", "C", 100.0)[0])


def test_a_lead_that_is_not_soldered_reads_open_to_its_net(engine: Engine) -> None:
    table = engine.predictions
    at = next(
        at for at, shot in enumerate(table.shots) if shot.lead and shot.lead.pin == "minus" and shot.red == shot.black
    )
    rows = {str(one): row for row, one in enumerate(engine.hypotheses)}
    assert table.mean[0, at] == 0.0
    assert math.isnan(table.mean[rows["C1 missing-joint minus"], at])
    assert table.mean[rows["C1 reversed"], at] > 1e3


def test_what_is_read_on_a_lead_leans_on_what_it_does_in_the_range_it_is_shown_in() -> None:
    """4.7 kohm on a drawn channel's lead is a body diode's 0.47 V at 0.1 mA, not the resistance beside it.

    The next range up, of a tenth of the current, shows 22 kohm there, most of it the resistance.
    """
    engine = engine_for(load_spec(ROOT / "specs/tarnholt-am6.toml"), boards.bench(), across=False)
    table = engine.predictions
    row = next(row for row, one in enumerate(engine.hypotheses) if str(one) == "Q1 swapped-pins drain source")
    at = next(
        at
        for at, shot in enumerate(table.shots)
        if shot.lead is not None
        and (shot.lead.designator, shot.lead.pin) == ("Q1", "drain")
        and shot.function in OHMS
    )
    drop_v = table.mean[row, at] * engine.errors.test_current_a(Function.OHMS, table.mean[row, [at]])[0]
    assert table.latent[row, at] == table.mean[row, at]
    by_drop = table.slopes_of(row, np.array([at]))[table.strays.place("Q1", "drop"), 0]
    assert by_drop == pytest.approx(JUNCTION_V / drop_v, rel=0.1)  # of a junction alone: dV / V


def test_good_parts_spread_every_reading_they_take_part_in(engine: Engine) -> None:
    table = engine.predictions
    at = next(
        at for at, s in enumerate(table.shots) if (s.red, s.black, s.function) == ("BATT", "VCC", Function.DIODE)
    )
    assert 0.015 < table.spread[0, at] < 0.1  # some ten millivolt: common practice


def test_hypotheses_no_reading_separates_are_one_group(engine: Engine) -> None:
    group = {str(one): number for one, number in zip(engine.hypotheses, engine.groups, strict=True)}
    assert group["good"] == 0
    assert group["R1 open"] == group["R1 missing-joint a"] == group["R1 missing-joint b"] != 0
    assert group["C2 open"] == 0  # 100 nF beside 100 uF is less than the meter's own error
    assert group["U2 open"] == 0
    assert group["D1 reversed"] not in (0, group["D1 open"])
    assert group["C1 reversed"] != 0


def test_groups_are_those_within_the_meters_own_error(engine: Engine) -> None:
    table, limits = engine.predictions, engine.predictions.limits(engine.errors)
    members = [at for at, number in enumerate(engine.groups) if number == 0]
    for at in members[1:]:
        both = table.known[at] & table.known[0] & ~np.isnan(table.mean[0]) & ~np.isnan(table.mean[at])
        assert (np.abs(table.mean[at] - table.mean[0]) <= np.maximum(limits[0], limits[at]))[both].all()


def test_without_eyes_a_reversed_capacitor_is_told_by_its_leads_alone(engine: Engine) -> None:
    number = groups_of(engine.predictions, engine.hypotheses, engine.errors)
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == "C1 reversed")
    assert number[row] != 0


def test_readings_by_positions_of_switches_need_not_have_as_many_ranges(engine: Engine) -> None:
    """Diode mode has one range and ohms have more: one position may be read in the one, and another in the other."""
    board = load_spec(pathlib.Path(__file__).parents[2] / "specs/halvorne-r52.toml")
    netlist = model_with_series(board).netlist
    shots = [
        Shot("VA", "GND", Function.DIODE),
        Shot("VA", "GND", Function.OHMS, (("S1", "closed"),)),
        Shot("GND", "VA", Function.DIODE),
    ]
    together = read_under(board, engine.bench, netlist, [GOOD], shots)[0]
    apart = [read_under(board, engine.bench, netlist, [GOOD], [shot])[0, 0] for shot in shots]
    np.testing.assert_allclose(together, apart)
