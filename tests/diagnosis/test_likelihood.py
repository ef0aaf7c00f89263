from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Resistor
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence, evidence_of
from benchcheck.diagnosis.fits import joint
from benchcheck.diagnosis.hypotheses import GOOD
from benchcheck.diagnosis.likelihood import anything, hold
from benchcheck.diagnosis.robust import log_t
from benchcheck.readings.reading import Session

from . import boards, population


def evidence(engine: Engine, fault: str, changed: dict[str, str] | None = None) -> Evidence:
    return evidence_of(engine.board, boards.readings(engine, fault, changed), Session(leads_ohm=0.2))


def test_the_density_is_students() -> None:
    # scipy.stats.t as the reference library
    error = np.array([0.0, 1.0, -7.0])
    assert log_t(error, np.array(2.0)) == pytest.approx(stats.t.logpdf(error, 5.0, scale=2.0), rel=1e-12)


def test_one_bad_reading_does_not_decide_all(engine: Engine) -> None:
    good, bad = evidence(engine, "good"), evidence(engine, "good", {"R2.resistance": "13.9k"})
    near, far = engine.weigh(good), engine.weigh(bad)
    assert near.probability[0] > 0.8
    assert far.log_odds[0] - near.log_odds[0] > -25.0


def test_anything_is_a_density_of_the_reading() -> None:
    # over all readings between smallest and largest it comes to no more than one
    grid = np.geomspace(10.0, 1e8, 4001)
    dense = [math.exp(anything(Function.OHMS, value, 0.3)) for value in grid]
    assert np.trapezoid(dense, grid) == pytest.approx(0.9 * math.log(1e7) / math.log(1e9), rel=0.02)
    assert math.exp(anything(Function.OHMS, math.nan, 0.3)) == pytest.approx(0.1)
    assert math.exp(anything(Function.DIODE, 0.6, 1e-3)) == pytest.approx(0.9 / 3.0)


def test_overload_where_overload_is_expected_costs_nothing(engine: Engine) -> None:
    seen = tuple(one for one in evidence(engine, "good").seen if math.isnan(one.value))
    held = hold(engine.predictions, seen, engine.errors, 0.2)
    beyond = engine.predictions.latent[0, held.columns]
    assert held.terms[0, int(np.nanargmax(beyond))] == pytest.approx(0.0, abs=0.02)
    assert held.terms[0].min() > math.log(0.5)  # what lies near the end of the range may or may not overload


def test_strays_are_shared_by_all_readings_of_a_device(engine: Engine) -> None:
    """All junctions 60 mV low costs little more than one of them being so."""
    seen = evidence(engine, "good").seen
    shifted = tuple(
        replace(one, value=one.value - 0.06) if one.shot.function is Function.DIODE else one for one in seen
    )
    together = joint(engine.predictions, hold(engine.predictions, shifted, engine.errors, 0.2), 0)
    before = joint(engine.predictions, hold(engine.predictions, seen, engine.errors, 0.2), 0)
    assert together.log_likelihood - before.log_likelihood > -10.0
    assert np.abs(together.stray).max() > 0.3


def test_no_reading_leaves_the_odds_as_they_were(engine: Engine) -> None:
    weighed = engine.weigh(Evidence())
    odds = np.array([one.odds for one in engine.hypotheses])
    assert weighed.probability == pytest.approx(odds / odds.sum(), rel=1e-9)


def test_what_the_eyes_saw_counts(engine: Engine) -> None:
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == "C1 reversed")
    seen = engine.weigh(Evidence(orientation={"C1": "no", "D1": ""}))
    assert seen.probability[row] > 0.4 > engine.weigh(Evidence(orientation={"C1": "yes"})).probability[row]


def test_a_fit_that_needs_a_value_beyond_its_tolerance_is_doubted(engine: Engine) -> None:
    # R3 is 22k within 5 %: what is read across it needs more than that where it is 15 % low, not where it is 4 %
    predictions = engine.predictions
    assert predictions.bounded[predictions.strays.place("R3", "ohms")]
    assert not predictions.bounded[predictions.strays.place("D1", "drop")]
    resistor = engine.netlist.device("R3")
    assert isinstance(resistor, Resistor)
    costs = []
    for times in (0.96, 0.85):
        unit = engine.netlist.replacing("R3", replace(resistor, resistance_ohm=22e3 * times))
        (row,) = population.shown_of(engine, unit, [GOOD], predictions.shots)
        evidence = population.unit_of(engine, predictions.shots, 0, row, random.Random("beyond")).evidence
        held = hold(predictions, evidence.seen, engine.errors, evidence.leads_ohm)
        bounded, free = (replace(held, bounded=each) for each in (held.bounded, np.zeros_like(held.bounded)))
        costs.append(joint(predictions, free, 0).log_likelihood - joint(predictions, bounded, 0).log_likelihood)
    assert costs[0] == 0.0
    assert costs[1] > 5.0
