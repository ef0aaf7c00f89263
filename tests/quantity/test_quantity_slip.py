"""Slips of a thousand: found when the digits are right and the power is not, never otherwise."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.quantity import magnitude_slip


def test_a_value_without_its_prefix_is_asked_about() -> None:
    # the worked case: 4.7 typed, 4.7 k meant, 4700 expected (common practice, no source)
    assert magnitude_slip(4.7, 4700.0) == -3
    assert magnitude_slip(532.0, (0.45, 0.75)) == 3
    assert magnitude_slip(220.0, 220e-6) == 6
    assert magnitude_slip(0.0047, 4.7e6) == -9
    assert magnitude_slip(100.0, (80e-12, 120e-12)) == 12


@pytest.mark.parametrize(
    "value", [0.0, 4700.0, 47.0, 470.0, 47e3, 470e3, 2400.0, 9300.0, 1.0, 9.5, math.nan, math.inf]
)
def test_zero_and_other_faults_are_no_slips(value: float) -> None:
    assert magnitude_slip(value, 4700.0) is None


@pytest.mark.parametrize(
    "expected",
    [0.0, (0.0, 0.4), (-1.0, 1.0), (10e3, math.inf), (-math.inf, 5.0), (math.nan, 1.0), (1.0, 300.0), math.nan],
)
def test_where_nothing_can_be_said_nothing_is(expected: float | tuple[float, float]) -> None:
    assert magnitude_slip(12.0, expected) is None
    assert magnitude_slip(12e6, expected) is None


def test_signs_are_left_out() -> None:
    assert magnitude_slip(-532.0, 0.53) == 3
    assert magnitude_slip(-12e3, (-12.6, -11.4)) == 3
    assert magnitude_slip(-0.53, 0.53) is None


@given(
    st.floats(1e-11, 1e11),
    st.floats(0.51, 1.99),
    st.sampled_from([3, -3, 6, -6, 9, -9, 12, -12]),
)
def test_every_slip_within_the_window_is_found(expected: float, off: float, power: int) -> None:
    assert magnitude_slip(expected * off * 10.0**power, expected) == power
    assert magnitude_slip(expected * off, expected) is None


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(), st.floats())
def test_a_slip_found_explains_the_value(value: float, lower: float, upper: float) -> None:
    power = magnitude_slip(value, (lower, upper))
    if power is not None:
        assert min(abs(lower), abs(upper)) / 2.001 <= abs(value) / 10.0**power <= max(abs(lower), abs(upper)) * 2.001
