"""Estimates of what every fault makes of readings, beside least squares done one fault at a time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.estimates import beside_good, corrected, fitted_anew, on_the_unit
from benchcheck.diagnosis.fits import joint
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.robust import mixed, weights

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
    anew = fitted_anew(engine.predictions, weighed.held, weighed.good, weighed.fits[0], np.arange(3))
    assert anew[0] == pytest.approx(0.0, abs=1e-6)  # as near as the steps come
    assert beside_good(engine.predictions, weighed.held, weighed.fits[0])[0] == pytest.approx(
        weighed.fits[0].terms, abs=0.2
    )


def test_strays_found_again_are_nearly_the_likeliest(engine: Engine, weighed: Weighed) -> None:
    """The same likelihood climbed by scipy's BFGS, one fault at a time: three rounds come as high, or next to it."""
    predictions, held, lines, fit = engine.predictions, weighed.held, weighed.good, weighed.fits[0]
    anew = fitted_anew(predictions, held, lines, fit, np.arange(len(engine.hypotheses)))
    numeric = np.flatnonzero(lines.drawn & np.isfinite(fit.rest))
    sigma, broad = np.hypot(held.alone[numeric], lines.own[numeric]), held.anything[numeric]
    slopes = np.concatenate([lines.slopes, held.shared])[:, numeric]
    at = np.concatenate([fit.stray, fit.of_meter])
    there = np.array([one.value for one in held.seen]) - held.leads - fit.rest
    moved = on_the_unit(predictions, held, there) - there
    every = np.where(held.elsewhere | held.elsewhere[0], 0.0, moved)[:, numeric]  # in other ranges nothing is known

    def highest(moved: np.ndarray) -> float:
        def height(by: np.ndarray) -> tuple[float, np.ndarray]:
            rest = fit.rest[numeric] - moved - by @ slopes
            height = mixed(rest, sigma, broad).sum() - 0.5 * ((at + by) ** 2).sum()
            rise = slopes @ (weights(rest, sigma, broad) * rest / sigma**2) - (at + by)
            return -float(height), -rise

        return -float(minimize(height, np.zeros(len(slopes)), jac=True, method="BFGS").fun)

    nothing = highest(np.zeros(len(numeric)))
    alike = [row for row in range(1, len(anew)) if np.isfinite(every[row]).all() and anew[row] > -15.0]
    assert len(alike) > 5
    for row in alike:
        assert anew[row] == pytest.approx(highest(every[row]) - nothing, abs=1.5)


def test_an_open_part_that_reads_as_it_should_is_not_promising(engine: Engine, weighed: Weighed) -> None:
    """Its trace is that ranges overload which do not: what ends far beyond the range shown is no unknown."""
    anew = fitted_anew(
        engine.predictions, weighed.held, weighed.good, weighed.fits[0], np.arange(len(engine.hypotheses))
    )
    opened = [at for at, one in enumerate(engine.hypotheses) if one.code == "open" and one.designator[0] == "R"]
    shown = [at for at in opened if engine.groups[at]]
    assert len(shown) > 3
    assert max(anew[shown]) < -3.0


def test_a_fault_of_the_unit_promises_more_than_the_good_board(engine: Engine) -> None:
    """Of each fault that a reading shows, on a unit of its own: what the estimates promise is looked at closely."""
    for number, unit in enumerate(population.units(engine, engine.predictions.shots, "promise", 4, 2)):
        if unit.truth == 0 or not unit.shown:
            continue
        weighed = engine.weigh(unit.evidence)
        looked_at = {engine.groups[at] for at in weighed.fits}
        assert engine.groups[unit.truth] in looked_at, f"unit {number}: {engine.hypotheses[unit.truth]}"


def test_estimates_by_the_good_boards_fit_are_as_sure_of_the_good_board_as_that_fit(
    engine: Engine,
) -> None:
    """What strays of parts and of the meter are taken to be goes together: one less, the other more."""
    good = [one for one in population.units(engine, engine.predictions.shots, "estimates", 1, 1) if one.truth == 0]
    held = hold(engine.predictions, good[0].evidence.seen, engine.errors, good[0].evidence.leads_ohm)
    fit = joint(engine.predictions, held, 0)
    drawn = np.isfinite(fit.rest)
    assert corrected(engine.predictions, held, fit)[0, drawn] == pytest.approx(fit.terms[drawn], abs=0.5)
