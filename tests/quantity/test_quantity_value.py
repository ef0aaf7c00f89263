"""Values as typed: IEC 60062 and SI forms, against published examples, and what is refused with which words."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import QuantityUnit, parse_value
from benchcheck.quantity.units import PREFIX_EXPONENTS, UNITS

Check = Callable[[QuantityError], None]

# The letter at the decimal point: RKM code article citing IEC 60062, table of resistance examples
# (en.wikipedia.org/wiki/IEC/EN_60062), and its letters L R K M G (probsee.com/p/RKM_code).
RESISTANCES = {
    "R47": 0.47, "4R7": 4.7, "470R": 470.0, "4K7": 4700.0, "47K": 47000.0, "47K3": 47300.0, "470K": 470000.0,
    "4M7": 4700000.0, "R300": 0.3, "5L0": 0.005, "47L": 0.047, "1G0": 1e9,
}  # fmt: skip
# Same article (10p, 4n7, 1u0) and the package rkm_codes (p47, 4p7, 100n, 2m2).
CAPACITANCES = {
    "p47": 0.47e-12, "4p7": 4.7e-12, "10p": 1e-11, "100n": 1e-7, "4n7": 4.7e-9, "1u0": 1e-6, "2m2": 2.2e-3,
    "1µ0": 1e-6, "1F0": 1.0,
}  # fmt: skip
# Arithmetic only: what people type beside the letters of the standard.
TYPED = [
    ("4.7 kohm", "ohm", 4700.0),
    ("4k7", "ohm", 4700.0),
    ("4.7K", "ohm", 4700.0),
    ("4.7 k", "ohm", 4700.0),
    ("4k7 ohm", "ohm", 4700.0),
    ("4k7Ω", "ohm", 4700.0),
    ("0.2 ohm", "ohm", 0.2),
    ("60 mohm", "ohm", 0.06),
    ("60 mOhm", "ohm", 0.06),
    ("2.2 MΩ", "ohm", 2.2e6),
    ("2.2 Mohm", "ohm", 2.2e6),
    ("2.2 M\u2126", "ohm", 2.2e6),
    ("2.2 Megohms", "ohm", 2.2e6),
    ("2.2 kilohms", "ohm", 2200.0),
    ("100 ohms", "ohm", 100.0),
    ("4700", "ohm", 4700.0),
    ("1e3 ohm", "ohm", 1000.0),
    ("1.5E-3", "ohm", 0.0015),
    ("4,7 kohm", "ohm", 4700.0),
    (".5 ohm", "ohm", 0.5),
    ("5. ohm", "ohm", 5.0),
    ("532 mV", "V", 0.532),
    ("-5 V", "V", -5.0),
    ("\u22125 V", "V", -5.0),
    ("+5 V", "V", 5.0),
    ("5V1", "V", 5.1),
    ("9.0 volts", "V", 9.0),
    ("60 uA", "A", 60e-6),
    ("60 µA", "A", 60e-6),
    ("60 \u03bcA", "A", 60e-6),
    ("60 microamps", "A", 60e-6),
    ("45 mA", "A", 0.045),
    ("220 uF", "F", 220e-6),
    ("220UF", "F", 220e-6),
    ("10 pF", "F", 10e-12),
    ("22 uH", "H", 22e-6),
    ("4u7", "H", 4.7e-6),
    ("23 degC", "degC", 23.0),
    ("23 °C", "degC", 23.0),
    ("23\u00a0℃", "degC", 23.0),
    ("23 C", "degC", 23.0),
    ("-10 degrees Celsius", "degC", -10.0),
    ("20 ms", "s", 0.02),
    ("10 min", "s", 600.0),
    ("2 h", "s", 7200.0),
    ("20 MHz", "Hz", 20e6),
    ("100 kHz", "Hz", 100e3),
    ("500 mW", "W", 0.5),
    ("2 %", "1", 0.02),
    ("150", "1", 150.0),
    ("40 ppm", "1", 40e-6),
    ("100 ppm/K", "1/K", 100e-6),
    ("100 ppm/°C", "1/K", 100e-6),
]


@pytest.mark.parametrize(("text", "value_ohm"), RESISTANCES.items())
def test_the_letter_stands_at_the_decimal_point_of_a_resistance(text: str, value_ohm: float) -> None:
    assert parse_value(text, QuantityUnit.OHM) == value_ohm


@pytest.mark.parametrize(("text", "value_farad"), CAPACITANCES.items())
def test_the_letter_stands_at_the_decimal_point_of_a_capacitance(text: str, value_farad: float) -> None:
    assert parse_value(text, "F") == value_farad


@pytest.mark.parametrize(("text", "quantity_unit", "value"), TYPED)
def test_what_people_type_is_read(text: str, quantity_unit: str, value: float) -> None:
    assert parse_value(text, quantity_unit) == pytest.approx(value, rel=1e-15)
    assert parse_value(f"  {text} ", quantity_unit) == pytest.approx(value, rel=1e-15)


def test_small_m_is_milli_and_capital_m_is_mega() -> None:
    assert parse_value("4.7m", "ohm") == 0.0047
    assert parse_value("4.7M", "ohm") == 4.7e6
    assert parse_value("4m7", "ohm") == 0.0047
    assert parse_value("4M7", "ohm") == 4.7e6


def test_a_comma_is_always_a_decimal_comma() -> None:
    assert parse_value("1,000", "ohm") == 1.0
    assert parse_value("1,000 k", "ohm") == 1000.0


REFUSED = [
    ("5 V", "ohm", '"5 V" is in volts, and a resistance is wanted; write "4.7 kohm", "4k7" or "47R"'),
    ("5V1", "ohm", '"5V1" is in volts, and a resistance is wanted; write "4.7 kohm", "4k7" or "47R"'),
    ("5 %", "ohm", '"5 %" is a ratio, and a resistance is wanted; write "4.7 kohm", "4k7" or "47R"'),
    (
        "1M",
        "F",
        (
            '"1M" has "M" for mega, which a capacitance does not take here ("m" is milli); '
            'write "220 uF", "4n7" or "10 pF"'
        ),
    ),
    (
        "532 MV",
        "V",
        (
            '"532 MV" has "M" for mega, which a voltage does not take here ("m" is milli); '
            'write "5 V", "532 mV" or "5V1"'
        ),
    ),
    (
        "1 mHz",
        "Hz",
        '"1 mHz" has "m" for milli, which a frequency does not take here ("M" is mega); write "120 Hz" or "100 kHz"',
    ),
    (
        "4K7",
        "F",
        '"4K7" has "K" for kilo, which a capacitance does not take here; write "220 uF", "4n7" or "10 pF"',
    ),
    ("", "V", '"" says nothing, and a voltage is wanted; write "5 V", "532 mV" or "5V1"'),
    ("   ", "V", '"" says nothing, and a voltage is wanted; write "5 V", "532 mV" or "5V1"'),
    ("NaN", "V", '"NaN" is not a finite number; write "5 V", "532 mV" or "5V1"'),
    ("-inf V", "V", '"-inf V" is not a finite number; write "5 V", "532 mV" or "5V1"'),
    ("infinity", "V", '"infinity" is not a finite number; write "5 V", "532 mV" or "5V1"'),
    (
        "1e16 V",
        "V",
        (
            '"1e16 V" lies beyond 1e-18 to 1e+15 in SI units, where nothing here is measured; '
            'write "5 V", "532 mV" or "5V1"'
        ),
    ),
    ("1e-19", "V", None),
    ("0e99", "V", None),
    (
        "1,234.5",
        "V",
        (
            '"1,234.5" groups its digits; one decimal point or comma is read, and nothing between thousands; '
            'write "5 V", "532 mV" or "5V1"'
        ),
    ),
    ("1.234,5", "V", None),
    ("1 234", "V", None),
    ("1'234", "V", None),
    ("1_234", "V", None),
    (
        "4K7J",
        "ohm",
        '"4K7J" carries the tolerance letter "J", which belongs under tolerance; write "4.7 kohm", "4k7" or "47R"',
    ),
    ("4R7", "H", '"4R7" could count microhenries or ohms; write "22 uH" or "4u7"'),
    (
        "12 VDC",
        "V",
        '"12 VDC" adds "DC", which the check says and the unit does not; write "5 V", "532 mV" or "5V1"',
    ),
    ("5m", "s", '"5m" has "m" and no unit; write "20 ms", "1.5 s" or "10 min"'),
    (
        "10 MFD",
        "F",
        '"10 MFD" is an old way of writing microfarads (MFD) or picofarads (MMFD); write "220 uF", "4n7" or "10 pF"',
    ),
    (
        "73 °F",
        "degC",
        '"73 °F" is in degrees Fahrenheit, and degrees Celsius are wanted; write "23 degC"',
    ),
    ("296 K", "degC", '"296 K" is in kelvin, and degrees Celsius are wanted; write "23 degC"'),
    ("0L", "ohm", '"0L" is an overload and no value; write "4.7 kohm", "4k7" or "47R"'),
    ("zero", "ohm", '"zero" leaves out the digits a meter shows; write "4.7 kohm", "4k7" or "47R"'),
    ("OL", "ohm", '"OL" is an overload and no value; write "4.7 kohm", "4k7" or "47R"'),
    ("0x10", "ohm", '"0x10" is not a resistance; write "4.7 kohm", "4k7" or "47R"'),
    ("47l", "ohm", None),
    ("4k7 k", "ohm", None),
    ("4k7 V", "ohm", None),
    ("5 5", "ohm", None),
    ("k", "ohm", None),
    ("\u0663", "ohm", None),
    ("5\n5", "V", '"5\\u000a5" is not a voltage; write "5 V", "532 mV" or "5V1"'),
]


@pytest.mark.parametrize(("text", "quantity_unit", "message"), REFUSED)
def test_what_is_no_such_quantity_is_refused_in_words(text: str, quantity_unit: str, message: str | None) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_value(text, quantity_unit)
    if message is not None:
        assert str(refused.value) == message


def test_a_text_of_any_length_is_refused_with_a_short_message() -> None:
    with pytest.raises(QuantityError, match="longer than the 64 signs") as refused:
        parse_value("1" * 100_000, "V")
    assert len(str(refused.value)) < 200


def test_an_unknown_quantity_unit_is_refused_with_the_nearest_one() -> None:
    with pytest.raises(QuantityError, match=r'"ohms" is not a quantity unit; .*; did you mean "ohm"'):
        parse_value("5", "ohms")


@given(st.text(max_size=80), st.sampled_from(sorted(UNITS)))
def test_no_text_raises_anything_but_quantity_error(check_message: Check, text: str, quantity_unit: str) -> None:
    try:
        value = parse_value(text, quantity_unit)
    except QuantityError as refused:
        check_message(refused)
    else:
        assert math.isfinite(value)


@given(
    st.text(alphabet="0123456789.,+-eEkKmMuµnpRLVAFHΩohm% _'xXOol", max_size=20),
    st.sampled_from(sorted(UNITS)),
)
def test_no_text_of_likely_signs_raises_anything_else(check_message: Check, text: str, quantity_unit: str) -> None:
    try:
        assert math.isfinite(parse_value(text, quantity_unit))
    except QuantityError as refused:
        check_message(refused)


@given(
    st.integers(1, 999),
    st.integers(0, 999),
    st.sampled_from([unit for unit in UNITS.values() if "k" in unit.prefixes or "p" in unit.prefixes]),
    st.data(),
)
def test_both_notations_of_a_value_read_the_same(whole: int, part: int, words: object, data: st.DataObject) -> None:
    unit = next(unit for unit in UNITS.values() if unit is words)
    prefix = data.draw(st.sampled_from(unit.prefixes))
    at_point, behind = f"{whole}{prefix}{part:03d}", f"{whole}.{part:03d} {prefix}{unit.ascii_symbol}"
    expected = float(f"{whole}.{part:03d}e{PREFIX_EXPONENTS[prefix]}")
    assert parse_value(at_point, unit.unit) == parse_value(behind, unit.unit) == expected
