"""Monte Carlo: draws, intervals, adaptive stop, comparison."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    Budget,
    Comparison,
    Contribution,
    Correlation,
    DecisionRule,
    Distribution,
    TargetGlobalRisk,
    TargetSpecificRisk,
    ToleranceInterval,
    assess,
    compare,
    conformance_probability,
    curvilinear_trapezoid,
    numerical_tolerance,
    simulate,
    simulate_budget,
    simulate_until_stable,
)
from tests.metrology.published.comparing import examples
from tests.metrology.published.monte_carlo import squares

estimate = Budget.from_estimate


def single(part: Contribution) -> Budget:
    return Budget(3.0, "V", (part,))


SHAPES: dict[str, tuple[Contribution, Any]] = {
    "normal": (Contribution.from_standard("a", "a", 2.0), stats.norm(3.0, 2.0)),
    "student": (Contribution.from_standard("a", "a", 2.0, degrees_of_freedom=5), stats.t(5, 3.0, 2.0)),
    "rectangular": (Contribution.from_limits("a", "a", 2.0), stats.uniform(1.0, 4.0)),
    "triangular": (Contribution.triangular("a", "a", 2.0), stats.triang(0.5, 1.0, 4.0)),
    "U-shaped": (Contribution.u_shaped("a", "a", 2.0), stats.arcsine(1.0, 4.0)),
    "trapezoidal": (Contribution.trapezoidal("a", "a", 2.0, 0.5), stats.trapezoid(0.25, 0.75, 1.0, 4.0)),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_draws_have_the_distribution_they_are_meant_to_have(shape: str) -> None:
    part, law = SHAPES[shape]
    found = simulate_budget(single(part), trials=50_000, seed=5)
    assert stats.kstest(found.values, law.cdf).pvalue > 1e-3


def test_limits_that_are_themselves_uncertain() -> None:
    # JCGM 101 6.4.3: variance (b - a)**2 / 12 + d**2 / 9
    draw = curvilinear_trapezoid(-1.0, 3.0, 0.5)
    found = simulate(lambda x: x, {"x": draw}, trials=400_000, seed=5)
    assert found.mean == pytest.approx(1.0, abs=0.01)
    assert found.standard_uncertainty**2 == pytest.approx(16 / 12 + 0.25 / 9, rel=0.01)
    assert found.values[0] >= -1.5
    assert found.values[-1] <= 3.5


def test_the_same_seed_gives_the_same_result_and_another_does_not() -> None:
    budget = single(Contribution.from_standard("a", "a", 1.0))
    first, again, other = (simulate_budget(budget, trials=10_000, seed=seed) for seed in (1, 1, 2))
    assert np.array_equal(first.values, again.values)
    assert not np.array_equal(first.values, other.values)
    assert (first.seed, first.trials, first.stable) == (1, 10_000, None)
    with pytest.raises(ValueError, match="read-only"):
        first.values[0] = 0.0


def test_an_error_that_inputs_share_is_drawn_once() -> None:
    shared = Contribution.from_limits("gain", "gain", 1.0)
    inputs = {"a": Budget(1.0, "V", (shared,)), "b": Budget(1.0, "V", (shared.times(2.0),))}
    found = simulate(lambda a, b: b - 2 * a, inputs, trials=1000)
    assert float(np.ptp(found.values)) < 1e-12


def test_correlated_inputs_are_drawn_together() -> None:
    inputs = {"a": estimate("a", 0.0, 1.0), "b": estimate("b", 0.0, 2.0)}
    found = simulate(lambda a, b: a + b, inputs, correlations=[("a", "b", -0.8)], trials=400_000, seed=2)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(5 - 3.2), rel=0.005)
    own = Budget(0.0, "", (*inputs["a"].contributions, *inputs["b"].contributions), (Correlation("a", "b", -0.8),))
    assert simulate_budget(own, trials=400_000, seed=2).standard_uncertainty == pytest.approx(
        math.sqrt(5 - 3.2), rel=0.005
    )


def test_correlated_means_of_few_readings_are_a_joint_student() -> None:
    inputs = {
        "a": estimate("a", 0.0, 1.0, degrees_of_freedom=4),
        "b": estimate("b", 0.0, 1.0, degrees_of_freedom=4),
    }
    found = simulate(lambda a, b: a + b, inputs, correlations=[("a", "b", 0.5)], trials=200_000, seed=2)
    assert stats.kstest(found.values[::4], stats.t(4, 0.0, math.sqrt(3)).cdf).pvalue > 1e-3


def test_a_model_of_plain_numbers_is_called_trial_by_trial() -> None:
    def model(x: float, k: float) -> float:
        return math.exp(x) if x > 0 else k

    found = simulate(model, {"x": estimate("x", 0.0, 1.0), "k": 0.5}, trials=20_000, seed=1)
    assert found.probability_between(None, 0.75) == pytest.approx(0.5, abs=0.02)
    assert found.probability_between(0.75, None) == pytest.approx(0.5, abs=0.02)
    assert found.probability_between(2.0, 1.0) == 0.0


def test_a_constant_model_has_no_spread() -> None:
    found = simulate(lambda x: 4.0, {"x": estimate("x", 0.0, 1.0)}, trials=1000)
    assert (found.mean, found.standard_uncertainty) == (4.0, 0.0)
    assert found.symmetric(0.9).coverage_factor == 0.0


def test_the_shortest_interval_is_never_longer_than_the_symmetric_one() -> None:
    found = simulate(lambda x: x * x, {"x": estimate("x", 0.0, 1.0)}, trials=200_000, seed=4)
    shortest, symmetric = found.shortest(0.95), found.symmetric(0.95)
    assert shortest.expanded_uncertainty < symmetric.expanded_uncertainty
    # chi-square with one degree of freedom: 0 to 3.841, and 0.00098 to 5.024
    assert shortest.lower == pytest.approx(0.0, abs=1e-6)
    assert shortest.upper == pytest.approx(3.841, rel=0.02)
    assert symmetric.upper == pytest.approx(5.024, rel=0.02)
    assert shortest.method == "Monte Carlo, 200000 trials, shortest"


@pytest.mark.parametrize(
    "example", [each for each in examples() if each.id.startswith("JCGM101-9.4")], ids=lambda each: each.id
)
def test_shortest_intervals_of_the_power_meter_are_met_within_noise(example: Any) -> None:
    given, wanted = example.inputs, example.outputs["computed"]
    inputs = {name: estimate(name, given[name], u) for name, u in zip(("x1", "x2"), given["u"], strict=True)}
    stated = [("x1", "x2", given["correlation"])]
    found = simulate(squares, inputs, correlations=stated, trials=2_000_000, seed=94)
    ends = found.shortest(given["p"])
    # the optimum is flat: both ends wander together, their distance hardly does
    room = 0.02 * wanted["u"]
    assert ends.upper - ends.lower == pytest.approx(wanted["shortest_hi"] - wanted["shortest_lo"], abs=room)
    assert ends.lower == pytest.approx(wanted["shortest_lo"], abs=5 * room)
    assert ends.upper == pytest.approx(wanted["shortest_hi"], abs=5 * room)


# adaptive


def test_an_adaptive_calculation_stops_when_it_is_stable() -> None:
    inputs = {f"x{i}": estimate(f"x{i}", 0.0, 1.0) for i in range(4)}

    def total(x0: Any, x1: Any, x2: Any, x3: Any) -> Any:
        return x0 + x1 + x2 + x3

    coarse = simulate_until_stable(total, inputs, digits=1, seed=7)
    fine = simulate_until_stable(total, inputs, digits=2, seed=7)
    assert coarse.stable
    assert fine.stable
    assert coarse.trials < fine.trials
    # JCGM 101 9.2.2.5: u = 2.0, delta = 0.05, the exact end 3.92
    assert fine.symmetric(0.95).upper == pytest.approx(3.92, abs=0.05)


def test_an_adaptive_calculation_that_runs_out_says_so() -> None:
    found = simulate_until_stable(
        lambda x: x, {"x": estimate("x", 0.0, 1.0)}, tolerance=1e-9, most_trials=30_000, seed=1
    )
    assert (found.stable, found.trials) == (False, 30_000)


def test_a_certain_result_is_stable_at_once() -> None:
    found = simulate_until_stable(lambda x: 1.0, {"x": estimate("x", 0.0, 1.0)})
    assert (found.stable, found.trials) == (True, 20_000)


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    # JCGM 101 7.9.2: 0.035 g = 35e-3 g, delta 0.5e-3; 2 K with one digit: 0.5; 0.095 rounds to one digit as 0.1
    [(0.035, 2, 0.0005), (0.0357, 2, 0.0005), (2.0, 1, 0.5), (0.0999, 1, 0.05), (50e-6, 2, 0.5e-6), (1e30, 2, 5e28)],
)
def test_the_numerical_tolerance_is_half_a_unit_of_the_last_digit(u: float, digits: int, delta: float) -> None:
    assert numerical_tolerance(u, digits) == pytest.approx(delta, rel=1e-12)


# comparison


def test_clause_8_compares_both_ends() -> None:
    budget = Budget(0.0, "", tuple(Contribution(f"x{i}", "x", 1.0, Distribution.RECTANGULAR) for i in range(4)))
    found = simulate_budget(budget, seed=8)
    # JCGM 101 9.2.3: 3.92 against 3.88, u = 2.0: within one digit's tolerance, not within two digits' fifth
    gum = compare(budget.gum_coverage(0.95), found, digits=1)
    assert gum.agrees
    assert gum.upper_difference == pytest.approx(0.04, abs=0.01)
    assert compare(budget.coverage(0.95), found, digits=2).agrees
    assert not compare(budget.gum_coverage(0.95), found, digits=3).agrees
    assert not Comparison(0.0, 0.2, 0.1).agrees


def test_the_shortest_interval_may_be_compared_too() -> None:
    budget = single(Contribution.from_standard("a", "a", 1.0))
    found = simulate_budget(budget, seed=8)
    assert compare(budget.coverage(0.95), found, digits=1, shortest=True).agrees


# decisions


def test_a_simulation_is_judged_like_a_budget() -> None:
    budget = single(Contribution.from_limits("a", "a", 1.0))
    found = simulate_budget(budget, seed=11)
    rule = DecisionRule("shop", TargetSpecificRisk(0.025), 0.95)
    for tolerance in (ToleranceInterval(1.0, 5.0), ToleranceInterval(2.5, 3.4), ToleranceInterval(upper=3.5)):
        exact, drawn = assess(budget, tolerance, rule), assess(found, tolerance, rule)
        assert drawn.verdict is exact.verdict
        assert drawn.conformance_probability == pytest.approx(exact.conformance_probability, abs=2e-3)
        assert drawn.guard_band == pytest.approx(exact.guard_band, abs=5e-3)
        assert drawn.expanded_uncertainty == pytest.approx(exact.expanded_uncertainty, abs=5e-3)
    assert conformance_probability(found, ToleranceInterval(upper=3.5)) == pytest.approx(0.75, abs=2e-3)


def test_a_skewed_simulation_guards_by_its_farther_side() -> None:
    found = simulate(lambda x: x * x, {"x": estimate("x", 0.0, 1.0)}, trials=200_000, seed=4)
    # chi-square: the 97.5 % quantile 5.024 lies 4.024 above the mean of 1, the other end 1 below
    assert found.distance(0.025) == pytest.approx(4.024, rel=0.03)
    assert found.shifted(5.0).mean == 5.0
    assert found.shifted(5.0).coverage(0.9).lower == pytest.approx(found.coverage(0.9).lower + 4.0, abs=0.05)


# refusals

normal = Contribution.from_standard("n", "noise", 1.0)
RECTANGLE = Contribution.from_limits("r", "rectangle", 1.0)


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "trials": (lambda: simulate(lambda x: x, {"x": single(normal)}, trials=1), "1 Monte Carlo trials: 2 or more"),
    "few": (lambda: simulate_budget(single(normal), trials=10).symmetric(0.99), "10 trials are too few for a level"),
    "shape": (
        lambda: simulate(lambda x: x[:3], {"x": single(normal)}, trials=10),
        "the model returned shape (3,) for 10 trials",
    ),
    "undefined": (
        lambda: simulate(lambda x: np.where(x > 3, np.nan, x), {"x": single(normal)}, trials=100),
        "the model gives no finite value for some of the trials",
    ),
    "global risk": (
        lambda: assess(
            simulate_budget(single(normal), trials=100),
            ToleranceInterval(0.0, 1.0),
            DecisionRule("shop", TargetGlobalRisk(0.02, single(normal).distribution)),
        ),
        "global risk 2 % (joint): it needs an error known as a distribution, not as a simulation",
    ),
    "digits": (lambda: numerical_tolerance(1.0, 0), "0 significant digits: 1 or more"),
    "tolerance": (lambda: numerical_tolerance(0.0), "standard uncertainty 0.0: a finite number above 0"),
    "bounded": (
        lambda: simulate_budget(Budget(0.0, "", (normal, RECTANGLE), (Correlation("n", "r", 0.5),))),
        'contribution "r" (rectangle) is rectangular and correlated: a coefficient alone settles no joint',
    ),
    "dof": (
        lambda: simulate_budget(
            Budget(
                0.0,
                "",
                (normal, Contribution.from_standard("m", "m", 1.0, degrees_of_freedom=3)),
                (Correlation("n", "m", 0.5),),
            )
        ),
        'correlated contributions "n", "m" have different degrees of freedom',
    ),
    "two shapes": (
        lambda: simulate(
            lambda a, b: a + b,
            {"a": single(normal), "b": single(Contribution.from_limits("n", "noise", 1.0))},
            trials=10,
        ),
        'contribution "n" is normal and rectangular at once',
    ),
    "limits": (lambda: curvilinear_trapezoid(1.0, 0.0, 0.1), "limits 1.0 and 0.0 within 0.1: lower below upper"),
    "inexact": (lambda: curvilinear_trapezoid(0.0, 1.0, 0.6), "limits 0.0 and 1.0 within 0.6"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_simulations_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape(message)):
        make()
