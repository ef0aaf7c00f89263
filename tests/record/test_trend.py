"""Lines through readings: certified regressions, a textbook's prediction interval, and what budgets add."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Budget, Contribution
from benchcheck.record.trend import budget_of_sum, fit_line

# NIST StRD, linear regression, Norris.dat (level low): calibration of ozone monitors, y then x.
NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0
559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1
998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""
# Montgomery & Runger, Applied Statistics and Probability for Engineers, example 11-1 and following: oxygen
# purity (%) against hydrocarbon level (%). Data from memory; the printed estimates below confirm them.
OXYGEN_X = (
    0.99, 1.02, 1.15, 1.29, 1.46, 1.36, 0.87, 1.23, 1.55, 1.40, 1.19, 1.15, 0.98, 1.01, 1.11, 1.20, 1.26, 1.32,
    1.43, 0.95,
)  # fmt: skip
OXYGEN_Y = (
    90.01, 89.05, 91.43, 93.74, 96.73, 94.45, 87.59, 91.77, 99.42, 93.65, 93.54, 92.52, 90.56, 89.54, 89.85,
    90.39, 93.25, 93.41, 94.98, 87.33,
)  # fmt: skip


def test_the_certified_line_of_norris() -> None:
    """Certified: slope, intercept, residual standard deviation and the slope's standard deviation."""
    numbers = [float(word) for word in NORRIS.split()]
    xs = numbers[1::2]
    line = fit_line(xs, numbers[::2])
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.at(0.0) == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-12)
    assert line.degrees_of_freedom == 34
    half = line.slope_half_width(0.95)
    t_34 = 2.032244509  # Student's t, 34 degrees of freedom, two-sided 95 %
    assert half / t_34 == pytest.approx(0.429796848199937e-03, rel=1e-8)


def test_the_textbooks_prediction_interval() -> None:
    """Printed: slope 14.947 (12.181 to 17.713), intercept 74.283, variance 1.18, next reading at 1.00."""
    line = fit_line(OXYGEN_X, OXYGEN_Y)
    assert line.slope == pytest.approx(14.947, abs=5e-4)
    assert line.at(0.0) == pytest.approx(74.283, abs=5e-4)
    assert line.scatter**2 == pytest.approx(1.18, abs=5e-3)
    assert line.slope - line.slope_half_width(0.95) == pytest.approx(12.181, abs=2e-3)
    assert line.slope + line.slope_half_width(0.95) == pytest.approx(17.713, abs=2e-3)
    forecast = line.forecast(1.00, 0.95)
    assert (round(forecast.lower, 2), round(forecast.upper, 2)) == (86.83, 91.63)


@given(
    st.lists(st.tuples(st.integers(-50, 50), st.integers(-1000, 1000)), min_size=3, max_size=8),
    st.integers(-60, 60),
)
def test_the_coefficients_make_the_line_out_of_the_readings(points: list[tuple[int, int]], at: int) -> None:
    xs, ys = [float(x) for x, _ in points], [float(y) for _, y in points]
    if len(set(xs)) < 2:
        with pytest.raises(MetrologyError, match="different times are needed"):
            fit_line(xs, ys)
        return
    line = fit_line(xs, ys)
    made = sum(c * y for c, y in zip(line.coefficients_at(at), ys, strict=True))
    assert made == pytest.approx(line.at(at), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("xs", "words"),
    [([0.0, 1.0], "three or more"), ([0.0, 1.0, float("nan")], "finite"), ([2.0, 2.0, 2.0], "of one moment")],
)
def test_a_line_through_too_little_is_refused(xs: list[float], words: str) -> None:
    with pytest.raises(MetrologyError, match=words):
        fit_line(xs, [1.0] * len(xs))


def test_what_all_readings_share_cancels_out_of_the_slope_and_not_out_of_the_level() -> None:
    gain = Contribution.from_limits("dmm.offset", "meter offset", 3.0)
    budgets = [Budget(value, "ohm", (gain,)) for value in (100.0, 101.0, 102.0)]
    line = fit_line([0.0, 1.0, 2.0], [one.value for one in budgets])
    assert budget_of_sum(budgets, line.weights).combined_standard_uncertainty == pytest.approx(0.0, abs=1e-12)
    level = budget_of_sum(budgets, line.coefficients_at(5.0))
    assert level.combined_standard_uncertainty == pytest.approx(gain.standard_uncertainty)
    assert level.value == pytest.approx(105.0)
