"""The quick wording says what the careful one says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.quantity import brief_value, format_value


@given(st.floats(1e-11, 1e11) | st.floats(-1e11, -1e-11), st.sampled_from(["ohm", "V", "A", "F"]), st.integers(2, 6))
def test_the_quick_wording_agrees_with_the_careful_one(value: float, unit: str, digits: int) -> None:
    rounded = float(f"{value:.{digits - 1}e}")
    assert brief_value(value, unit, digits) == format_value(rounded, unit, ascii=True)


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0 ohm"), (999.96, "1 kohm"), (-0.05, "-50 mohm"), (float("inf"), "inf ohm")]
)
def test_zero_carries_and_infinity_are_said(value: float, said: str) -> None:
    assert brief_value(value, "ohm") == said
