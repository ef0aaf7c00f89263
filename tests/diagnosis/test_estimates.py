"""Estimates of what every fault makes of readings, beside least squares done one fault at a time."""

from __future__ import annotations

import numpy as np
import pytest

from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.estimates import beside_good, fitted_anew, on_the_unit
from benchcheck.diagnosis.robust import weights

from . import population


@pytest.fixture(scope="module")
def unit(engine: Engine) -> population.Unit:
    return next(iter(population.units(engine, engine.predictions.shots, "estimates", 1, 1)))


@pytest.fixture(scope="module")
def weighed(engine: Engine, unit: population.Unit) -> Weighed:
    """The good twin of a unit, weighed."""
    good = [one for one in population.units(engine, engine.predictions.shots, "estimates", 1, 1) if one.truth == 0]
    return engine.weigh(good[0].evidence)


def test_what_the_good_board_is_compared_with_is_the_good_board(engine: Engine, weighed: Weighed) -> None:
    anew = fitted_anew(engine.predictions, weighed.held, weighed.good, weighed.fits[0])
    assert anew[0] == 0.0
    assert beside_good(engine.predictions, weighed.held, weighed.fits[0])[0] == pytest.approx(
        weighed.fits[0].terms, abs=0.2
    )


def test_the_least_sum_of_squares_is_that_of_a_library(engine: Engine, weighed: Weighed) -> None:
    """numpy's lstsq with every stray as one more row of 0: ridge regression (any textbook on least squares)."""
    predictions, held, lines, fit = engine.predictions, weighed.held, weighed.good, weighed.fits[0]
    anew = fitted_anew(predictions, held, lines, fit)
    numeric = np.flatnonzero(lines.drawn & np.isfinite(fit.rest))
    sigma = np.hypot(held.meter[numeric], lines.own[numeric])
    root = np.sqrt(weights(fit.rest[numeric], sigma, held.anything[numeric])) / sigma
    rows = np.vstack([(lines.slopes[:, numeric] * root).T, np.eye(len(lines.slopes))])
    there = np.array([one.value for one in held.seen]) - held.leads - fit.rest
    every = (on_the_unit(predictions, held, there) - there)[:, numeric]

    def least(moved: np.ndarray) -> float:
        error = np.append((fit.rest[numeric] - moved) * root, -fit.stray)  # strays from where the unit is
        found, *_ = np.linalg.lstsq(rows, error, rcond=None)
        return float(((error - rows @ found) ** 2).sum())

    nothing = least(np.zeros(len(numeric)))
    alike = [row for row in range(1, len(anew)) if np.isfinite(every[row]).all() and anew[row] > -50.0]
    assert len(alike) > 5
    for row in alike:
        assert anew[row] == pytest.approx(-0.5 * (least(every[row]) - nothing), rel=0.02, abs=0.5)


def test_a_fault_of_the_unit_promises_more_than_the_good_board(engine: Engine) -> None:
    """Of each fault that a reading shows, on a unit of its own: what the estimates promise is looked at closely."""
    for number, unit in enumerate(population.units(engine, engine.predictions.shots, "promise", 4, 2)):
        if unit.truth == 0 or not unit.shown:
            continue
        weighed = engine.weigh(unit.evidence)
        looked_at = {engine.groups[at] for at in weighed.fits}
        assert engine.groups[unit.truth] in looked_at, f"unit {number}: {engine.hypotheses[unit.truth]}"
