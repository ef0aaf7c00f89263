"""The board moved to where a unit is: parts strayed, and fits that find what one leaking junction does to many."""

from __future__ import annotations

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Clamp, Resistor
from benchcheck.circuit.leanings import Leaning
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.likelihood import fitted, hold, joint
from benchcheck.diagnosis.robust import STAYING
from benchcheck.diagnosis.search import settled
from benchcheck.diagnosis.strays import Strays
from benchcheck.diagnosis.unit import UnitSolver, strayed

from . import population


def test_a_board_not_strayed_is_the_board(engine: Engine) -> None:
    strays = engine.predictions.strays
    moved = strayed(engine.board, engine.netlist, strays, np.zeros(len(strays)))
    ohms = {one.designator: one.resistance_ohm for one in engine.netlist.devices if isinstance(one, Resistor)}
    assert ohms
    assert {d.designator: d.resistance_ohm for d in moved.devices if isinstance(d, Resistor)} == pytest.approx(ohms)
    assert [one.designator for one in moved.devices] == [one.designator for one in engine.netlist.devices]


def test_solving_again_finds_a_likelier_unit_than_straight_lines(engine: Engine) -> None:
    predictions = engine.predictions
    units = population.units(engine, predictions.shots, "solved again", 4, 1)
    gained = []
    for unit in units:
        held = hold(predictions, unit.evidence.seen, engine.errors, unit.evidence.leads_ohm)
        before = joint(predictions, held, unit.truth)
        solver = UnitSolver(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
        after, _ = settled(solver, held, unit.truth, before.stray, predictions.common)
        gained.append(after.log_likelihood - before.log_likelihood)
    assert np.median(gained) > -1.0
    assert max(gained) > 0.0


def test_no_search_ends_where_readings_are_less_likely_than_where_it_began(engine: Engine) -> None:
    predictions = engine.predictions
    for unit in population.units(engine, predictions.shots, "no less likely", 2, 1):
        held = hold(predictions, unit.evidence.seen, engine.errors, unit.evidence.leads_ohm)
        solver = UnitSolver(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
        begin = joint(predictions, held, unit.truth).stray
        there = fitted(solver.near(begin, (unit.truth,))[unit.truth], held, predictions.common, STAYING)
        after, _ = settled(solver, held, unit.truth, begin, predictions.common)
        assert after.log_likelihood >= there.log_likelihood


def test_drawn_good_units_are_called_good(engine: Engine) -> None:
    units = [u for u in population.units(engine, engine.predictions.shots, "called good", 4, 1) if u.truth == 0]
    assert all(engine.groups[int(engine.weigh(unit.evidence).probability.argmax())] == 0 for unit in units)


def test_a_number_beyond_the_end_of_a_range_is_of_the_range_whose_digits_it_has(engine: Engine) -> None:
    errors, ends = engine.errors, engine.errors.ceilings(Function.OHMS)
    meter = engine.bench.meter_for(Function.OHMS)
    assert meter is not None
    digits = [one.resolution for one in sorted(meter.ranges_of(Function.OHMS), key=lambda one: one.ceiling)]
    beyond = ends[1] * 1.002
    assert errors.range_shown(Function.OHMS, beyond, digits[1]) == 1
    assert errors.range_shown(Function.OHMS, beyond, digits[2]) == 2
    assert errors.range_shown(Function.OHMS, beyond) == 2
    assert errors.range_shown(Function.OHMS, ends[1] * 2.0, digits[1]) == 2


def test_each_junction_of_a_clamp_strays_by_itself(engine: Engine) -> None:
    clamp = Clamp("U9:a", "OUT", "GND", "V5")
    netlist = engine.netlist.adding(clamp)
    strays = Strays(engine.board, netlist)
    strays.columns([Leaning("U9:a", "drop", (0, 1)), Leaning("U9:a", "drop", (1, 2))])
    by = np.zeros(len(strays))
    by[strays.place("U9:a", "drop", 1)] = 1.0
    moved = strayed(engine.board, netlist, strays, by).by_designator["U9:a"]
    assert isinstance(moved, Clamp)
    assert moved.model == clamp.model
    assert moved.supply_model is not None
    assert moved.supply_model.saturation_current_a < clamp.model.saturation_current_a
