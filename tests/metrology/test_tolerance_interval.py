"""Statistical intervals against noncentral t, simulation and published tables."""

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
    PriorSpread,
    distribution_free_confidence,
    distribution_free_sample_size,
    one_sided_factor,
    prediction_factor,
    prediction_limits,
    tolerance_limits,
    two_sided_factor,
)
from benchcheck.metrology.tolerance_interval import guenther_factor, howe_factor, natrella_factor

CONTENTS = st.floats(0.5, 0.9999)
CONFIDENCES = st.floats(0.5, 0.999)


@given(st.integers(2, 500), CONTENTS, CONFIDENCES)
@settings(max_examples=60)
def test_one_sided_factors_are_quantiles_of_the_noncentral_t(n: int, content: float, confidence: float) -> None:
    root = math.sqrt(n)
    exact = float(stats.nct.ppf(confidence, n - 1, root * stats.norm.ppf(content))) / root
    assert one_sided_factor(n, content, confidence) == pytest.approx(exact, rel=1e-9)


def two_sided_confidence(k: float, n: int, content: float) -> float:
    """Return the confidence of k by scipy's adaptive quadrature over the standard deviation and the mean."""

    def given_mean(z: float) -> float:
        offset = abs(z) / math.sqrt(n)
        low, high = 0.0, offset + 40.0
        for _ in range(200):
            r = 0.5 * (low + high)
            inside = stats.norm.cdf(offset + r) - stats.norm.cdf(offset - r)
            low, high = (r, high) if inside < content else (low, r)
        return float(stats.chi2.sf((n - 1) * (high / k) ** 2, n - 1) * stats.norm.pdf(z))

    return 2 * float(integrate.quad(given_mean, 0, 9, epsabs=1e-12, limit=200)[0])


@pytest.mark.parametrize(("n", "content", "confidence"), [(2, 0.95, 0.95), (5, 0.9, 0.99), (30, 0.99, 0.9)])
def test_two_sided_factors_give_their_confidence_by_another_quadrature(
    n: int, content: float, confidence: float
) -> None:
    k = two_sided_factor(n, content, confidence)
    assert two_sided_confidence(k, n, content) == pytest.approx(confidence, abs=1e-9)


@pytest.mark.parametrize(("n", "content", "confidence"), [(3, 0.9, 0.95), (10, 0.95, 0.9)])
def test_two_sided_intervals_contain_their_share_as_often_as_promised(
    n: int, content: float, confidence: float
) -> None:
    samples = np.random.default_rng(6).standard_normal((100_000, n))
    mean, s = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    k = two_sided_factor(n, content, confidence)
    share = stats.norm.cdf(mean + k * s) - stats.norm.cdf(mean - k * s)
    assert float(np.mean(share >= content)) == pytest.approx(confidence, abs=0.004)


@given(st.integers(2, 60), CONTENTS, CONFIDENCES)
@settings(max_examples=40)
def test_more_readings_never_widen_an_interval(n: int, content: float, confidence: float) -> None:
    assert two_sided_factor(n + 1, content, confidence) < two_sided_factor(n, content, confidence)
    if content > 0.6 and confidence > 0.6:
        assert one_sided_factor(n + 1, content, confidence) < one_sided_factor(n, content, confidence)


def test_many_readings_lead_to_the_normal() -> None:
    assert two_sided_factor(10_000_000, 0.95, 0.95) == pytest.approx(1.96, rel=1e-3)
    assert one_sided_factor(10_000_000, 0.95, 0.95) == pytest.approx(1.645, rel=1e-3)


def test_a_known_spread_leaves_only_the_mean_in_doubt() -> None:
    # ISO 16269-6, known standard deviation: z_content + z_confidence / sqrt(n)
    known = one_sided_factor(4, 0.95, 0.95, degrees_of_freedom=math.inf)
    assert known == pytest.approx(1.6448536269514722 * 1.5, rel=1e-14)
    k = two_sided_factor(4, 0.95, 0.95, degrees_of_freedom=math.inf)
    off = 1.959963984540054 / 2
    assert stats.norm.cdf(off + k) - stats.norm.cdf(off - k) == pytest.approx(0.95, rel=1e-13)
    assert two_sided_factor(4, 0.95, 0.95, degrees_of_freedom=1e7) == pytest.approx(k, rel=2e-3)


def test_approximations_come_near_from_ten_readings_on() -> None:
    for approximation in (howe_factor, guenther_factor):
        assert approximation(30, 0.95, 0.95) == pytest.approx(two_sided_factor(30, 0.95, 0.95), rel=0.005)
    assert natrella_factor(30, 0.95, 0.95) == pytest.approx(one_sided_factor(30, 0.95, 0.95), rel=0.01)


@pytest.mark.parametrize(
    # what n really buys: the factor of the spread, of the next unit, and the chance of min..max (computed by the
    # trade's own table in round figures)
    ("n", "contains", "predicts", "between"),
    [(2, "38", "15.6", 1 / 3), (3, "10.0", "5.0", 0.5), (5, "5.1", "3.0", 2 / 3), (10, "3.4", "2.4", 9 / 11)],
)
def test_what_a_number_of_known_good_units_buys(n: int, contains: str, predicts: str, between: float) -> None:
    assert howe_factor(n, 0.95, 0.95) == pytest.approx(float(contains), rel=0.01)
    assert f"{prediction_factor(n, 0.95):.1f}" == predicts
    # the chance that the next lies between least and greatest is (n - 1) / (n + 1): the mean of the content
    mean = integrate.quad(lambda p: distribution_free_confidence(n, p), 1e-12, 1 - 1e-12)[0]
    assert mean == pytest.approx(between, rel=1e-9)


def test_a_prediction_interval_holds_the_next_unit_as_often_as_promised() -> None:
    draws = np.random.default_rng(7).standard_normal((200_000, 5))
    mean, s = draws[:, :4].mean(axis=1), draws[:, :4].std(axis=1, ddof=1)
    two, one = prediction_factor(4, 0.9), prediction_factor(4, 0.9, one_sided=True)
    assert float(np.mean(np.abs(draws[:, 4] - mean) <= two * s)) == pytest.approx(0.9, abs=0.004)
    assert float(np.mean(draws[:, 4] <= mean + one * s)) == pytest.approx(0.9, abs=0.004)


@pytest.mark.parametrize(("content", "confidence", "n"), [(0.95, 0.95, 93), (0.9, 0.95, 46), (0.99, 0.99, 662)])
def test_distribution_free_sample_sizes(content: float, confidence: float, n: int) -> None:
    # ISO 16269-6 annex, two-sided, least to greatest: 93 and 46 and 662 (from memory); both sides checked
    assert distribution_free_sample_size(content, confidence) == n
    assert distribution_free_confidence(n, content) >= confidence > distribution_free_confidence(n - 1, content)


# few units and a prior spread


def test_one_unit_is_enough_with_a_prior_spread() -> None:
    found = prediction_limits([0.652], prior=PriorSpread(0.004, math.inf, "part tolerance"))
    # a known spread: 1.96 sqrt(2) sigma
    assert found.factor == pytest.approx(1.959963984540054 * math.sqrt(2), rel=1e-12)
    assert (found.mean, found.spread, found.degrees_of_freedom, found.count) == (0.652, 0.004, math.inf, 1)
    assert 0.5 * (found.lower + found.upper) == pytest.approx(0.652, rel=1e-14)
    assert found.statement == (
        "hold the next good unit with a probability of 95 %, from 1 reading(s) and a prior spread (part tolerance)"
    )


def test_readings_update_a_prior_spread() -> None:
    # conjugate update: nu s**2 = 8 * 4**2 + 2 * 1**2 over 10 degrees
    found = tolerance_limits([9.0, 10.0, 11.0], prior=PriorSpread(4.0, 8))
    assert found.degrees_of_freedom == 10
    assert found.spread == pytest.approx(math.sqrt((8 * 16 + 2 * 1) / 10), rel=1e-14)
    assert found.factor == two_sided_factor(3, 0.95, 0.95, degrees_of_freedom=10)
    assert tolerance_limits([9.0, 10.0, 11.0], prior=PriorSpread(4.0, math.inf)).spread == 4.0


def test_without_a_prior_the_scatter_stands_alone() -> None:
    found = tolerance_limits([9.0, 10.0, 11.0])
    assert (found.spread, found.degrees_of_freedom) == (1.0, 2.0)
    assert found.statement.endswith("from 3 reading(s) and their scatter alone")
    assert prediction_limits([9.0, 10.0, 11.0], prior=PriorSpread(1.0)).statement.endswith("a prior spread")


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5])
def test_limits_with_a_right_prior_keep_their_promise_at_every_small_number(n: int) -> None:
    # units whose spread itself varies as the prior says: chi-square with 8 degrees of freedom
    generator = np.random.default_rng(100 + n)
    trials, kept, contained = 4000, 0, 0
    for _ in range(trials):
        sigma = math.sqrt(8 / generator.chisquare(8))
        readings = generator.normal(0.0, sigma, n).tolist()
        prior = PriorSpread(1.0, 8)
        following = prediction_limits(readings, level=0.9, prior=prior)
        kept += following.lower <= generator.normal(0.0, sigma) <= following.upper
        limits = tolerance_limits(readings, content=0.9, confidence=0.9, prior=prior)
        share = stats.norm.cdf(limits.upper / sigma) - stats.norm.cdf(limits.lower / sigma)
        contained += share >= 0.9
    assert kept / trials == pytest.approx(0.9, abs=0.02)
    assert contained / trials == pytest.approx(0.9, abs=0.02)


def test_a_prior_spread_from_its_unreliability() -> None:
    assert PriorSpread.within(0.01, 0.25, "lot") == PriorSpread(0.01, 8.0, "lot")


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "one": (lambda: two_sided_factor(1, 0.95, 0.95), "sample of 1: 2 or more are needed for a standard deviation"),
    "none": (lambda: two_sided_factor(0, 0.95, 0.95, degrees_of_freedom=5), "sample of 0: 1 or more readings"),
    "dof": (lambda: one_sided_factor(3, 0.95, 0.95, degrees_of_freedom=0.0), "degrees of freedom 0.0"),
    "content": (lambda: two_sided_factor(3, 1.0, 0.95), "content 1.0: a probability"),
    "confidence": (lambda: one_sided_factor(3, 0.95, 95), "confidence 95: a probability"),
    "free": (lambda: distribution_free_confidence(1, 0.9), "sample of 1: 2 or more are needed to have a least"),
    "natrella": (lambda: natrella_factor(2, 0.95, 0.99), "sample of 2: too small for Natrella's approximation"),
    "prior": (lambda: PriorSpread(0.0, 8, "lot"), "prior spread 0.0 (lot): a finite number above 0"),
    "prior dof": (lambda: PriorSpread(1.0, 0.5, "lot"), "prior spread (lot): degrees of freedom 0.5"),
    "no reading": (lambda: tolerance_limits([], prior=PriorSpread(1.0)), "limits from a sample: no reading given"),
    "nan": (lambda: tolerance_limits([math.nan], prior=PriorSpread(1.0)), "limits from a sample: reading 1 is nan"),
    "alone": (
        lambda: tolerance_limits([1.0]),
        "limits from a sample without a prior spread: 1 reading(s) show no repeatability",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_intervals_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape(message)):
        make()


@pytest.mark.parametrize(
    ("n", "content", "confidence", "factor"),
    [(2, 0.95, 0.9999, 13143.161365), (3, 0.999, 0.999999, 3143.702187), (2, 0.95, 0.999, 1314.315609)],
)
def test_one_sided_factors_hold_at_high_confidence_from_few(
    n: int, content: float, confidence: float, factor: float
) -> None:
    """Quantiles of the noncentral t from scipy.stats.nct, over the square root of n."""
    assert one_sided_factor(n, content, confidence) == pytest.approx(factor, rel=1e-8)


def test_fewer_than_one_degree_of_freedom_is_refused() -> None:
    with pytest.raises(MetrologyError, match="1 or more"):
        prediction_factor(5, 0.95, one_sided=True, degrees_of_freedom=0.5)


def test_readings_that_are_all_alike_give_no_limits_without_a_prior() -> None:
    with pytest.raises(MetrologyError, match="prior spread"):
        tolerance_limits([1.0, 1.0, 1.0])
