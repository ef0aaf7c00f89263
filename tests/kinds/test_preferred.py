"""IEC 60063 without tables: the series a value belongs to, against the eseries package."""

from __future__ import annotations

import eseries
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.kinds.preferred import E24, E96, E192, usual_tolerance

SERIES = {"E24": 0.05, "E96": 0.01, "E192": 0.005}


@pytest.mark.parametrize(("name", "figures"), [("E24", E24), ("E96", E96), ("E192", E192)])
def test_the_series_are_the_packages(name: str, figures: tuple[int, ...]) -> None:
    """IEC 60063 through eseries 1.2.1, which has 920 where the formula gives 919."""
    known = eseries.series(eseries.ESeries[name])
    assert [figure / 100 for figure in figures] == pytest.approx([value / known[0] for value in known], rel=1e-9)


@given(st.sampled_from(list(eseries.series(eseries.ESeries.E192))), st.integers(-4, 6))
def test_a_value_of_any_decade_finds_the_widest_series_it_is_in(figure: float, decade: int) -> None:
    found = usual_tolerance(float(f"{figure}e{decade}"))
    expected = next(name for name in SERIES if figure in eseries.series(eseries.ESeries[name]) or name == "E192")
    scaled = [value * 10 for value in eseries.series(eseries.ESeries.E24)]
    if figure in scaled:
        expected = "E24"
    assert found == (SERIES[expected], expected)


@pytest.mark.parametrize("value", [5000.0, 123.4, 4701.0, 0.0, -4700.0])
def test_a_value_of_no_series_has_no_usual_tolerance(value: float) -> None:
    assert usual_tolerance(value) is None
