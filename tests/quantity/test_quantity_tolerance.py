"""Tolerances: percent, two-sided, absolute and the letters of IEC 60062."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import Tolerance, parse_tolerance

Check = Callable[[QuantityError], None]

# Symmetric letters, percent: capacitor tolerance table (3bmdesign.com/Responsive/Capacitor.html) and the colour
# table per EN 60062:2005 for B C D F G J K M A N. E L P W are from memory of IEC 60062.
PERCENT = {
    "E": 0.005, "L": 0.01, "P": 0.02, "W": 0.05, "A": 0.05, "B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0,
    "J": 5.0, "K": 10.0, "M": 20.0, "N": 30.0,
}  # fmt: skip
# Asymmetric letters: the same table; T confirmed by the Vishay 132 ALL-DIN data sheet, which quotes IEC 60062.
ASYMMETRIC = {"Q": (10, 30), "T": (10, 50), "S": (20, 50), "Z": (20, 80)}
# Below 10 pF: dummies.com, electronics capacitor tolerance code (B C D); F and G from memory.
PICOFARADS = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0}


@pytest.mark.parametrize(("letter", "percent"), PERCENT.items())
def test_a_letter_means_percent(letter: str, percent: float) -> None:
    for unit in ("ohm", "F", "H"):
        tolerance = parse_tolerance(letter, unit)
        assert tolerance.minus == tolerance.plus == pytest.approx(percent / 100, rel=1e-15)
        assert tolerance.relative


@pytest.mark.parametrize(("letter", "sides"), ASYMMETRIC.items())
def test_an_asymmetric_letter_belongs_to_capacitors(letter: str, sides: tuple[int, int]) -> None:
    assert parse_tolerance(letter, "F") == Tolerance(sides[0] / 100, sides[1] / 100)
    with pytest.raises(QuantityError, match="is not a tolerance"):
        parse_tolerance(letter, "ohm")


@pytest.mark.parametrize(("letter", "picofarads"), PICOFARADS.items())
def test_below_10_pf_a_letter_means_picofarads(letter: str, picofarads: float) -> None:
    tolerance = parse_tolerance(letter, "F", 9.9e-12)
    assert not tolerance.relative
    assert tolerance.interval(5e-12) == pytest.approx((5e-12 - picofarads * 1e-12, 5e-12 + picofarads * 1e-12))


def test_from_10_pf_up_and_for_other_letters_percent_is_meant() -> None:
    assert parse_tolerance("C", "F", 10e-12) == Tolerance(0.0025, 0.0025)
    assert parse_tolerance("C", "F") == Tolerance(0.0025, 0.0025)
    assert parse_tolerance("J", "F", 4.7e-12) == Tolerance(0.05, 0.05)
    assert parse_tolerance("C", "ohm", 1e-12) == Tolerance(0.0025, 0.0025)


@pytest.mark.parametrize("text", ["5 %", "5%", "±5 %", "+/-5%", "+-5 %", "+/- 5 percent", " 5,0 %", "50000 ppm"])
def test_one_amount_holds_for_both_sides(text: str) -> None:
    assert parse_tolerance(text) == Tolerance(0.05, 0.05)


@pytest.mark.parametrize(
    "text",
    ["-20/+80 %", "-20%/+80%", "+80/-20 %", "-20 +80 %", "-20+80%", "−20/+80 %", "-20 % … +80 %", "-20 to +80 %"],
)
def test_two_signs_give_two_sides(text: str) -> None:
    assert parse_tolerance(text, "F") == Tolerance(0.2, 0.8)


def test_a_unit_makes_a_tolerance_absolute() -> None:
    assert parse_tolerance("0.5 pF", "F") == Tolerance(0.5e-12, 0.5e-12, relative=False)
    assert parse_tolerance("±0.1 V", "V") == Tolerance(0.1, 0.1, relative=False)
    assert parse_tolerance("-0.1/+0.2 V", "V") == Tolerance(0.1, 0.2, relative=False)


REFUSED = [
    ("5 volts", "ohm", '"5 volts" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("", "ohm", '"" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("5", "ohm", '"5" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("0.05", "ohm", '"0.05" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("nan %", "ohm", '"nan %" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("j", "ohm", '"j" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("5 K", "ohm", '"5 K" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("J", "V", '"J" is not a tolerance; write "5 %"'),
    ("-5 %", "ohm", '"-5 %" is a tolerance with one side only; write "-5/+0 %"'),
    ("+20 %", "F", '"+20 %" is a tolerance with one side only; write "-0/+20 %"'),
    ("-5 volts", "ohm", '"-5 volts" is not a tolerance; write "5 %" or a letter of IEC 60062 such as "J"'),
    ("+5\x00", "V", '"+5\\u0000" is not a tolerance; write "5 %"'),
    ("+" + "5" * 1000, "V", None),
    ("1e40 V", "V", '"1e40 V" is not a tolerance; write "5 %"'),
    ("0 %", "ohm", '"0 %" leaves nothing that could pass; write "5 %" or a letter such as "J"'),
    ("101 %", "ohm", '"101 %" is more than 100 % below or 1000 % above; write "5 %" or "-20/+80 %"'),
    ("-5/-3 %", "ohm", None),
    ("-5 %/+1 ohm", "ohm", None),
    ("±-5 %", "ohm", None),
    ("5 % 5", "ohm", None),
    ("5 %/10 %", "ohm", None),
]


@pytest.mark.parametrize(("text", "unit", "message"), REFUSED)
def test_what_is_no_tolerance_is_refused_in_words(text: str, unit: str, message: str | None) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_tolerance(text, unit)
    if message is not None:
        assert str(refused.value) == message


@pytest.mark.parametrize("text", ["-5/+0 %", "-0/+20 %"])
def test_what_a_refusal_tells_to_write_is_accepted(text: str) -> None:
    assert parse_tolerance(text, "F").minus + parse_tolerance(text, "F").plus > 0


def test_the_interval_of_a_negative_nominal_still_runs_upwards() -> None:
    assert Tolerance(0.1, 0.2).interval(-10.0) == (-11.0, -8.0)
    assert Tolerance(1.0, 2.0, relative=False).interval(-10.0) == (-11.0, -8.0)


@pytest.mark.parametrize("side", [-0.1, math.nan, math.inf])
def test_a_side_that_is_no_distance_is_refused(side: float) -> None:
    with pytest.raises(QuantityError, match="has no width"):
        Tolerance(side, 0.1)
    with pytest.raises(QuantityError, match="has no width"):
        Tolerance(0.1, side)


@given(st.floats(0.001, 100), st.floats(-1e6, 1e6))
def test_the_nominal_lies_in_its_interval(percent: float, nominal: float) -> None:
    lower, upper = parse_tolerance(f"{percent:.3f} %").interval(nominal)
    assert lower <= nominal <= upper


@given(
    st.text(max_size=30) | st.text(alphabet="0123456789.,+-/±% pFVmJKto…e", max_size=20),
    st.sampled_from(["ohm", "F", "V", "1"]),
)
def test_no_text_raises_anything_but_quantity_error(check_message: Check, text: str, unit: str) -> None:
    try:
        tolerance = parse_tolerance(text, unit, 1e-12)
    except QuantityError as refused:
        check_message(refused)
    else:
        assert 0 < tolerance.minus + tolerance.plus < math.inf
