"""The board moved to where a unit is: parts strayed, and fits that find what one leaking junction does to many."""

from __future__ import annotations

import math
import pathlib
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec
from benchcheck.circuit.devices import Clamp, Diode, Resistor
from benchcheck.circuit.faults import FaultSizes, faulty
from benchcheck.circuit.leanings import Leaning
from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine, engine_for
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.fits import Fit, Local, fitted, joint
from benchcheck.diagnosis.hypotheses import GOOD
from benchcheck.diagnosis.likelihood import Held, hold, unexplained
from benchcheck.diagnosis.robust import INFLATED, STAYING
from benchcheck.diagnosis.search import near_enough, settled
from benchcheck.diagnosis.spread import FAULT_OHMS
from benchcheck.diagnosis.strays import Strays
from benchcheck.diagnosis.unit import UnitSolver, strayed

from . import boards, population

ROOT = pathlib.Path(__file__).parents[2]


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
        after, _ = settled(solver, held, unit.truth, before.stray)
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
        after, _ = settled(solver, held, unit.truth, begin)
        assert after.log_likelihood >= there.log_likelihood


class _Counted(UnitSolver):
    """A solver that counts how often it moves the board."""

    solved = 0

    def near(self, strays: np.ndarray, rows: Sequence[int]) -> dict[int, Local]:
        self.solved += 1
        return super().near(strays, rows)


def _searched(
    engine: Engine, unit: population.Unit, rival: float, begin: np.ndarray | None = None
) -> tuple[int, Fit]:
    """Return how often the board was moved to find the good one, and how the readings suit that."""
    predictions = engine.predictions
    held = hold(predictions, unit.evidence.seen, engine.errors, unit.evidence.leads_ohm)
    solver = _Counted(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
    begin = np.zeros(len(predictions.good)) if begin is None else begin
    fit, _ = settled(solver, held, 0, begin, rival=rival)
    return solver.solved, fit


def test_a_search_ends_where_another_hypothesis_is_far_likelier(engine: Engine) -> None:
    unit = population.unit_with(engine, engine.predictions.shots, "rival", 0, "D1 reversed")
    steps, fit = _searched(engine, unit, -math.inf)
    assert steps > 2
    assert _searched(engine, unit, fit.log_likelihood + 1000.0)[0] == 2


def test_near_enough_lines_end_such_a_search_at_once(engine: Engine) -> None:
    unit = population.unit_with(engine, engine.predictions.shots, "near", 0, "R9 open")
    fit = _searched(engine, unit, -math.inf)[1]
    nearby = fit.stray + 0.3 * (np.arange(len(fit.stray)) == engine.predictions.common)
    assert _searched(engine, unit, -math.inf, nearby)[0] > 1
    assert _searched(engine, unit, fit.log_likelihood + 100.0, nearby)[0] == 1


def test_a_rival_that_may_be_overtaken_changes_nothing(engine: Engine) -> None:
    unit = population.unit_with(engine, engine.predictions.shots, "rival", 0, "D1 reversed")
    steps, fit = _searched(engine, unit, -math.inf)
    again, same = _searched(engine, unit, fit.log_likelihood + 20.0)
    assert (again, same.log_likelihood) == (steps, fit.log_likelihood)


def test_drawn_good_units_are_called_good(engine: Engine) -> None:
    units = [u for u in population.units(engine, engine.predictions.shots, "called good", 4, 1) if u.truth == 0]
    assert all(engine.groups[int(engine.weigh(unit.evidence).probability.argmax())] == 0 for unit in units)


def _digits(engine: Engine) -> list[float]:
    meter = engine.bench.meter_for(Function.OHMS)
    assert meter is not None
    return [one.resolution for one in sorted(meter.ranges_of(Function.OHMS), key=lambda one: one.ceiling)]


def test_a_number_beyond_the_end_of_a_range_is_of_the_range_whose_digits_it_has(engine: Engine) -> None:
    errors, ends = engine.errors, engine.errors.ceilings(Function.OHMS)
    digits = _digits(engine)
    beyond = ends[1] * 1.002
    assert errors.ranges_shown(Function.OHMS, beyond, digits[1])[0] == 1
    assert errors.ranges_shown(Function.OHMS, beyond, digits[2])[0] == 2
    assert errors.ranges_shown(Function.OHMS, beyond)[0] == 2
    assert errors.ranges_shown(Function.OHMS, ends[1] * 2.0, digits[1])[0] == 2


def test_the_last_range_that_can_have_shown_a_number_has_its_digits(engine: Engine) -> None:
    errors, ends = engine.errors, engine.errors.ceilings(Function.OHMS)
    digits = _digits(engine)
    value = ends[1] * 0.5
    assert errors.ranges_shown(Function.OHMS, value, digits[1]) == (1, 1)
    assert errors.ranges_shown(Function.OHMS, value, digits[3]) == (1, 3)
    assert errors.ranges_shown(Function.OHMS, value, digits[1] * 1e-3) == (1, len(ends) - 1)  # sent, not displayed
    assert errors.ranges_shown(Function.OHMS, value) == (1, len(ends) - 1)
    assert errors.ranges_shown(Function.OHMS, value, digits[1], "600k") == (3, 3)
    assert errors.ranges_shown(Function.OHMS, value, digits[1], "unheard of") == (1, 1)
    assert errors.ranges_shown(Function.DIODE, 0.5, 1e-3) == errors.ranges_shown(Function.OHMS, math.nan) == (-1, -1)


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


def test_a_unit_whose_leakage_just_carries_the_test_current_is_found_good() -> None:
    # at 100 nA the diode shows 0.5 to 2.1 Mohm where the designed one, which leaks as much as that current, overloads
    spec = boards.SPEC.replace('technology = "silicon"', 'technology = "schottky"')
    engine = Engine(boards.board(spec), boards.bench())
    shots = engine.predictions.shots
    diode = engine.netlist.device("D1")
    assert isinstance(diode, Diode)
    for more in (1.003, 1.02, 1.2):
        shift = -diode.model.ideality * 0.025865 * math.log(more)
        unit = engine.netlist.replacing("D1", replace(diode, drop_shift_v=shift))
        (row,) = population.shown_of(engine, unit, [GOOD], shots)
        evidence = population.unit_of(engine, shots, 0, row, random.Random(f"edge {more}")).evidence
        members, share = ranked(engine, evidence).leading
        assert members[0].hypothesis is GOOD
        assert share > 0.9
        assert not ranked(engine, evidence).unexplained


def test_a_number_in_a_range_that_a_good_board_never_reaches_speaks_for_a_missing_joint() -> None:
    # quillmere's MUTE: 100k show where the pin's protection would have ended at 6k; in the range that shows them the
    # protection hardly conducts, and both boards read much the same
    engine = Engine(load_spec(ROOT / "specs/quillmere-kr6.toml"), boards.bench(), across=True)
    shots = engine.predictions.shots
    truth = next(at for at, one in enumerate(engine.hypotheses) if str(one) == "U4:mute missing-joint ground")
    rows = population.shown_of(engine, engine.netlist, [GOOD, engine.hypotheses[truth]], shots)
    evidence = population.unit_of(engine, shots, truth, rows[1], random.Random("joint")).evidence
    members, share = ranked(engine, evidence).leading
    assert members[0].group == engine.groups[truth]
    assert share > 0.9


def test_a_line_is_believed_only_where_it_keeps_to_its_readings_curve(engine: Engine) -> None:
    predictions = engine.predictions
    unit = next(iter(population.units(engine, predictions.shots, "lines", 1, 1)))
    held = hold(predictions, unit.evidence.seen, engine.errors, unit.evidence.leads_ohm)
    solver = UnitSolver(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
    lines = solver.near(np.zeros(len(predictions.good)), (unit.truth,))[unit.truth]
    stays = fitted(lines, held, predictions.common, STAYING)
    assert stays.off_line == 0.0
    aim = fitted(lines, held, predictions.common)
    assert aim.off_line > 0.0
    assert near_enough(stays)
    assert not near_enough(replace(aim, moved=0.1, off_line=2.0))


@pytest.mark.parametrize(("seed", "draw", "fault"), [("first", 41, "D17 leaky"), ("fresh", 21, "D21 reversed")])
def test_a_fault_comes_first_where_leakages_lie_on_edges_of_ranges(seed: str, draw: int, fault: str) -> None:
    # drawn units of the board with most Schottky diodes that a search by straight lines got stuck on
    engine = engine_for(load_spec(ROOT / "specs/lumbry-qn4.toml"), boards.bench())
    unit = population.unit_with(engine, engine.predictions.shots, seed, draw, fault)
    members, share = ranked(engine, unit.evidence).leading
    assert members[0].group == engine.groups[unit.truth]
    assert share > 0.5


def test_a_fault_that_begins_far_behind_is_gone_to_all_the_same() -> None:
    # a drawn unit whose short, by straight lines, is 370 behind the good board in the logarithm of the likelihood
    engine = engine_for(load_spec(ROOT / "specs/lumbry-qn4.toml"), boards.bench())
    unit = list(population.units_of_draw(engine, engine.predictions.shots, "fresh", 10, 4))[6]
    assert str(engine.hypotheses[unit.truth]) == "R1 short"
    assert ranked(engine, unit.evidence).leading[0][0].group == engine.groups[unit.truth]


@pytest.mark.parametrize("ohm", [3e3, 10e3, 40e3])
def test_a_leak_of_any_size_is_found_with_its_size(ohm: float) -> None:
    # no source: how leaky a part is, is as it comes; 10 kohm is what is expected beforehand
    engine = engine_for(load_spec(ROOT / "specs/quillmere-kr6.toml"), boards.bench())
    predictions, shots = engine.predictions, engine.predictions.shots
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == "Q4 leaky")
    fault = engine.hypotheses[row].part_fault
    assert fault is not None
    unit = faulty(engine.netlist, fault, FaultSizes(leak_ohm=ohm))
    (reads,) = population.shown_of(engine, unit, [GOOD], shots)
    seen = population.unit_of(engine, shots, row, reads, random.Random("leak")).evidence
    assert ranked(engine, seen).leading[0][0].group == engine.groups[row]
    held = hold(predictions, seen.seen, engine.errors, seen.leads_ohm)
    solver = UnitSolver(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
    fit, _ = settled(solver, held, row, joint(predictions, held, row).stray)
    stray = predictions.strays.of_device("", "ohms", fit.stray)
    size = FaultSizes().leak_ohm * math.exp(FAULT_OHMS * INFLATED * stray)
    assert size == pytest.approx(ohm, rel=0.25)
    assert not unexplained(held, fit.terms).any()


@pytest.mark.parametrize("part", ["D1", "C1", "M1"])
@pytest.mark.parametrize("ohm", [300.0, 3e3])
def test_a_leak_beside_a_junction_driven_backwards_is_followed_too(engine: Engine, part: str, ohm: float) -> None:
    # what moves these readings is the leak's own resistance, and no junction's leakage
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == f"{part} leaky")
    fault = engine.hypotheses[row].part_fault
    assert fault is not None
    unit = faulty(engine.netlist, fault, FaultSizes(leak_ohm=ohm))
    (reads,) = population.shown_of(engine, unit, [GOOD], engine.predictions.shots)
    seen = population.unit_of(engine, engine.predictions.shots, row, reads, random.Random("leak")).evidence
    assert ranked(engine, seen).leading[0][0].group == engine.groups[row]


def _held_of(engine: Engine, seen: Sequence[Seen]) -> Held:
    return hold(engine.predictions, seen, engine.errors, 0.0)


def test_a_number_of_few_digits_far_below_the_good_boards_is_not_of_its_range(engine: Engine) -> None:
    shots, mean = engine.predictions.shots, engine.predictions.mean[0]
    at = next(at for at, shot in enumerate(shots) if shot.function is Function.OHMS and mean[at] > 200e3)
    far = _held_of(engine, [Seen("", shots[at], 5e3, 1e3)])
    near = _held_of(engine, [Seen("", shots[at], 0.8 * float(mean[at]), 10.0)])
    assert far.ranges[0, 0] == engine.errors.ranges_shown(Function.OHMS, 5e3)[0]
    assert near.ranges[0, 0] == engine.errors.ranges_shown(Function.OHMS, 0.8 * float(mean[at]))[0]


def test_what_a_meter_sends_names_its_range_or_leaves_it_open(engine: Engine) -> None:
    shot = next(shot for shot in engine.predictions.shots if shot.function is Function.OHMS)
    sent = Seen("", shot, 4.8e3, 1.0, by_digits=False)
    widest = len(engine.errors.ceilings(Function.OHMS)) - 1
    assert list(_held_of(engine, [sent]).ranges[:, 0]) == [1, widest]
    assert list(_held_of(engine, [replace(sent, meter_range="60k")]).ranges[:, 0]) == [2, 2]
    assert _held_of(engine, [replace(sent, meter_range="60k")]).meter > _held_of(engine, [sent]).meter


def test_ranges_whose_test_current_nobody_knows_are_left_out_of_all_counts() -> None:
    bench = boards.bench()
    meter = bench.meter_for(Function.OHMS)
    assert meter is not None
    ranges = tuple(
        replace(one, test_current_a=None) if one.function is Function.OHMS and one.name == "600" else one
        for one in meter.ranges
    )
    partly = replace(bench, meters={**bench.meters, meter.name: replace(meter, ranges=ranges)})
    engine = Engine(boards.board(), partly)
    predictions = engine.predictions
    seen = [
        Seen(str(at), shot, float(predictions.mean[0, at]), 0.0)
        for at, shot in enumerate(predictions.shots)
        if shot.function is Function.OHMS and np.isfinite(predictions.mean[0, at])
    ]
    held = _held_of(engine, seen)
    solver = UnitSolver(engine.board, engine.bench, engine.netlist, engine.hypotheses, predictions, held)
    local = solver.near(np.zeros(len(predictions.good)), (0,))[0]
    assert not held.elsewhere[0].any()
    assert np.abs(local.error).max() < 1e-3 * np.abs(held.value).max()
    np.testing.assert_allclose(local.error / np.maximum(held.value, 1.0), 0.0, atol=1e-3)


@pytest.mark.parametrize(("draw", "fault"), [(24, "bridge ROW1 ROW4"), (51, "bridge ROW3 ROW4")])
def test_faults_whose_effect_on_the_designed_board_is_another_are_looked_at(draw: int, fault: str) -> None:
    # two drawn units whose fault no estimate from the designed board put among the first
    engine = engine_for(load_spec(ROOT / "specs/lumbry-qn4.toml"), boards.bench())
    unit = population.unit_with(engine, engine.predictions.shots, "first", draw, fault)
    assert ranked(engine, unit.evidence).leading[0][0].group == engine.groups[unit.truth]
