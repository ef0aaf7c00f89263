"""Type A evaluation."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    correlation_of_means,
    lag_1_autocorrelation,
    pooled_standard_deviation,
    relative_spread_of_standard_deviation,
    type_a,
)

READINGS = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=20)


@given(READINGS)
def test_mean_and_deviation_are_those_of_the_standard_library(readings: list[float]) -> None:
    found = type_a(readings)
    scale = max(map(abs, readings), default=0.0)
    assert found.mean == pytest.approx(statistics.fmean(readings), rel=1e-12, abs=1e-12 * scale)
    assert found.standard_deviation == pytest.approx(statistics.stdev(readings), rel=1e-9, abs=1e-12 * scale)


@given(READINGS, st.integers(-20, 20))
def test_a_change_of_the_unit_by_a_power_of_two_changes_nothing_else(readings: list[float], power: int) -> None:
    scaled = type_a([each * 2.0**power for each in readings])
    plain = type_a(readings)
    assert scaled.standard_deviation == pytest.approx(plain.standard_deviation * 2.0**power, rel=1e-12)


@pytest.mark.parametrize("unit", [1e-30, 1.0, 1e30])
def test_extreme_units_keep_their_digits(unit: float) -> None:
    found = type_a([unit, 2 * unit, 3 * unit])
    assert found.mean == pytest.approx(2 * unit, rel=1e-15)
    assert found.standard_deviation == pytest.approx(unit, rel=1e-15)


def test_equal_readings_do_not_scatter() -> None:
    assert type_a([4.7, 4.7, 4.7]).standard_uncertainty == 0.0


def test_pairs_that_move_together_are_fully_correlated() -> None:
    first = [1.0, 1.3, 0.9, 1.1]
    assert correlation_of_means(first, [2 * each - 1 for each in first]) == pytest.approx(1.0, rel=1e-12)
    assert correlation_of_means(first, [-each for each in first]) == -1.0
    assert correlation_of_means(first, [5.0] * 4) == 0.0


def test_drifting_readings_follow_each_other() -> None:
    assert lag_1_autocorrelation([float(each) for each in range(50)]) > 0.9
    assert lag_1_autocorrelation([1.0, -1.0] * 25) < -0.9


def test_pooling_weighs_by_degrees_of_freedom() -> None:
    # two samples of variance 2 (1 degree) and 1 (2 degrees): (2 + 2) / 3
    pooled, dof = pooled_standard_deviation([[0.0, 2.0], [9.0, 10.0, 11.0]])
    assert pooled == pytest.approx(math.sqrt(4 / 3), rel=1e-15)
    assert dof == 3


def test_refusals() -> None:
    with pytest.raises(MetrologyError, match=r"repeatability: 1 reading\(s\) show no repeatability"):
        type_a([1.0])
    with pytest.raises(MetrologyError, match="all readings are equal"):
        lag_1_autocorrelation([1.0, 1.0])
    with pytest.raises(MetrologyError, match="2 and 3 readings; as many of each"):
        correlation_of_means([1.0, 2.0], [1.0, 2.0, 3.0])
    with pytest.raises(MetrologyError, match="no sample given"):
        pooled_standard_deviation([])
    with pytest.raises(MetrologyError, match="sample 2: reading 1 is nan"):
        pooled_standard_deviation([[1.0, 2.0], [math.nan, 1.0]])
    with pytest.raises(MetrologyError, match="2 or more are needed"):
        relative_spread_of_standard_deviation(1)
