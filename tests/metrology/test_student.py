"""Student's t for sums, against scipy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchcheck.metrology.student import student_cdf, student_peak


@given(st.one_of(st.integers(1, 14), st.floats(1.0, 1e6)), st.floats(-1e4, 1e4))
def test_the_distribution_function_is_that_of_scipy(dof: float, z: float) -> None:
    assert student_cdf(dof)(z) == pytest.approx(float(stats.t.cdf(z, dof)), rel=1e-10)


@pytest.mark.parametrize("dof", range(1, 13))
def test_elementary_forms_are_exact(dof: int) -> None:
    for z in (-3.0, -1.0, -0.1, 0.0, 0.5, 2.0, 40.0):
        assert student_cdf(dof)(z) == pytest.approx(float(stats.t.cdf(z, dof)), rel=1e-13)


@pytest.mark.parametrize("dof", [1, 1.5, 4, 99.0, 101.0, 1e4, 1e12])
def test_the_density_at_zero_is_that_of_scipy(dof: float) -> None:
    assert student_peak(dof) == pytest.approx(float(stats.t.pdf(0.0, dof)), rel=1e-11)
