"""Displays: numbers with the worth of their last digit, the forms of overload, and the shapes of a reading.

Forms of overload and the words for shapes are common practice among repairers; no published source.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import Display, DisplayState, parse_display
from benchcheck.quantity.units import UNITS

Check = Callable[[QuantityError], None]

NUMBERS = [
    ("0.532", "V", 0.532, 0.001),
    ("532m", "V", 0.532, 0.001),
    ("532 mV", "V", 0.532, 0.001),
    ("0,532", "V", 0.532, 0.001),
    ("-0.53", "V", -0.53, 0.01),
    ("+0.53", "V", 0.53, 0.01),
    ("4.68k", "ohm", 4680.0, 10.0),
    ("4k68", "ohm", 4680.0, 10.0),
    ("4.68 kΩ", "ohm", 4680.0, 10.0),
    ("4.680 kΩ", "ohm", 4680.0, 1.0),
    ("4680", "ohm", 4680.0, 1.0),
    ("4.68e3", "ohm", 4680.0, 10.0),
    ("0.000", "V", 0.0, 0.001),
    ("-0.00", "V", 0.0, 0.01),
    ("1", "ohm", 1.0, 1.0),
    ("1.0", "ohm", 1.0, 0.1),
    ("1,000", "V", 1.0, 0.001),
    ("5.", "ohm", 5.0, 1.0),
    ("218.4 uF", "F", 218.4e-6, 0.1e-6),
    ("18u", "A", 18e-6, 1e-6),
    ("23.4", "degC", 23.4, 0.1),
    ("1.5 min", "s", 90.0, 6.0),
]


@pytest.mark.parametrize(("text", "unit", "value", "resolution"), NUMBERS)
def test_a_number_keeps_the_worth_of_its_last_digit(text: str, unit: str, value: float, resolution: float) -> None:
    display = parse_display(text, unit)
    assert display.state is DisplayState.VALUE
    assert display.value == pytest.approx(value, rel=1e-15)
    assert display.resolution == pytest.approx(resolution, rel=1e-15)


def test_minus_zero_is_zero() -> None:
    assert math.copysign(1, parse_display("-0.00", "V").value or 0.0) == 1


@pytest.mark.parametrize(
    "text",
    [
        "OL", "0L", "ol", "O.L", "0.L", "OL.", ".OL", "0 L", "1 .", "1.", "-1 .", "1,", "----", "- - -", "--",
        "————", "OPEN", "open", "-OL", "+OL", "OL MΩ", "0L kohm", "O.L MΩ", "OLΩ",
        "OFL", "OVLD", "-.--", ".---", "Over", "overload",
    ],
)  # fmt: skip
def test_every_form_of_overload_is_read(text: str) -> None:
    assert parse_display(f" {text} ", "ohm") == Display(text, DisplayState.OVERLOAD)


def test_a_blanked_display_with_a_unit_is_asked_about() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_display("1. MΩ", "ohm")
    assert str(refused.value) == '"1. MΩ" could be an overload or the number one; write "OL" or "1.0 MΩ"'
    assert parse_display("1.0 MΩ", "ohm").value == 1e6


@pytest.mark.parametrize(
    ("text", "state", "value", "resolution", "to_overload"),
    [
        ("climbs", DisplayState.CLIMBS, None, None, False),
        ("climbs to 2.1M", DisplayState.CLIMBS, 2.1e6, 1e5, False),
        ("Climbing to 2.1 MΩ", DisplayState.CLIMBS, 2.1e6, 1e5, False),
        ("climbs past 2.1M", DisplayState.CLIMBS, 2.1e6, 1e5, False),
        ("rises 850", DisplayState.CLIMBS, 850.0, 1.0, False),
        ("climbs to OL", DisplayState.CLIMBS, None, None, True),
        ("climbs to 1 .", DisplayState.CLIMBS, None, None, True),
        ("falls to 18", DisplayState.FALLS, 18.0, 1.0, False),
        ("falling", DisplayState.FALLS, None, None, False),
        ("drops to 0L", DisplayState.FALLS, None, None, True),
        ("jumps", DisplayState.JUMPS, None, None, False),
        ("beep", DisplayState.BEEP, None, None, False),
        ("no beep", DisplayState.NO_BEEP, None, None, False),
        ("No-Beep", DisplayState.NO_BEEP, None, None, False),
        ("not reachable", DisplayState.NOT_REACHABLE, None, None, False),
        ("not present", DisplayState.NOT_PRESENT, None, None, False),
    ],
)
def test_a_reading_has_a_shape(
    text: str, state: DisplayState, value: float | None, resolution: float | None, to_overload: bool
) -> None:
    assert parse_display(text, "ohm") == Display(text, state, value, resolution, to_overload)


def test_a_current_falls_to_microamps() -> None:
    assert parse_display("falls to 18u", "A").value == 18e-6


def test_answers_belong_to_visual_checks_and_plain_numbers() -> None:
    for unit in ("yes/no", "text", "1"):
        assert parse_display("Yes", unit) == Display("Yes", DisplayState.YES)
        assert parse_display("not ok", unit) == Display("not ok", DisplayState.NO)
    with pytest.raises(QuantityError, match=r'"yes" is not what a meter shows; write .*, or "OL"'):
        parse_display("yes", "ohm")
    with pytest.raises(QuantityError, match='"maybe" is not an answer here; write "yes" or "no"'):
        parse_display("maybe", "yes/no")


def test_a_text_answer_is_kept_as_typed() -> None:
    assert parse_display(" Vantor µ-7 ", "text") == Display("Vantor µ-7", DisplayState.TEXT)
    assert parse_display("OL", "text").state is DisplayState.TEXT
    assert parse_display("Y", "text").state is DisplayState.TEXT
    assert parse_display("Beep", "text").state is DisplayState.TEXT
    assert parse_display("not present", "text").state is DisplayState.NOT_PRESENT
    for text in ("", "  ", "two\nlines", "\u202eback", "x" * 201):
        with pytest.raises(QuantityError, match="write 1 to 200 printable signs"):
            parse_display(text, "text")


def test_a_buzzer_sounds_for_resistance_and_diodes_only() -> None:
    assert parse_display("beep", "V").state is DisplayState.BEEP
    with pytest.raises(QuantityError, match='"beep" is no reading of a capacitance'):
        parse_display("beep", "F")


@pytest.mark.parametrize(
    "text",
    ["nan", "inf", "-inf", "0x1F", "1_000", "1.234,5", "1,234,567", "9.9E37", "1e999", "4.68 V", "-", "", "climbs to",
     "climbs to nan", "falls to 5 V", "two", "no\nbeep", "OL OL", "OL V", "4.68\u202e", "4.68k" * 20],
)  # fmt: skip
def test_what_no_meter_shows_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_display(text, "ohm")


def test_the_refusal_of_a_far_too_large_number_says_so() -> None:
    with pytest.raises(QuantityError, match=r'"9\.9E37" lies beyond'):
        parse_display("9.9E37", "ohm")


@pytest.mark.parametrize(
    "text", ["1." + " " * 200_000 + "5", "-" * 200_000, "climbs to " + " " * 200_000, "OL" * 100_000]
)
def test_a_text_of_any_length_is_refused_at_once(text: str) -> None:
    # a pattern that went back and forth over 200,000 signs would not end within a day
    with pytest.raises(QuantityError):
        parse_display(text, "ohm")


@given(
    st.text(max_size=60)
    | st.text(alphabet="0123456789.,+-eEkKmMuOoLl jclimbsto%Ω", max_size=24)
    | st.builds("climbs to {}".format, st.text(max_size=20)),
    st.sampled_from([*sorted(UNITS), "text", "yes/no"]),
)
def test_a_display_is_whole_or_refused(check_message: Check, text: str, unit: str) -> None:
    try:
        display = parse_display(text, unit)
    except QuantityError as refused:
        check_message(refused)
        return
    assert display.text == text.strip()
    assert (display.value is None) == (display.resolution is None)
    if display.value is not None and display.resolution is not None:
        assert display.state in (DisplayState.VALUE, DisplayState.CLIMBS, DisplayState.FALLS)
        assert math.isfinite(display.value)
        assert display.resolution > 0
    else:
        assert display.state is not DisplayState.VALUE


@given(st.integers(0, 99_999), st.integers(0, 4))
def test_value_and_resolution_are_those_of_the_digits(counts: int, decimals: int) -> None:
    text = f"{counts:0{decimals + 1}d}"
    text = f"{text[:-decimals]}.{text[-decimals:]}" if decimals else text
    display = parse_display(f"{text}k", "ohm")
    assert display.value == float(f"{counts}e{3 - decimals}")
    assert display.resolution == float(f"1e{3 - decimals}")
