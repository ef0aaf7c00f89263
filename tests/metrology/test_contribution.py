"""Contributions: constructors, shapes, and refusals that name the contribution."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Contribution, Distribution, coverage_factor, degrees_of_freedom_of

POSITIVE = st.floats(1e-30, 1e30)


@given(POSITIVE, st.sampled_from(["rectangular", "triangular", "U-shaped"]))
def test_limits_over_the_divisor_give_the_standard_uncertainty(half_width: float, shape: str) -> None:
    part = Contribution.from_limits("a", "a", half_width, distribution=Distribution(shape))
    assert part.standard_uncertainty * part.divisor == pytest.approx(half_width, rel=1e-15)
    assert part.figure == pytest.approx(half_width, rel=1e-15)


@given(POSITIVE, st.floats(0, 1))
def test_a_trapezoid_lies_between_triangle_and_rectangle(half_width: float, top: float) -> None:
    # GUM 4.3.9: u**2 = a**2 (1 + top**2) / 6
    part = Contribution.trapezoidal("a", "a", half_width, top)
    assert part.standard_uncertainty == pytest.approx(half_width * math.sqrt((1 + top**2) / 6), rel=1e-14)
    narrow = Contribution.triangular("a", "a", half_width).standard_uncertainty
    wide = Contribution.from_limits("a", "a", half_width).standard_uncertainty
    assert narrow * (1 - 1e-12) <= part.standard_uncertainty <= wide * (1 + 1e-12)


def test_an_expanded_uncertainty_is_divided_by_its_factor_or_by_that_of_its_level() -> None:
    by_factor = Contribution.from_expanded("a", "a", 6.0, coverage_factor=3.0)
    by_level = Contribution.from_expanded("a", "a", 6.0, level=0.95, degrees_of_freedom=9)
    assert by_factor.standard_uncertainty == 2.0
    assert by_level.standard_uncertainty == pytest.approx(6.0 / coverage_factor(0.95, 9), rel=1e-15)
    assert (by_level.divisor, by_level.degrees_of_freedom) == (coverage_factor(0.95, 9), 9)


def test_a_bare_standard_uncertainty_gets_the_divisor_and_half_width_of_its_shape() -> None:
    part = Contribution("a", "a", 1.0, Distribution.U_SHAPED)
    assert part.divisor == math.sqrt(2)
    assert part.half_width == pytest.approx(math.sqrt(2), rel=1e-15)


def test_a_contribution_rebuilt_from_its_fields_is_equal() -> None:
    for part in (
        Contribution.trapezoidal("a", "a", 3.0, 0.4),
        Contribution.from_limits("a", "a", 1e-30, sensitivity=-2.0),
        Contribution.from_readings("a", "a", [1.0, 2.0, 4.0]),
        Contribution.from_limits("a", "a", 0.0),
        Contribution.trapezoidal("a", "a", 0.0, 0.5),
    ):
        fields = {each.name: getattr(part, each.name) for each in dataclasses.fields(part)}
        assert Contribution(**fields) == part


def test_a_bare_trapezoid_gets_its_divisor_from_its_base() -> None:
    assert Contribution("a", "a", 0.5, Distribution.TRAPEZOIDAL, 1.0).divisor == 2.0


def test_bounds_and_resolution_are_rectangular() -> None:
    bounds = Contribution.from_bounds("t", "temperature", 96.0, 104.0)
    step = Contribution.from_resolution("d", "display", 1.0)
    assert (bounds.half_width, bounds.distribution) == (4.0, Distribution.RECTANGULAR)
    assert (step.half_width, step.origin) == (0.5, "half a digit (GUM F.2.2.1)")


def test_type_a_says_where_it_comes_from_unless_told() -> None:
    assert Contribution.from_readings("r", "r", [1.0, 2.0]).origin == "2 readings"
    assert Contribution.from_readings("r", "r", [1.0, 2.0], origin="last week").origin == "last week"


def test_unreliable_limits_have_degrees_of_freedom() -> None:
    # GUM G.4.2: a quarter unreliable gives 8
    part = Contribution.from_limits("a", "a", 1.0, relative_unreliability=0.25)
    assert part.degrees_of_freedom == 8.0
    assert degrees_of_freedom_of(0.0) == math.inf


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "negative": (lambda: Contribution("dmm", "meter", -1.0), "standard uncertainty -1.0"),
    "not a number": (lambda: Contribution("dmm", "meter", math.nan), "standard uncertainty nan"),
    "infinite": (lambda: Contribution("dmm", "meter", math.inf), "standard uncertainty inf"),
    "sensitivity": (lambda: Contribution("dmm", "meter", 1.0, sensitivity=math.nan), "sensitivity nan"),
    "dof": (lambda: Contribution("dmm", "meter", 1.0, degrees_of_freedom=0.5), "degrees of freedom 0.5"),
    "dof nan": (lambda: Contribution("dmm", "meter", 1.0, degrees_of_freedom=math.nan), "degrees of freedom nan"),
    "divisor": (lambda: Contribution("dmm", "meter", 1.0, divisor=-2.0), "divisor -2.0"),
    "half-width": (
        lambda: Contribution("dmm", "meter", 1.0, Distribution.RECTANGULAR, half_width=-1.0),
        "half-width -1.0",
    ),
    "disagreeing": (
        lambda: Contribution("dmm", "meter", 1.0, Distribution.RECTANGULAR, half_width=1.0),
        "half-width 1 with standard uncertainty 1.0: 1 / 1.732",
    ),
    "point and spread": (
        lambda: Contribution("dmm", "meter", 1.0, Distribution.RECTANGULAR, half_width=0.0),
        "half-width 0 with standard uncertainty 1.0",
    ),
    "trapezoid": (lambda: Contribution("dmm", "meter", 1.0, Distribution.TRAPEZOIDAL), "half-width None"),
    "trapezoid too wide": (
        lambda: Contribution("dmm", "meter", 1.0, Distribution.TRAPEZOIDAL, half_width=1.0),
        "half-width 1 with standard uncertainty 1.0",
    ),
    "top": (lambda: Contribution.trapezoidal("dmm", "meter", 1.0, 1.5), "top 1.5: a ratio from 0"),
    "limits": (lambda: Contribution.from_limits("dmm", "meter", -1.0), "half-width -1.0"),
    "limits nan": (lambda: Contribution.from_limits("dmm", "meter", math.nan), "half-width nan"),
    "normal limits": (
        lambda: Contribution.from_limits("dmm", "meter", 1.0, distribution=Distribution.NORMAL),
        "limits do not make a normal distribution",
    ),
    "both dof": (
        lambda: Contribution.from_limits("dmm", "meter", 1.0, degrees_of_freedom=4, relative_unreliability=0.1),
        "state either degrees of freedom or a relative unreliability",
    ),
    "unreliability": (
        lambda: Contribution.from_limits("dmm", "meter", 1.0, relative_unreliability=0.9),
        "relative unreliability 0.9",
    ),
    "bounds": (lambda: Contribution.from_bounds("dmm", "meter", 2.0, 1.0), "lower bound 2.0 lies above"),
    "neither": (
        lambda: Contribution.from_expanded("dmm", "meter", 1.0),
        "state either the coverage factor or the level",
    ),
    "both": (
        lambda: Contribution.from_expanded("dmm", "meter", 1.0, coverage_factor=2, level=0.95),
        "state either the coverage factor or the level",
    ),
    "factor": (lambda: Contribution.from_expanded("dmm", "meter", 1.0, coverage_factor=0.0), "coverage factor 0.0"),
    "level": (lambda: Contribution.from_expanded("dmm", "meter", 1.0, level=95), "level 95: a probability"),
    "level dof": (
        lambda: Contribution.from_expanded("dmm", "meter", 1.0, level=0.95, degrees_of_freedom=0),
        "degrees of freedom 0",
    ),
    "one reading": (
        lambda: Contribution.from_readings("dmm", "meter", [1.0]),
        r"1 reading\(s\) show no repeatability: 2 or more are needed",
    ),
    "reading": (lambda: Contribution.from_readings("dmm", "meter", [1.0, math.inf]), "reading 2 is inf"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_refusal_names_the_contribution_and_the_figure(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape('contribution "dmm" (meter): ') + message):
        make()


def test_a_contribution_needs_an_id() -> None:
    with pytest.raises(MetrologyError, match='contribution "meter" has no id'):
        Contribution("", "meter", 1.0)


def test_metrology_errors_are_value_errors() -> None:
    with pytest.raises(ValueError, match="standard uncertainty"):
        Contribution("a", "a", -1.0)
