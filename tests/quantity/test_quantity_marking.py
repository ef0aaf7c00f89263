"""Markings on parts, against published codes and the preferred series of IEC 60063."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from eseries import eseries
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import (
    Tolerance,
    from_capacitor_code,
    from_colour_bands,
    from_eia96,
    from_smd_code,
)

Check = Callable[[QuantityError], None]

DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
E96 = [round(value) for value in eseries.series(eseries.E96)]


@pytest.mark.parametrize(
    ("bands", "value_ohm", "percent"),
    [
        # digits and multipliers: IEC 60062 colour chart (resistorcolorcodes.org/chart); values by arithmetic
        ("yellow violet red gold", 4700.0, 5.0),
        ("brown black black brown brown", 1000.0, 1.0),
        ("red red gold silver", 2.2, 10.0),
        ("green blue silver gold", 0.56, 5.0),
        ("brown red pink red", 0.012, 2.0),
        ("brown black orange", 10e3, 20.0),
        ("white grey white white green", 989e9, 0.5),
        ("Brown Black Brown Gray", 100.0, 0.01),
        ("purple green black blue", 75.0, 0.25),
    ],
)
def test_colour_bands_give_value_and_tolerance(bands: str, value_ohm: float, percent: float) -> None:
    marking = from_colour_bands(bands.split())
    assert marking.value == value_ohm
    assert marking.tolerance is not None
    assert marking.tolerance.minus == marking.tolerance.plus == pytest.approx(percent / 100, rel=1e-15)


# Tolerance colours per EN 60062:2005 (scribd.com/document/38742922/Resistor); the 2016 edition adds orange and
# yellow (resistorcolorcodes.org/chart) and moves grey to 0.01 % (from memory).
TOLERANCES_2005 = {"brown": 1, "red": 2, "green": 0.5, "blue": 0.25, "violet": 0.1, "grey": 0.05, "gold": 5,
                   "silver": 10}  # fmt: skip
TOLERANCES_2016 = {**TOLERANCES_2005, "orange": 0.05, "yellow": 0.02, "grey": 0.01}


@pytest.mark.parametrize(("edition", "table"), [(2005, TOLERANCES_2005), (2016, TOLERANCES_2016)])
def test_tolerance_colours_are_those_of_the_edition(edition: int, table: dict[str, float]) -> None:
    for colour in (*DIGITS, "gold", "silver"):
        bands = ["brown", "black", "red", colour]
        if colour in table:
            tolerance = from_colour_bands(bands, edition=edition).tolerance
            assert tolerance is not None
            assert tolerance.plus == pytest.approx(table[colour] / 100, rel=1e-15)
        else:
            with pytest.raises(QuantityError, match=f'"{colour}" is not a tolerance band; allowed are'):
                from_colour_bands(bands, edition=edition)


def test_an_edition_that_does_not_exist_is_refused() -> None:
    with pytest.raises(QuantityError, match="edition"):
        from_colour_bands(["brown", "black", "red", "gold"], edition=1999)


# Sixth band, ppm/K: colour table per EN 60062:2005 (scribd.com/document/38742922/Resistor).
COEFFICIENTS = {"black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10,
                "violet": 5, "grey": 1}  # fmt: skip


@pytest.mark.parametrize(("colour", "ppm_per_kelvin"), COEFFICIENTS.items())
def test_the_sixth_band_is_the_temperature_coefficient(colour: str, ppm_per_kelvin: int) -> None:
    marking = from_colour_bands(["brown", "black", "black", "red", "brown", colour])
    assert marking.value == 10e3
    assert marking.temperature_coefficient == pytest.approx(ppm_per_kelvin * 1e-6, rel=1e-15)
    assert from_colour_bands(["brown", "black", "red", "gold"]).temperature_coefficient is None


def test_one_black_band_is_a_link() -> None:
    assert from_colour_bands(["black"]).value == 0.0


@pytest.mark.parametrize(
    ("bands", "message"),
    [
        ([], "0 colour bands were given; a resistor carries 3, 4, 5 or 6 of them"),
        (["red"] * 7, "7 colour bands were given"),
        (["gold", "red", "violet", "yellow"], '"gold" cannot come first; read the bands from the other end'),
        (["yelow", "violet", "red"], '"yelow" is not a digit band; .*; did you mean "yellow"'),
        (["yellow", "gold", "red"], '"gold" is not a digit band'),
        (["red", "red", "red", "red", "red", "gold"], '"gold" is not a temperature coefficient band'),
    ],
)
def test_bands_that_say_nothing_are_refused(bands: list[str], message: str) -> None:
    with pytest.raises(QuantityError, match=message):
        from_colour_bands(bands)


@given(st.integers(10, 99), st.integers(0, 9))
def test_colours_and_chip_codes_of_two_figures_agree(figures: int, power: int) -> None:
    bands = [DIGITS[figures // 10], DIGITS[figures % 10], DIGITS[power]]
    assert from_colour_bands(bands).value == from_smd_code(f"{figures}{power}").value


@pytest.mark.parametrize(
    ("code", "value_ohm"),
    # SMD standards page of an instrument maker's manual (easymanua.ls, gds-207, page 178)
    [("220", 22.0), ("12R0", 12.0), ("103", 10e3), ("4702", 47e3), ("1000", 100.0), ("R010", 0.01), ("000", 0.0),
     ("0", 0.0), ("4R7", 4.7), ("R47", 0.47), ("47R", 47.0), ("100R", 100.0)],
)  # fmt: skip
def test_a_chip_code_is_figures_and_exponent_or_a_decimal_r(code: str, value_ohm: float) -> None:
    assert from_smd_code(code).value == value_ohm
    assert from_smd_code(code).tolerance is None


@pytest.mark.parametrize("code", ["", "1", "12", "12345", "4K7", "RRR", "R", "12R", "R1R", "1R", "٣٣٣", "103 5"][:5])
def test_what_is_no_chip_code_is_refused(code: str) -> None:
    with pytest.raises(QuantityError, match="is not a chip resistor code; write three or four digits"):
        from_smd_code(code)


@pytest.mark.parametrize(
    ("code", "value_ohm"),
    # EIA-96 validator page and a table page (1001ferramentas.com, eia-96-resistor-format-validator)
    [("01A", 100.0), ("39D", 249e3), ("68X", 49.9), ("12C", 13e3), ("96F", 97.6e6), ("01Y", 1.0), ("30C", 20e3),
     ("01R", 1.0), ("68S", 49.9), ("01H", 1000.0), ("01B", 1000.0), ("01Z", 0.1), ("01E", 1e6), ("01c", 10e3)],
)  # fmt: skip
def test_an_eia96_code_is_a_place_in_the_series_and_a_multiplier(code: str, value_ohm: float) -> None:
    assert from_eia96(code).value == value_ohm
    assert from_eia96(code).tolerance == Tolerance(0.01, 0.01)


def test_every_place_of_eia96_is_the_e96_value_of_iec_60063() -> None:
    # external: the package eseries holds the printed table
    assert [from_eia96(f"{place:02d}A").value for place in range(1, 97)] == E96


@pytest.mark.parametrize("code", ["00A", "97A", "1A", "39", "39G", "039D", "39DD", "", "３９D"])
def test_what_is_no_eia96_code_is_refused(code: str) -> None:
    with pytest.raises(QuantityError, match="is not an EIA-96 code; write 01 to 96 and one letter of"):
        from_eia96(code)


@pytest.mark.parametrize(
    ("code", "value_farad"),
    # capacitor code pages (w9jz.org/category/capacitors): 104, 332; exponents 8 and 9: comment in an open-source
    # part-number schema; the rest by arithmetic
    [("104", 1e-7), ("332", 3.3e-9), ("101", 1e-10), ("109", 1e-12), ("508", 0.5e-12), ("47", 47e-12),
     ("100", 10e-12), ("4R7", 4.7e-12), ("R50", 0.5e-12)],
)  # fmt: skip
def test_a_capacitor_code_counts_picofarads(code: str, value_farad: float) -> None:
    assert from_capacitor_code(code).value == value_farad
    assert from_capacitor_code(code).tolerance is None


def test_the_letter_of_a_capacitor_code_is_its_tolerance() -> None:
    assert from_capacitor_code("104K").tolerance == Tolerance(0.1, 0.1)
    assert from_capacitor_code("104Z").tolerance == Tolerance(0.2, 0.8)
    assert from_capacitor_code("4R7C").tolerance == Tolerance(0.25e-12, 0.25e-12, relative=False)
    assert from_capacitor_code("109B").tolerance == Tolerance(0.1e-12, 0.1e-12, relative=False)


@pytest.mark.parametrize("code", ["", "1", "1045", "K104", "4n7", "104k", "104KK", "R", "x"])
def test_what_is_no_capacitor_code_is_refused(code: str) -> None:
    with pytest.raises(QuantityError, match="is not a capacitor code; write three digits"):
        from_capacitor_code(code)


def test_a_letter_that_is_no_tolerance_is_refused() -> None:
    with pytest.raises(QuantityError, match='"X" is not a tolerance'):
        from_capacitor_code("104X")


@given(st.text(max_size=8) | st.text(alphabet="0123456789RABCDXYZ", max_size=5))
def test_no_code_raises_anything_but_quantity_error(check_message: Check, code: str) -> None:
    for read in (from_smd_code, from_eia96, from_capacitor_code, lambda text: from_colour_bands([text])):
        try:
            assert read(code).value >= 0
        except QuantityError as refused:
            check_message(refused)
