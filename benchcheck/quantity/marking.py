"""What is printed on a part: colour bands (IEC 60062), chip resistor codes, EIA-96, capacitor codes."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from benchcheck.errors import QuantityError, close_match
from benchcheck.quantity.tolerance import Tolerance, parse_tolerance
from benchcheck.quantity.units import QuantityUnit, shown

__all__ = ["Marking", "from_capacitor_code", "from_colour_bands", "from_eia96", "from_smd_code"]


@dataclass(frozen=True, slots=True)
class Marking:
    """What a marking says: value in SI; tolerance and temperature coefficient (1/K) where it says them."""

    value: float
    quantity_unit: QuantityUnit
    tolerance: Tolerance | None = None
    temperature_coefficient: float | None = None


DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
MULTIPLIERS = {colour: power for power, colour in enumerate(DIGITS)} | {"gold": -1, "silver": -2, "pink": -3}
#: percent by edition of IEC 60062; 2016 adds orange and yellow and moves grey (grey from memory).
TOLERANCES = {
    2005: {"brown": "1", "red": "2", "green": "0.5", "blue": "0.25", "violet": "0.1", "grey": "0.05",
           "gold": "5", "silver": "10"},
    2016: {"brown": "1", "red": "2", "orange": "0.05", "yellow": "0.02", "green": "0.5", "blue": "0.25",
           "violet": "0.1", "grey": "0.01", "gold": "5", "silver": "10"},
}  # fmt: skip
NO_BAND_PERCENT = "20"
#: ppm/K, sixth band.
COEFFICIENTS = {
    "black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10, "violet": 5,
    "grey": 1,
}  # fmt: skip
OTHER_NAMES = {"gray": "grey", "purple": "violet"}


def from_colour_bands(bands: Sequence[str], *, edition: int = 2016) -> Marking:
    """Return what three to six colour bands say, or a single black one (a zero-ohm link).

    `edition` of IEC 60062 is 2005 or 2016: in 2016 orange (0.05 %) and yellow (0.02 %) became tolerances and
    grey went from 0.05 % to 0.01 %. High-voltage parts use yellow and grey for gold and silver in this place
    and cannot be told apart by colour.

    >>> marking = from_colour_bands(["yellow", "violet", "red", "gold"])
    >>> marking.value, marking.tolerance
    (4700.0, Tolerance(minus=0.05, plus=0.05, relative=True))
    """
    names = tuple(OTHER_NAMES.get(name, name) for name in (band.strip().casefold() for band in bands))
    if names == ("black",):
        return Marking(0.0, QuantityUnit.OHM)
    _refuse_bands(names, edition)
    digits, multiplier, tolerance, coefficient = _places(names)
    figures = "".join(str(DIGITS.index(_band(name, DIGITS, "digit"))) for name in digits)
    value = float(f"{figures}e{MULTIPLIERS[_band(multiplier, MULTIPLIERS, 'multiplier')]}")
    percents, ppm = TOLERANCES[edition], None
    percent = percents[_band(tolerance, percents, "tolerance")] if tolerance else NO_BAND_PERCENT
    if coefficient:
        ppm = float(f"{COEFFICIENTS[_band(coefficient, COEFFICIENTS, 'temperature coefficient')]}e-6")
    return Marking(value, QuantityUnit.OHM, parse_tolerance(f"{percent} %"), ppm)


def _refuse_bands(names: tuple[str, ...], edition: int) -> None:
    """Raise for a number of bands, an end or an edition that cannot be."""
    if edition not in TOLERANCES:
        raise QuantityError(f"there is no edition {edition} of IEC 60062 here; write 2005 or 2016")
    if not 3 <= len(names) <= 6:
        raise QuantityError(f"{len(names)} colour bands were given; a resistor carries 3, 4, 5 or 6 of them")
    if names[0] in ("gold", "silver"):
        raise QuantityError(f"{shown(names[0])} cannot come first; read the bands from the other end")


def _places(names: tuple[str, ...]) -> tuple[tuple[str, ...], str, str, str]:
    """Return the bands by what they stand for: digits, multiplier, tolerance, coefficient ("" where absent)."""
    figures = 2 if len(names) < 5 else 3
    multiplier, tolerance, coefficient = (*names[figures:], "", "")[:3]
    return names[:figures], multiplier, tolerance, coefficient


def _band(name: str, allowed: Collection[str], place: str) -> str:
    """Return a band's colour when it can stand in this place."""
    if name in allowed:
        return name
    known = f"allowed are {', '.join(allowed)}{close_match(name[:40], allowed)}"
    raise QuantityError(f"{shown(name)} is not a {place} band; {known}")


def from_smd_code(code: str) -> Marking:
    """Return what a chip resistor's three or four signs say: figures and exponent, or R at the decimal point.

    >>> from_smd_code("4702").value, from_smd_code("12R0").value, from_smd_code("R010").value
    (47000.0, 12.0, 0.01)
    """
    text = code.strip()
    if re.fullmatch("0{1,4}", text):
        return Marking(0.0, QuantityUnit.OHM)
    if re.fullmatch("[0-9]{3,4}", text):
        return Marking(float(f"{text[:-1]}e{text[-1]}"), QuantityUnit.OHM)
    if re.fullmatch("(?=.{3,4}$)[0-9]*R[0-9]+|[0-9]{2,3}R", text):
        return Marking(float(text.replace("R", ".") + "0"), QuantityUnit.OHM)
    raise QuantityError(
        f'{shown(code)} is not a chip resistor code; write three or four digits as in "103", or "4R7"'
    )


EIA96_EXPONENTS = {
    "Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4, "F": 5,
}  # fmt: skip


def from_eia96(code: str) -> Marking:
    """Return what an EIA-96 code says: a place in the E96 series and a letter for the multiplier; 1 % parts.

    >>> from_eia96("39D").value
    249000.0
    """
    match = re.fullmatch("([0-9]{2})([A-Z])", code.strip().upper())
    if match is None or not 1 <= int(match[1]) <= 96 or match[2] not in EIA96_EXPONENTS:
        letters = " ".join(sorted(EIA96_EXPONENTS))
        raise QuantityError(f"{shown(code)} is not an EIA-96 code; write 01 to 96 and one letter of {letters}")
    # IEC 60063: every value of E96 is 100 * 10**(i/96), rounded.
    figures = round(100 * 10 ** ((int(match[1]) - 1) / 96))
    return Marking(float(f"{figures}e{EIA96_EXPONENTS[match[2]]}"), QuantityUnit.OHM, parse_tolerance("1 %"))


#: 8 and 9 as exponents stand for 0.01 and 0.1 (one maker's schema, widely followed).
CAPACITOR_EXPONENTS = {"8": -2, "9": -1}


def from_capacitor_code(code: str) -> Marking:
    """Return what a capacitor code says: two figures and an exponent in picofarads, then a tolerance letter.

    >>> from_capacitor_code("104K").value, from_capacitor_code("4R7C").tolerance
    (1e-07, Tolerance(minus=2.5e-13, plus=2.5e-13, relative=False))
    """
    match = re.fullmatch("([0-9]{2})([0-9])?([A-Z])?|([0-9]*)R([0-9]+)([A-Z])?", code.strip())
    if match is None:
        raise QuantityError(
            f'{shown(code)} is not a capacitor code; write three digits as in "104", with or without a letter'
        )
    if match[1]:
        power = CAPACITOR_EXPONENTS.get(match[2] or "0", int(match[2] or 0))
        value = float(f"{match[1]}e{power - 12}")
    else:
        value = float(f"{match[4] or 0}.{match[5]}e-12")
    letter = match[3] or match[6]
    return Marking(value, QuantityUnit.FARAD, parse_tolerance(letter, "F", value) if letter else None)
