"""Two faults at once, on units whose parts stray: held against the circuit where the unit seems to be."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from benchcheck.diagnosis.diagnose import ranked, unexplained
from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.gathered import Gathered
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED
from benchcheck.diagnosis.several import add_several, another_explains, beyond_leakages, gone_to_alone, several_faults

from . import population


def with_two(engine: Engine, first: str, second: str, draw: int) -> Evidence:
    """Return what is read of a unit drawn from a seed, with two faults named in words."""
    by_name = {str(one): one for one in engine.hypotheses}
    both, shots = replace(by_name[first], also=(by_name[second],)), engine.predictions.shots
    chance = random.Random(f"two faults {draw}")
    board = population.drawn(engine.board, engine.netlist, chance)
    row = population.shown_of(engine, board, [engine.hypotheses[0], both], shots)[1]
    meter = population.MeterOfUnit(engine.bench, chance)
    eyes = population.eyes(engine.board, engine.hypotheses[0])
    return Evidence(population.seen_on(shots, row, meter), orientation=eyes, leads_ohm=meter.leads_ohm)


@pytest.mark.parametrize("draw", [1, 2, 3])
@pytest.mark.parametrize(
    ("first", "second", "parts"),
    [
        ("R1 decade x10", "R2 decade x0.1", {"R1", "R2"}),
        ("R2 open", "D1 short", {"R2", "D1"}),
        ("R3 open", "M1 leaky", {"R3", "M1"}),  # read beside paths that the spec does not name
        ("Q1 swapped-pins base emitter", "R9 open", {"Q1", "R9"}),
    ],
)
def test_two_faults_come_first_together(engine: Engine, first: str, second: str, parts: set[str], draw: int) -> None:
    found = ranked(engine, with_two(engine, first, second, draw))
    members, share = found.groups()[0]
    # which joint of an open part it is no reading tells: all ways are one group, and together next to certain
    assert share > 0.9
    assert {one.designator for one in members[0].hypothesis.part_faults} == parts
    assert all(len(one.hypothesis.part_faults) == 2 for one in members)
    assert UNNAMED not in members[0].hypothesis.also


def test_one_fault_is_not_taken_for_two(engine: Engine) -> None:
    """Of each unit with one fault drawn, the leader names one part, a second none."""
    for unit in population.units(engine, engine.predictions.shots, "no second", 4, 2):
        leader = ranked(engine, unit.evidence).groups()[0][0][0].hypothesis
        assert len({one.designator for one in leader.part_faults}) <= 1, engine.hypotheses[unit.truth]


def test_no_pair_is_looked_for_where_no_fault_explains_what_is_left(engine: Engine) -> None:
    """Held against readings that are nothing like what any fault gives, a second fault is no help."""
    unit = next(one for one in population.units(engine, engine.predictions.shots, "no second", 4, 2) if one.truth)
    weighed = engine.weigh(unit.evidence)
    every = [one.check for one in weighed.held.seen]
    assert another_explains(engine, weighed, every)
    faults = [one.part_fault is not None for one in engine.hypotheses]
    weighed.terms[faults] = weighed.terms[faults].min() - 1e3
    alone = replace(weighed, fits={})
    assert not another_explains(engine, alone, every)
    assert list(several_faults(engine, unit.evidence, alone, every)) == []


def test_what_no_reading_separates_from_a_leading_fault_has_its_fit(engine: Engine) -> None:
    """Whichever of them leads, it leaves no reading unexplained that another explains."""
    every = population.units(engine, engine.predictions.shots, "one fit", 8, 2)
    faulty = [unit for unit in every if unit.truth and unit.shown]
    assert len(faulty) > 4
    for unit in faulty:
        weighed = engine.weigh(unit.evidence)
        leader = int(np.argmax(weighed.log_odds))
        alike = [row for row, group in enumerate(engine.groups) if group == engine.groups[leader]]
        assert {id(weighed.fits[row]) for row in alike} == {id(weighed.fits[leader])}
        assert ranked(engine, unit.evidence).unexplained == ()


def test_one_odd_reading_of_a_good_board_is_no_two_faults(engine: Engine) -> None:
    """A bad touch: what a pair explains of one reading, one of the two explains by itself."""
    units = population.units(engine, engine.predictions.shots, "one odd", 2, 1)
    good = next(unit.evidence for unit in units if not unit.truth)
    seen = list(good.seen)
    at = next(at for at, one in enumerate(seen) if one.shot.red == "OUT" and not math.isnan(one.value))
    seen[at] = replace(seen[at], value=1.6 * seen[at].value)
    found = ranked(engine, replace(good, seen=tuple(seen)))
    assert found.leading[0][0].hypothesis is GOOD
    assert found.unexplained == (seen[at].check,)
    assert max(len(one.hypothesis.part_faults) for one in found.ranked) == 1


@pytest.mark.parametrize(("off", "beyond"), [(0.8, False), (1.2, True)])
def test_what_leakages_may_make_of_a_reading_is_no_second_fault(engine: Engine, off: float, beyond: bool) -> None:
    weighed = engine.weigh(with_two(engine, "R3 open", "M1 leaky", 1))
    fit, lines = weighed.fits[0], weighed.lines(0, weighed.fits[0].stray)
    seen = weighed.held.seen
    at = next(at for at, one in enumerate(seen) if one.shot.red == "OUT" and not math.isnan(fit.rest[at]))
    sigma, rest = float(np.hypot(weighed.held.meter, lines.own)[at]), fit.rest.copy()
    bent, terms = lines.bent.copy(), fit.terms.copy()
    bent[at], terms[at] = 100.0 * sigma, -1e3
    rest[at] = off * float(np.hypot(sigma, bent[at]))
    left = replace(
        weighed, fits={0: replace(fit, rest=rest, terms=terms)}, lines=lambda row, strays: replace(lines, bent=bent)
    )
    assert beyond_leakages(left, 0, [seen[at].check]) is beyond


def test_an_overload_that_is_left_is_no_leakage(engine: Engine) -> None:
    weighed = engine.weigh(with_two(engine, "R3 open", "M1 leaky", 1))
    at = next(at for at, one in enumerate(weighed.held.seen) if math.isnan(one.value))
    terms = weighed.fits[0].terms.copy()
    terms[at] = -1e3
    left = replace(weighed, fits={0: replace(weighed.fits[0], terms=terms)})
    assert beyond_leakages(left, 0, [weighed.held.seen[at].check])
    assert not beyond_leakages(left, 0, [])


def stuck(engine: Engine) -> tuple[Evidence, Weighed, int, dict[int, float]]:
    """Return readings of R3 open, weighed as if it had got stuck on its way; its row, and its group's right odds."""
    unit = population.unit_with(engine, engine.predictions.shots, "stuck", 1, "R3 open")
    weighed = engine.weigh(unit.evidence)
    alike = [at for at, group in enumerate(engine.groups) if group == engine.groups[unit.truth]]
    right = {at: float(weighed.log_odds[at]) for at in alike}
    poor = replace(weighed.fits[unit.truth], log_likelihood=weighed.fits[unit.truth].log_likelihood - 1000.0)
    for at in alike:
        weighed.fits[at], weighed.log_odds[at] = poor, right[at] - 1000.0
    return unit.evidence, weighed, unit.truth, right


def test_each_of_two_faults_that_lead_is_looked_for_by_itself_once_more(engine: Engine) -> None:
    """One that got stuck, so that a second had to be supposed, explains all alone."""
    evidence, weighed, row, right = stuck(engine)
    every = Gathered(list(engine.hypotheses), list(weighed.log_odds), list(engine.groups))
    second = next(one for one in engine.hypotheses if str(one) == "D1 leaky")
    every.add(replace(engine.hypotheses[row], also=(second,)), max(right.values()) - 20.0)
    assert second in every.first.also
    gone_to_alone(engine, evidence, weighed, every, [row])
    assert every.first.also == ()
    assert {at: float(weighed.log_odds[at]) for at in right} == pytest.approx(right, abs=0.5)


def test_who_explains_what_is_left_is_looked_for_alone_before_any_pair(engine: Engine) -> None:
    evidence, weighed, row, right = stuck(engine)
    weighed.log_odds[1:] -= 1000.0  # nor does any other lead
    every = Gathered(list(engine.hypotheses), list(weighed.log_odds), list(engine.groups))
    assert every.first is GOOD
    left = unexplained(engine, evidence, weighed, 0)
    assert len(left) > 1
    assert add_several(engine, evidence, weighed, every, left) == {}
    assert engine.row_of(every.first) in right
    assert unexplained(engine, evidence, weighed, row) == ()
