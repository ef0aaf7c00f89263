"""Figures as people type them: "4.7 kohm", "4k7", "0,532", "1e3 ohm". One pattern, one table lookup.

The decimal digits go to `float` together with the power of ten, so "4n7" is exactly the float 4.7e-9, and the
place of the last digit typed is kept as the resolution. A comma is always a decimal comma, "1,000" is one;
points and commas together, or several of either, are refused.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from benchcheck.quantity.units import SIGNS, UNITS, Suffix, UnitWords, find_suffix

__all__ = ["Figures", "clean", "letter_at_point", "read_figures"]

MAX_LENGTH = 64
#: nothing on a low-voltage board, and no meter, reads beyond these in SI units.
SMALLEST, LARGEST = 1e-18, 1e15
MAX_EXPONENT = 30

NUMBER = re.compile(
    r"([+-]?) *(?:([0-9]+)(?:[.,]([0-9]*))?|[.,]([0-9]+))(?:[eE]([+-]?[0-9]{1,3}))? *([^0-9 .,+\-][^0-9]*)?"
)
#: IEC 60062: the letter stands at the decimal point; a unit may follow ("4k7 ohm").
LETTER_AT_POINT = re.compile(r"([+-]?) *([0-9]*)([A-Za-zΩ])([0-9]+) *([^0-9 .,+\-][^0-9]*)?")


class Figures(NamedTuple):
    """A number read from text, in SI: its value, and the value of one step of the last digit typed."""

    value: float
    resolution: float


def clean(text: str) -> str:
    """Return the text stripped, with one spelling for each sign that comes in several (micro, ohm, minus)."""
    return text.strip() if text.isascii() and "\t" not in text else text.translate(SIGNS).strip()


def read_figures(text: str, words: UnitWords) -> Figures | None:
    """Return the figures of a cleaned text, or None when it is not a number in this quantity unit."""
    if len(text) > MAX_LENGTH:
        return None
    match = NUMBER.fullmatch(text)
    if match is not None:
        sign, whole, part, point_first, power, tail = match.groups()
        part = part or point_first or ""
        suffix = find_suffix(words, tail or "") if tail else NO_SUFFIX
        exponent = int(power) if power else 0
    else:
        match = LETTER_AT_POINT.fullmatch(text)
        if match is None:
            return None
        sign, whole, letter, part, tail = match.groups()
        suffix, exponent = letter_at_point(letter, tail, words), 0
    if suffix is None or abs(exponent) > MAX_EXPONENT:
        return None
    exponent += suffix.exponent
    value = float(f"{sign}{whole or '0'}.{part or '0'}e{exponent}") * suffix.factor
    if (value != 0 and not SMALLEST <= abs(value) <= LARGEST) or (value == 0 and tail == "L"):
        return None  # "0L" is a display in overload, not a resistance of no milliohm
    return Figures(value + 0.0, float(f"1e{exponent - len(part)}") * suffix.factor)


NO_SUFFIX = UNITS["ohm"].suffixes["ohm"]  # exponent 0, factor 1


def letter_at_point(letter: str, tail: str | None, words: UnitWords) -> Suffix | None:
    """Return what the letter at the decimal point means, or None; only the plain unit may follow it."""
    if tail:
        unit = find_suffix(words, tail)
        if unit is None or not unit.is_unit or unit.exponent or unit.factor != 1.0:
            return None
    if letter in words.point_letters:
        return NO_SUFFIX
    suffix = find_suffix(words, letter)
    return suffix if suffix is not None and not suffix.is_unit else None
