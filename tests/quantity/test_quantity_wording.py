"""Values as people read them, and the way back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import (
    bracket_value,
    format_percent,
    format_value,
    format_with_uncertainty,
    parse_display,
    parse_value,
)
from benchcheck.quantity.units import UNITS


@pytest.mark.parametrize(
    ("value", "unit", "resolution", "digits", "text"),
    [
        (4680.0, "ohm", 10.0, None, "4.68 kΩ"),
        (4680.0, "ohm", 1.0, None, "4.680 kΩ"),
        (4680.0, "ohm", None, None, "4.68 kΩ"),
        (999.96, "ohm", 0.1, None, "1.0000 kΩ"),
        (0.532, "V", 0.001, None, "532 mV"),
        (-8.974, "V", 0.01, None, "-8.97 V"),
        (0.0, "V", 0.001, None, "0.000 V"),
        (-0.0004, "V", 0.001, None, "0.000 V"),
        (60e-6, "A", None, None, "60 µA"),
        (218.4e-6, "F", 0.1e-6, None, "218.4 µF"),
        (104.0, "ohm", 10.0, None, "0.10 kΩ"),
        (23.4, "degC", 0.1, None, "23.4 °C"),
        (1e-9, "degC", None, None, "0.000000001 °C"),
        (150.0, "1", None, None, "150"),
        (0.0134, "1", None, 2, "0.013"),
        (1e-4, "1/K", None, None, "0.0001 /K"),
        (4712.3, "ohm", None, 3, "4.71 kΩ"),
        (4700.0, "ohm", None, 3, "4.70 kΩ"),
        (999.9, "ohm", None, 2, "1.0 kΩ"),
        (1e15, "ohm", None, None, "1000 TΩ"),
        (1e5, "V", None, None, "100 kV"),
        (4.7e-12, "F", None, None, "4.7 pF"),
        (math.inf, "ohm", None, None, "inf Ω"),
    ],
)
def test_a_value_is_written_with_its_prefix(
    value: float, unit: str, resolution: float | None, digits: int | None, text: str
) -> None:
    assert format_value(value, unit, resolution, digits) == text


def test_ascii_writes_what_any_terminal_shows() -> None:
    assert format_value(4680.0, "ohm", ascii=True) == "4.68 kohm"
    assert format_value(60e-6, "A", ascii=True) == "60 uA"
    assert format_value(23.0, "degC", ascii=True) == "23 degC"
    assert format_with_uncertainty(60e-6, 1.2e-6, "A", ascii=True) == "60.0 uA ± 1.2 uA"


def test_a_tie_is_rounded_on_the_decimal_digits_to_even() -> None:
    # 2.675 is stored a little low: binary rounding would give 2.67 where the digits say a tie, to even 2.68
    assert format_value(2.675, "V", 0.01) == "2.68 V"
    assert format_value(2.665, "V", 0.01) == "2.66 V"


@pytest.mark.parametrize(
    ("value", "expanded", "unit", "text"),
    [
        (4681.3, 41.2, "ohm", "4.681 kΩ ± 0.041 kΩ"),
        (4681.3, 0.998, "ohm", "4.6813 kΩ ± 0.0010 kΩ"),
        (8.974, 0.0249, "V", "8.974 V ± 0.025 V"),
        (0.0004, 0.012, "V", "0 mV ± 12 mV"),
        (104.0, 520.0, "ohm", "0.10 kΩ ± 0.52 kΩ"),
        (999.996, 0.12, "ohm", "1.00000 kΩ ± 0.00012 kΩ"),
        (150.3, 7.0, "1", "150.3 ± 7.0"),
        (8.974, 0.0, "V", "8.974 V"),
        (8.974, math.inf, "V", "8.974 V"),
        (math.nan, 0.1, "V", "nan V"),
    ],
)
def test_an_uncertainty_has_two_digits_and_the_value_ends_where_it_does(
    value: float, expanded: float, unit: str, text: str
) -> None:
    # GUM (JCGM 100:2008) 7.2.6: at most two significant digits, the estimate rounded to be consistent with it.
    assert format_with_uncertainty(value, expanded, unit) == text


def test_the_worked_examples_of_the_gum_are_written_as_printed() -> None:
    # JCGM 100:2008, 7.2.2 and 7.2.6: m_S = 100.021 47 g with u_c = 0.35 mg; y = 10.057 62 ohm, u_c = 27 mohm
    # becomes 10.058 ohm. Grams are no quantity here: the first figures are taken as volts.
    assert format_with_uncertainty(100.02147, 0.00035, "V") == "100.02147 V ± 0.00035 V"
    assert format_with_uncertainty(10.05762, 0.027, "ohm") == "10.058 Ω ± 0.027 Ω"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.12, "A", "120mA"), (0.0, "A", "0A"), (0.06, "A", "60mA"), (4.5, "V", "4.5V"), (-12.0, "V", "-12V"),
        (4700.0, "ohm", "4.7kohm"), (220e-6, "F", "220uF"), (0.1 + 0.2, "A", "300mA"), (23.0, "degC", "23degC"),
        (20e6, "Hz", "20MHz"), (1000.0, "ohm", "1kohm"), (100.0, "1", "100"),
    ],
)  # fmt: skip
def test_a_bracket_holds_prefix_and_symbol_without_a_space(value: float, unit: str, text: str) -> None:
    assert bracket_value(value, unit) == text


@pytest.mark.parametrize(("fraction", "text"), [(0.0134, "1.34 %"), (0.02, "2 %"), (0.0, "0 %"), (1.5, "150 %"),
                                                (-0.012345, "-1.23 %"), (1e-6, "0.0001 %"), (math.nan, "nan %"),
                                                (12.0, "1200 %")])  # fmt: skip
def test_a_fraction_is_written_as_percent(fraction: float, text: str) -> None:
    assert format_percent(fraction) == text


def test_a_text_has_no_number_to_write() -> None:
    with pytest.raises(QuantityError, match='"text" is not a quantity unit'):
        format_value(1.0, "text")


magnitudes = st.floats(1e-12, 1e12) | st.floats(-1e12, -1e-12) | st.just(0.0)


@given(magnitudes, st.sampled_from(sorted(UNITS)), st.booleans())
def test_what_is_written_is_read_back(value: float, unit: str, in_ascii: bool) -> None:
    read = parse_value(format_value(value, unit, digits=12, ascii=in_ascii), unit)
    assert read == pytest.approx(value, rel=1e-11)


@given(magnitudes, st.sampled_from(sorted(UNITS)))
def test_a_bracket_is_read_back_and_holds_no_sign_pytest_minds(value: float, unit: str) -> None:
    text = bracket_value(value, unit)
    assert parse_value(text, unit) == pytest.approx(value, rel=1e-8)
    assert not set(text) & set(" =,~@:[]")
    assert bracket_value(parse_value(text, unit), unit) == text


@given(st.integers(-99_999, 99_999), st.integers(-9, 3), st.sampled_from(["ohm", "V", "A"]))
def test_a_display_written_with_its_resolution_shows_the_same_digits(counts: int, place: int, unit: str) -> None:
    value, resolution = float(f"{counts}e{place}"), float(f"1e{place}")
    shown = parse_display(format_value(value, unit, resolution), unit)
    assert shown.value == pytest.approx(value, rel=1e-12)
    assert shown.resolution == pytest.approx(resolution, rel=1e-12)


@given(st.floats(-1e9, 1e9), st.floats(1e-9, 1e9))
def test_value_and_uncertainty_end_at_the_same_decimal(value: float, expanded: float) -> None:
    left, _, right = format_with_uncertainty(value, expanded, "V").partition(" ± ")
    value_figures, value_symbol = left.split()
    uncertainty_figures, uncertainty_symbol = right.split()
    assert value_symbol == uncertainty_symbol
    assert len(value_figures.partition(".")[2]) == len(uncertainty_figures.partition(".")[2])
    assert parse_value(right, "V") == pytest.approx(expanded, rel=0.051)
