"""Global risks, priors of any shape, and guard bands for a target risk."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    DecisionRule,
    GlobalRisks,
    Mixture,
    OutputDistribution,
    Population,
    TargetGlobalRisk,
    ToleranceInterval,
    Truncated,
    Verdict,
    assess,
    from_scipy,
    global_risks,
    normal_population,
    posterior_probability,
)
from benchcheck.metrology.accuracy_ratio import (
    managed_factor,
    rp10_factor,
    rss_factor,
    u95_factor,
    uncertainty_ratio,
)
from benchcheck.metrology.quadrature import integrate as own_integrate

UNIT = ToleranceInterval(-1.0, 1.0)


def normal(value: float, sigma: float) -> OutputDistribution:
    return OutputDistribution(value, sigma=sigma)


LOTS: dict[str, Population] = {
    "normal": normal(0.1, 0.5),
    "rectangular": OutputDistribution(0.0, (1.2,)),
    "triangular": OutputDistribution(0.0, (0.6, 0.6)),
    "sorted": Truncated(normal(0.0, 0.6), -1.1, 1.1),
    "two makers": Mixture((normal(-0.5, 0.2), normal(0.6, 0.3)), (0.3, 0.7)),
    "lognormal": from_scipy(stats.lognorm(0.5, loc=-1.2)),
    "U-shaped": OutputDistribution(0.0, u_shaped=(1.1,)),
}
ERRORS = {
    "normal": normal(0.0, 0.15),
    "rectangular": OutputDistribution(0.0, (0.2,)),
    "both": OutputDistribution(0.0, (0.2,), 0.05),
    "coarse": OutputDistribution(0.0, (0.6,), 0.3),
    "sharp": normal(0.0, 1e-4),
}


@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize("lot", LOTS)
def test_global_risks_are_those_a_simulated_lot_shows(lot: str, error: str) -> None:
    generator = np.random.default_rng(106)
    population, law = LOTS[lot], ERRORS[error]
    acceptance = ToleranceInterval(-0.9, 0.85)
    found = global_risks(population, law, UNIT, acceptance)
    count = 400_000
    # the population by inversion on a fine grid, the error term by term
    grid = (np.arange(1, 20_000) - 0.5) / 20_000
    quantiles = np.array([population.quantile(float(p)) for p in grid[::20]])
    true = np.interp(generator.random(count), grid[::20], quantiles)
    read = true + law.sigma * generator.standard_normal(count)
    for half_width in law.rectangular:
        read += generator.uniform(-half_width, half_width, count)
    good, kept = np.abs(true) <= 1.0, (read >= -0.9) & (read <= 0.85)
    for ours, theirs in (
        (found.nonconforming, np.mean(~good)),
        (found.accepted, np.mean(kept)),
        (found.joint_false_accept, np.mean(kept & ~good)),
        (found.joint_false_reject, np.mean(~kept & good)),
    ):
        noise = 5 * math.sqrt(max(float(theirs), 1e-5) / count) + 1.5e-3
        assert ours == pytest.approx(float(theirs), abs=noise)


@given(st.floats(0.05, 2.0), st.floats(-0.5, 0.5), st.floats(0.02, 1.0), st.floats(0.0, 0.5))
@settings(max_examples=40)
def test_global_risks_of_normals_are_those_of_the_bivariate_normal(
    sd: float, mean: float, u: float, w: float
) -> None:
    acceptance = UNIT.narrowed(w)
    found = global_risks(normal(mean, sd), normal(0.0, u), UNIT, acceptance)

    def density(x: float) -> float:
        return float(
            stats.norm.pdf(x, mean, sd) * (stats.norm.cdf((1 - w - x) / u) - stats.norm.cdf((w - 1 - x) / u))
        )

    span = 10 * sd
    outside = integrate.quad(density, 1, max(1, mean + span), epsabs=1e-14, limit=300, points=[1 + min(u, span / 2)])[
        0
    ]
    outside += integrate.quad(density, min(-1, mean - span), -1, epsabs=1e-14, limit=300)[0]
    assert found.joint_false_accept == pytest.approx(outside, rel=1e-6, abs=1e-10)


@given(st.sampled_from(sorted(LOTS)), st.sampled_from(["normal", "both", "coarse"]), st.floats(0.0, 0.9))
@settings(max_examples=25)
def test_probabilities_of_the_four_cases_add_up(lot: str, error: str, w: float) -> None:
    found = global_risks(LOTS[lot], ERRORS[error], UNIT, UNIT.narrowed(w))
    kept_good = found.conforming - found.joint_false_reject
    assert kept_good + found.joint_false_accept == pytest.approx(found.accepted, abs=1e-9)
    for each in (found.joint_false_accept, found.joint_false_reject, found.accepted, found.rejected):
        assert -1e-12 <= each <= 1.0 + 1e-12
    assert found.joint_false_accept <= found.conditional_false_accept + 1e-12
    assert found.accepted_of_nonconforming * found.nonconforming == pytest.approx(found.joint_false_accept, abs=1e-12)
    assert found.rejected_of_conforming * found.conforming == pytest.approx(found.joint_false_reject, abs=1e-12)
    assert found.conditional_false_reject * found.rejected == pytest.approx(found.joint_false_reject, abs=1e-12)


@given(st.floats(0.0, 0.9), st.floats(0.0, 0.9))
@settings(max_examples=25)
def test_a_wider_guard_band_accepts_less_that_is_wrong_and_rejects_more_that_is_right(a: float, b: float) -> None:
    narrow, wide = sorted((a, b))
    first, second = (global_risks(normal(0, 0.6), normal(0, 0.2), UNIT, UNIT.narrowed(w)) for w in (narrow, wide))
    assert second.joint_false_accept <= first.joint_false_accept + 1e-12
    assert second.joint_false_reject >= first.joint_false_reject - 1e-12


def test_an_exact_measurement_takes_no_wrong_decision() -> None:
    found = global_risks(normal(0.0, 0.6), OutputDistribution(0.0), UNIT, UNIT)
    assert found.joint_false_accept == pytest.approx(0.0, abs=1e-12)
    assert found.joint_false_reject == pytest.approx(0.0, abs=1e-12)


def test_where_nothing_is_accepted_everything_good_is_rejected() -> None:
    found = global_risks(normal(0.0, 0.5), normal(0.0, 0.5), UNIT, None)
    assert found == GlobalRisks(found.nonconforming, 0.0, 0.0, found.conforming)
    assert found.conditional_false_accept == 0.0
    assert found.conditional_false_reject == pytest.approx(found.conforming, rel=1e-12)


def test_risks_among_nothing_are_none() -> None:
    sure = GlobalRisks(0.0, 1.0, 0.0, 0.0)
    assert (sure.accepted_of_nonconforming, sure.conditional_false_reject) == (0.0, 0.0)
    assert GlobalRisks(1.0, 0.0, 0.0, 0.0).rejected_of_conforming == 0.0


def test_one_sided_tolerances_have_global_risks_too() -> None:
    lower = ToleranceInterval(lower=0.0)
    found = global_risks(normal(1.0, 1.0), normal(0.0, 0.3), lower, ToleranceInterval(lower=0.3))
    generator = np.random.default_rng(1)
    true = generator.normal(1.0, 1.0, 1_000_000)
    read = true + generator.normal(0.0, 0.3, 1_000_000)
    assert found.joint_false_accept == pytest.approx(float(np.mean((read > 0.3) & (true < 0))), abs=3e-4)
    assert found.joint_false_reject == pytest.approx(float(np.mean((read < 0.3) & (true > 0))), abs=1e-3)


# guard bands for a target risk


@pytest.mark.parametrize("conditional", [False, True])
@pytest.mark.parametrize("lot", ["normal", "rectangular", "sorted", "two makers", "lognormal"])
def test_a_target_global_risk_is_met(lot: str, conditional: bool) -> None:
    target = TargetGlobalRisk(0.002, conditional=conditional)
    law = ERRORS["both"]
    w = target.width(law, UNIT, 0.3, LOTS[lot])
    found = global_risks(LOTS[lot], law, UNIT, UNIT.narrowed(w))
    risk = found.conditional_false_accept if conditional else found.joint_false_accept
    assert w > 0.0
    assert risk == pytest.approx(0.002, rel=1e-6)


def test_no_guard_band_is_taken_where_none_is_needed() -> None:
    assert TargetGlobalRisk(0.02).width(normal(0.0, 0.05), UNIT, 0.1, normal_population(UNIT, 0.95)) == 0.0


def test_a_one_sided_target_is_met() -> None:
    lower = ToleranceInterval(lower=0.0)
    lot, law = normal(0.5, 1.0), normal(0.0, 0.3)
    w = TargetGlobalRisk(0.001).width(law, lower, 0.1, lot)
    assert global_risks(lot, law, lower, lower.narrowed(w)).joint_false_accept == pytest.approx(0.001, rel=1e-6)


def test_the_managed_guard_band_keeps_the_worst_joint_risk_near_two_percent() -> None:
    # Z540.3 handbook, method 6, is a fit: over all centred processes the risk stays at 2 % or just below
    for ratio in (1.5, 2.0, 3.0, 4.0):
        law, acceptance = (
            normal(0.0, 1.0 / (2 * ratio)),
            ToleranceInterval(-managed_factor(ratio), managed_factor(ratio)),
        )
        worst = max(global_risks(normal(0.0, sd), law, UNIT, acceptance).joint_false_accept for sd in SPREADS)
        assert 0.0185 < worst < 0.0203


SPREADS = np.linspace(0.3, 1.6, 60).tolist()


def test_the_population_of_a_rule_goes_before_that_of_the_assessment() -> None:
    good, bad = normal_population(UNIT, 0.999), normal_population(UNIT, 0.7)
    law = normal(0.8, 0.2)
    strict = DecisionRule("Z540.3", TargetGlobalRisk(0.02, bad))
    loose = DecisionRule("Z540.3", TargetGlobalRisk(0.02))
    assert assess(law, UNIT, strict, population=good).guard_band > 0.0
    assert assess(law, UNIT, loose, population=good).guard_band == 0.0
    assert assess(law, UNIT, loose, population=good).verdict is Verdict.PASS
    assert str(loose) == "Z540.3, global risk 2 % (joint), coverage 95.45 %"
    assert str(TargetGlobalRisk(0.1, conditional=True)) == "global risk 10 % (conditional)"


# posterior


@given(st.floats(-1, 1), st.floats(0.1, 1), st.floats(-1, 1), st.floats(0.05, 1))
@settings(max_examples=40)
def test_the_posterior_of_normals_is_normal(mean: float, sd: float, y: float, u: float) -> None:
    # JCGM 106 annex A.4.3: weights 1/sd**2 and 1/u**2
    variance = 1 / (1 / sd**2 + 1 / u**2)
    center = variance * (mean / sd**2 + y / u**2)
    exact = stats.norm(center, math.sqrt(variance))
    found = posterior_probability(normal(mean, sd), normal(y, u), UNIT)
    assert found == pytest.approx(float(exact.cdf(1.0) - exact.cdf(-1.0)), rel=1e-8, abs=1e-10)


def test_a_property_that_cannot_be_negative_stays_positive() -> None:
    # a reading of -0.1 with u = 0.5 of what lies between 0 and 10: a truncated normal
    lot = OutputDistribution(5.0, (5.0,))
    found = posterior_probability(lot, normal(-0.1, 0.5), ToleranceInterval(upper=0.4))
    exact = stats.truncnorm(0.2, 20.2, loc=-0.1, scale=0.5)
    assert found == pytest.approx(float(exact.cdf(0.4)), rel=1e-9)


def test_a_rectangular_error_cuts_the_population() -> None:
    found = posterior_probability(normal(0.0, 1.0), OutputDistribution(0.9, (0.3,)), UNIT)
    inside = stats.norm.cdf(1.0) - stats.norm.cdf(0.6)
    assert found == pytest.approx(float(inside / (stats.norm.cdf(1.2) - stats.norm.cdf(0.6))), rel=1e-9)


def test_a_tolerance_beyond_the_population_has_no_probability() -> None:
    lot = OutputDistribution(0.0, (1.0,))
    assert posterior_probability(lot, normal(0.5, 0.5), ToleranceInterval(2.0, 3.0)) == 0.0


# populations


@pytest.mark.parametrize("lot", LOTS)
@pytest.mark.parametrize("p", [0.01, 0.3, 0.5, 0.77, 0.99])
def test_a_population_is_consistent(lot: str, p: float) -> None:
    population = LOTS[lot]
    x = population.quantile(p)
    assert population.cdf(x) == pytest.approx(p, rel=1e-8)
    assert population.sf(x) == pytest.approx(1 - p, rel=1e-8)
    step = 1e-5
    slope = (population.cdf(x + step) - population.cdf(x - step)) / (2 * step)
    assert population.pdf(x) == pytest.approx(slope, rel=1e-3)


def test_a_truncated_population_ends() -> None:
    lot = Truncated(normal(0.0, 1.0), -1.0, 2.0)
    assert (lot.cdf(-1.0), lot.cdf(2.0), lot.sf(-1.0), lot.sf(2.0)) == (0.0, 1.0, 1.0, 0.0)
    assert (lot.pdf(-1.1), lot.pdf(2.1)) == (0.0, 0.0)


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "risk": (lambda: TargetGlobalRisk(0.0), "global risk 0.0: a probability between 0 and 1"),
    "no population": (
        lambda: assess(normal(0.0, 0.2), UNIT, DecisionRule("Z540.3", TargetGlobalRisk(0.02))),
        "global risk 2 % (joint): the population of parts is not known",
    ),
    "one-sided": (lambda: normal_population(ToleranceInterval(lower=0.0), 0.9), "a centred population needs"),
    "share": (lambda: normal_population(UNIT, 1.0), "share of the population in tolerance 1.0"),
    "empty": (lambda: Truncated(normal(0.0, 1.0), 2.0, 1.0), "nothing of the population lies between 2.0 and 1.0"),
    "outside": (
        lambda: Truncated(OutputDistribution(0.0, (1.0,)), 2.0, 3.0),
        "nothing of the population lies between",
    ),
    "weights": (
        lambda: Mixture((normal(0.0, 1.0),), (0.5,)),
        "weights (0.5,): numbers of 0 or more that add up to 1",
    ),
    "counts": (lambda: Mixture((normal(0.0, 1.0),), (0.5, 0.5)), "1 populations with 2 weights"),
    "apart": (
        lambda: posterior_probability(OutputDistribution(0.0, (1.0,)), OutputDistribution(9.0, (0.1,)), UNIT),
        "the reading 9.0 does not fit the population at all",
    ),
    "ratio": (lambda: u95_factor(0.0), "test uncertainty ratio 0.0: a number above 0"),
    "span": (lambda: uncertainty_ratio(2.0, 0.0), "tolerance span 2.0 and expanded uncertainty 0.0"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_populations_and_targets_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape(message)):
        make()


def test_ratio_formulas_end_at_nothing_and_at_all() -> None:
    # RP-10 gives more than 1 above a ratio of 4, and none gives less than nothing
    assert rp10_factor(8.0) == 1.0
    assert (rp10_factor(0.5), u95_factor(0.5), rss_factor(0.5)) == (0.0, 0.0, 0.0)
    assert managed_factor(0.5) >= 0.0
    assert managed_factor(10.0) == 1.0
    assert uncertainty_ratio(2.0, 0.25) == 4.0


def test_quadrature_meets_known_integrals() -> None:
    assert own_integrate(math.exp, (0.0, 1.0)) == pytest.approx(math.e - 1, rel=1e-14)
    assert own_integrate(abs, (-1.0, 0.0, 2.0)) == pytest.approx(2.5, rel=1e-15)
    assert own_integrate(lambda x: 1 / math.sqrt(x), (0.0, 1.0), 1e-8) == pytest.approx(2.0, rel=1e-6)
    assert own_integrate(math.exp, (1.0,)) == 0.0
    # a panel that cannot be halved any more ends the search
    assert math.isfinite(own_integrate(lambda x: math.copysign(1e300, x - 5e-324), (0.0, 1e-323), 0.0))
