"""Straight lines through readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import correlation_coefficient, difference, straight_line

POINTS = st.lists(st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=3, max_size=12)


@given(POINTS, st.floats(-50, 50))
def test_a_line_is_that_of_the_normal_equations(points: list[tuple[float, float]], reference: float) -> None:
    x, y = (list(each) for each in zip(*points, strict=True))
    if max(x) - min(x) < 1.0:
        return
    line = straight_line(x, y, reference=reference)
    design = np.column_stack([np.ones(len(x)), np.array(x) - reference])
    solution, *_ = np.linalg.lstsq(design, np.array(y), rcond=None)
    assert line.intercept.value == pytest.approx(solution[0], rel=1e-6, abs=1e-8)
    assert line.slope.value == pytest.approx(solution[1], rel=1e-6, abs=1e-8)
    inverse = np.linalg.inv(design.T @ design)
    rest = np.array(y) - design @ solution
    variance = float(rest @ rest) / (len(x) - 2)
    assert line.residual_deviation == pytest.approx(math.sqrt(variance), rel=1e-6, abs=1e-9)
    assert line.intercept.combined_standard_uncertainty == pytest.approx(
        math.sqrt(variance * inverse[0, 0]), rel=1e-6, abs=1e-9
    )
    assert line.correlation == pytest.approx(
        float(inverse[0, 1] / math.sqrt(inverse[0, 0] * inverse[1, 1])), rel=1e-6, abs=1e-9
    )
    at = line.at(7.0).combined_standard_uncertainty
    row = np.array([1.0, 7.0 - reference])
    assert at == pytest.approx(math.sqrt(variance * float(row @ inverse @ row)), rel=1e-6, abs=1e-9)


def test_a_line_does_not_depend_on_its_reference() -> None:
    x, y = [1.0, 2.0, 3.0, 4.5], [1.1, 1.9, 3.2, 4.4]
    near, far = straight_line(x, y, reference=2.0), straight_line(x, y, reference=-1000.0)
    assert near.at(5.0).value == pytest.approx(far.at(5.0).value, rel=1e-12)
    assert near.at(5.0).combined_standard_uncertainty == pytest.approx(
        far.at(5.0).combined_standard_uncertainty, rel=1e-7
    )
    assert near.at(5.0).effective_degrees_of_freedom == pytest.approx(2.0, rel=1e-12)


def test_a_difference_along_a_line_has_the_uncertainty_of_its_slope() -> None:
    line = straight_line([0.0, 1.0, 2.0, 3.0], [0.0, 1.2, 1.9, 3.1], quantity_unit="V")
    step = difference(line.at(9.0), line.at(4.0))
    assert step.value == pytest.approx(5 * line.slope.value, rel=1e-12)
    assert step.combined_standard_uncertainty == pytest.approx(5 * line.slope.combined_standard_uncertainty, rel=1e-7)
    assert correlation_coefficient(line.intercept, line.slope) == pytest.approx(line.correlation, rel=1e-12)


def test_points_on_a_line_leave_nothing_uncertain() -> None:
    line = straight_line([-1.0, 0.0, 1.0], [0.1, 0.3, 0.5])
    assert (line.slope.value, line.residual_deviation, line.correlation) == (0.2, 0.0, 0.0)


def test_norris_of_the_statistical_reference_data_sets() -> None:
    # NIST StRD, Norris.dat (36 points), certified to 15 digits; data from memory, they reproduce every digit
    y = [
        *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3),
        *(448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6),
        *(228.9, 668.4, 449.2, 0.2),
    ]
    x = [
        *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0),
        *(447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3),
        *(229.2, 669.1, 448.9, 0.5),
    ]
    line = straight_line(x, y)
    assert line.intercept.value == pytest.approx(-0.262323073774029, rel=1e-13)
    assert line.slope.value == pytest.approx(1.00211681802045, rel=1e-14)
    assert line.intercept.combined_standard_uncertainty == pytest.approx(0.232818234301152, rel=1e-13)
    assert line.slope.combined_standard_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-13)
    assert line.residual_deviation == pytest.approx(0.884796396144373, rel=1e-13)


def test_impossible_lines_are_refused() -> None:
    with pytest.raises(MetrologyError, match="esr: 2 values of x and 2 of y: 3 or more pairs"):
        straight_line([1.0, 2.0], [1.0, 2.0], name="esr")
    with pytest.raises(MetrologyError, match="line: 3 values of x and 4 of y"):
        straight_line([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0])
    with pytest.raises(MetrologyError, match=r"all x are 1\.0: a line needs x that differ"):
        straight_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
    with pytest.raises(MetrologyError, match="line: x: reading 2 is nan"):
        straight_line([1.0, math.nan, 1.0], [1.0, 2.0, 3.0])
