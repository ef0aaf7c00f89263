"""Answers are read strictly: what is not exactly of the expected shape is refused.

Overload figures: SCPI-1999 (9.9E37 infinity, 9.91E37 not a number); 1E9 and 1.2E8 are makers' own, as their
programming manuals and the drivers of open libraries have them.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.reply import (
    IndicationState,
    decode_bit,
    read_bool,
    read_error,
    read_indication,
    read_integer,
    read_number,
    read_text,
    split_answers,
)

GENERIC = shipped_catalogue().named("generic").dmm


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_any_form_of_a_number_reads_back(value: float) -> None:
    assert read_number(f"{value:+.8E}") == pytest.approx(value, rel=1e-7)
    assert read_number(repr(float(value))) == value


@pytest.mark.parametrize(
    "text", ["", "LATE", "1,234", "1.2.3", "5.00mV", "0x1F", "1e", "--1", "nan", "inf", "+1.23E+0O", "12q4", "1 2"]
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        read_number(text, "V")


def test_a_unit_behind_a_number_is_taken_only_when_it_is_the_expected_one() -> None:
    assert read_number("5.000V", "V") == 5.0
    with pytest.raises(ValueError, match="is not a number"):
        read_number("5.000V", "A")


@given(st.lists(st.sampled_from(["1.5", '0,"No error"', '"a;b"', '"a""b"', "37"]), min_size=1, max_size=6))
def test_answers_split_at_semicolons_outside_quotes(parts: list[str]) -> None:
    assert split_answers(";".join(parts)) == tuple(parts)


def test_an_open_quote_is_refused() -> None:
    with pytest.raises(ValueError, match="open quote"):
        split_answers('0,"No error')


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('+0,"No error"', 0),
        ("0, No Error", 0),
        ("0  No Error", 0),
        ("SYST:ERR 0, No error", 0),
        ('-222,"Data out of range;above level"', -222),
        ('201,"Cannot execute before clearing protection"', 201),
    ],
)
def test_every_known_form_of_an_error_entry_is_read(text: str, code: int) -> None:
    assert read_error(text).code == code


@pytest.mark.parametrize("text", ["+1.5E0", "1.5", "LATE", "", "Fenwater,1"])
def test_a_number_or_a_name_is_no_error_entry(text: str) -> None:
    with pytest.raises(ValueError, match="error queue"):
        read_error(text)


def test_the_class_of_an_error_says_what_it_means() -> None:
    assert "not understood" in read_error("-113,x").meaning
    assert "did not happen" in read_error("-222,x").meaning
    assert "fault" in read_error("-340,x").meaning
    assert "out of step" in read_error("-410,x").meaning


@pytest.mark.parametrize("word", ["1", "ON", "on", '"1"', "+1"])
def test_on_has_several_words(word: str) -> None:
    assert read_bool(word) is True


@pytest.mark.parametrize("word", ["2", "1.0", "YES?", ""])
def test_what_is_neither_on_nor_off_is_refused(word: str) -> None:
    with pytest.raises(ValueError, match="neither on nor off"):
        read_bool(word)


def test_texts_lose_their_quotes() -> None:
    assert read_text('"VOLT:DC"') == "VOLT:DC"
    with pytest.raises(ValueError, match="empty"):
        read_text('""')


def test_a_register_is_a_whole_number() -> None:
    assert read_integer("+1.28E+02") == 128
    with pytest.raises(ValueError, match="whole"):
        read_integer("1.5")


@pytest.mark.parametrize(
    ("dialect", "function", "text", "state"),
    [
        ("generic", Function.OHMS, "+9.90000000E+37", IndicationState.OVERLOAD),
        ("generic", Function.OHMS, "-9.9E37", IndicationState.OVERLOAD),
        ("generic", Function.OHMS, "9.91E37", IndicationState.NOT_A_NUMBER),
        ("generic", Function.OHMS, "OL", IndicationState.OVERLOAD),
        ("generic", Function.OHMS, ".......", IndicationState.OVERLOAD),
        ("generic", Function.OHMS, "-------", IndicationState.NOT_A_NUMBER),
        ("generic", Function.OHMS, "1E9", IndicationState.VALUE),
        ("owon_xdm", Function.OHMS, "1E9", IndicationState.OVERLOAD),
        ("gw_gdm82", Function.OHMS, "1.2E8", IndicationState.OVERLOAD),
        ("gw_gdm82", Function.CONTINUITY, "1.2E3", IndicationState.OVERLOAD),
        ("gw_gdm82", Function.OHMS, "1.2E3", IndicationState.VALUE),
        ("gw_gdm82", Function.DIODE, "1.0E0", IndicationState.OVERLOAD),
        ("gw_gdm82", Function.DIODE, "0.99", IndicationState.VALUE),
    ],
)
def test_overload_and_not_a_number_are_states_per_dialect(
    dialect: str, function: Function, text: str, state: IndicationState
) -> None:
    found = read_indication(text, shipped_catalogue().named(dialect).dmm, function)
    assert found.state is state
    assert (found.value is None) == (state is not IndicationState.VALUE)


@pytest.mark.parametrize(
    ("text", "kind", "mask", "expected"),
    [
        ("2", "bits", 2, True),
        ("256", "bits", 2, False),
        ("0x0224", "hexbits", 32, True),
        ("01100000", "bitstring", 2, True),
        ("01100000", "bitstring", 1, False),
        ("Q", "byte", 64, True),
        ("ON", "word", 1, True),
    ],
)
def test_status_answers_come_in_five_kinds(text: str, kind: str, mask: int, expected: bool) -> None:
    assert decode_bit(text, kind, mask) is expected


@pytest.mark.parametrize(("text", "kind"), [("xyz", "hexbits"), ("012", "bitstring"), ("ab", "byte"), ("x", "bits")])
def test_a_status_of_another_kind_is_refused(text: str, kind: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        decode_bit(text, kind, 1)
