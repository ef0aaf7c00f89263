"""Student's t for sums, against scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchcheck.metrology.student import student_cdf, student_peak


#: scipy 1.17 gives 0.5 + 4.7e-9 at 1e-8 where 1 degree of freedom has 0.5 + 3.2e-9: no peer that close to 0.
@given(
    st.one_of(st.integers(1, 14), st.floats(1.0, 1e6)),
    st.floats(-1e4, 1e4).filter(lambda z: z == 0.0 or abs(z) >= 1e-5),
)
def test_the_distribution_function_is_that_of_scipy(dof: float, z: float) -> None:
    assert student_cdf(dof)(z) == pytest.approx(float(stats.t.cdf(z, dof)), rel=1e-10)


@given(st.floats(-1e-5, 1e-5))
def test_close_to_the_middle_one_degree_of_freedom_is_the_arc_tangent(z: float) -> None:
    """Closed form of the Cauchy distribution: 1/2 + atan(z)/pi (any handbook of statistics)."""
    assert student_cdf(1)(z) == pytest.approx(0.5 + math.atan(z) / math.pi, rel=1e-15)


@pytest.mark.parametrize("dof", range(1, 13))
def test_elementary_forms_are_exact(dof: int) -> None:
    for z in (-3.0, -1.0, -0.1, 0.0, 0.5, 2.0, 40.0):
        assert student_cdf(dof)(z) == pytest.approx(float(stats.t.cdf(z, dof)), rel=1e-13)


@pytest.mark.parametrize("dof", [1, 1.5, 4, 99.0, 101.0, 1e4, 1e12])
def test_the_density_at_zero_is_that_of_scipy(dof: float) -> None:
    assert student_peak(dof) == pytest.approx(float(stats.t.pdf(0.0, dof)), rel=1e-11)
