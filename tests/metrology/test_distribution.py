"""Divisors, quantiles and coverage factors, against scipy and the GUM's table."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Distribution, coverage_factor
from benchcheck.metrology.distribution import (
    level_of_factor,
    normal_cdf,
    normal_quantile,
    student_quantile,
    whole_degrees_of_freedom,
)

PROBABILITIES = st.floats(1e-12, 1 - 1e-9)


@pytest.mark.parametrize(
    ("distribution", "square"),
    [("normal", 1), ("rectangular", 3), ("triangular", 6), ("U-shaped", 2), ("trapezoidal", 3)],
)
def test_a_divisor_is_the_half_width_over_the_standard_deviation(distribution: str, square: int) -> None:
    # GUM 4.3.7, 4.3.9; JCGM 101 6.4.6
    assert Distribution(distribution).divisor ** 2 == pytest.approx(square, rel=1e-15)


@given(PROBABILITIES)
def test_normal_quantiles_are_those_of_scipy(p: float) -> None:
    assert normal_quantile(p) == pytest.approx(float(stats.norm.ppf(p)), rel=1e-12, abs=1e-14)


@given(st.floats(-37, 8))
def test_the_normal_distribution_function_keeps_its_digits_in_the_lower_tail(z: float) -> None:
    assert normal_cdf(z) == pytest.approx(float(stats.norm.cdf(z)), rel=1e-12)


@given(st.floats(1e-9, 1 - 1e-9), st.one_of(st.integers(1, 400), st.floats(1, 1e6)))
def test_student_quantiles_are_those_of_scipy(p: float, dof: float) -> None:
    assert student_quantile(p, dof) == pytest.approx(float(stats.t.ppf(p, dof)), rel=1e-9, abs=1e-12)


@given(st.floats(0.01, 0.9999), st.one_of(st.floats(1, 500), st.just(math.inf)))
def test_the_level_of_a_coverage_factor_leads_back(level: float, dof: float) -> None:
    factor = coverage_factor(level, dof, truncate=False)
    assert level_of_factor(factor, dof) == pytest.approx(level, rel=1e-9)


def test_degrees_of_freedom_are_truncated_to_the_lower_integer() -> None:
    # GUM G.4.1 note 1 and H.1.6: 16.7 is taken as 16
    assert coverage_factor(0.99, 16.7) == coverage_factor(0.99, 16)
    assert coverage_factor(0.99, 16.7, truncate=False) < coverage_factor(0.99, 16.7)


@pytest.mark.parametrize(
    ("found", "whole"), [(1.0, 1.0), (16.75, 16.0), (16.999999999999, 17.0), (0.2, 1.0), (math.inf, math.inf)]
)
def test_whole_degrees_of_freedom(found: float, whole: float) -> None:
    assert whole_degrees_of_freedom(found) == whole


def test_two_goes_with_95_45_percent() -> None:
    assert 100 * level_of_factor(2.0) == pytest.approx(95.4499736, rel=1e-9)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 95.0, math.nan])
def test_a_level_is_a_probability(level: float) -> None:
    with pytest.raises(
        MetrologyError, match=r"coverage level .*: a probability between 0 and 1 .*write 0.95 for 95 %"
    ):
        coverage_factor(level)


@pytest.mark.parametrize("dof", [0.5, 0.0, -3.0, math.nan])
def test_degrees_of_freedom_below_one_are_refused(dof: float) -> None:
    with pytest.raises(MetrologyError, match=r"degrees of freedom .*: 1 or more"):
        coverage_factor(0.95, dof)


@pytest.mark.parametrize("factor", [0.0, -2.0, math.nan])
def test_a_coverage_factor_is_above_zero(factor: float) -> None:
    with pytest.raises(MetrologyError, match=r"coverage factor .*: a number above 0"):
        level_of_factor(factor)
