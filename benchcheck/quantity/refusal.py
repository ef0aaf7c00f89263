"""Why a text is not the quantity it should be, in one sentence with what to write instead.

Each rule looks for one mistake people make and returns the words about it, or nothing; the first that speaks wins.
"""

from __future__ import annotations

import re

from benchcheck.errors import QuantityError
from benchcheck.quantity.notation import (
    LARGEST,
    LETTER_AT_POINT,
    MAX_LENGTH,
    NUMBER,
    SMALLEST,
    read_figures,
)
from benchcheck.quantity.units import UNITS, QuantityUnit, UnitWords, find_suffix, shown

__all__ = ["refusal"]

PREFIX_MEANINGS = {"m": "milli", "M": "mega", "k": "kilo", "K": "kilo"}


def refusal(text: str, words: UnitWords) -> QuantityError:
    """Return the error that says why a cleaned text is not in this quantity unit, and what to write."""
    reason = next(filter(None, (rule(text, words) for rule in RULES)), f"is not {words.quantity}")
    return QuantityError(f"{shown(text)} {reason}; write {words.examples}")


def _empty(text: str, words: UnitWords) -> str:
    return f"says nothing, and {words.quantity} is wanted" if not text else ""


def _too_long(text: str, words: UnitWords) -> str:
    return f"is longer than the {MAX_LENGTH} signs {words.quantity} may take" if len(text) > MAX_LENGTH else ""


def _not_finite(text: str, words: UnitWords) -> str:
    return "is not a finite number" if re.match(r"[+-]?(nan|inf)", text.casefold()) else ""


def _overload(text: str, words: UnitWords) -> str:
    return "is an overload and no value" if re.fullmatch(r"-?[o0]\.?l", text.casefold()) else ""


def _no_digits(text: str, words: UnitWords) -> str:
    """Explain "zero": how many digits were zero decides what the reading can show."""
    return "leaves out the digits a meter shows" if text.casefold() in ("zero", "short", "shorted") else ""


def _grouped(text: str, words: UnitWords) -> str:
    figures = re.match(r"[+-]?[0-9]+([.,'_ ][0-9]+)+", text)
    if figures is None or not re.search(r"['_ ]|[.,].*[.,]", figures[0]):
        return ""
    return "groups its digits; one decimal point or comma is read, and nothing between thousands"


def _tolerance_letter(text: str, words: UnitWords) -> str:
    """Explain a marking that carries its tolerance, such as "4K7J"."""
    if re.fullmatch(r"[0-9]*[A-Za-z][0-9]*[A-Z]", text) and read_figures(text[:-1], words) is not None:
        return f'carries the tolerance letter "{text[-1]}", which belongs under tolerance'
    return ""


def _beyond(text: str, words: UnitWords) -> str:
    match = NUMBER.fullmatch(text)
    if match is None or (match[6] and find_suffix(words, match[6]) is None):
        return ""
    return f"lies beyond {SMALLEST:g} to {LARGEST:g} in SI units, where nothing here is measured"


def _direct_or_alternating(text: str, words: UnitWords) -> str:
    """Explain "12 VDC": a unit says nothing about DC or AC here, the check does."""
    match = re.fullmatch(r"(.*?)[ .]*\(?(ac|dc|rms|pp)\)?", text, re.IGNORECASE)
    if match is None or words.unit not in ("V", "A") or read_figures(match[1], words) is None:
        return ""
    return f'adds "{match[2]}", which the check says and the unit does not'


def _inductor_letter(text: str, words: UnitWords) -> str:
    """Explain "4R7" on an inductor: makers count microhenries with it, IEC 60062 ohms."""
    if words.unit == QuantityUnit.HENRY and re.fullmatch(r"[0-9]*[Rr][0-9]*", text):
        return "could count microhenries or ohms"
    return ""


def _prefix_alone(text: str, words: UnitWords) -> str:
    """Explain "5m" where the prefix could be the unit (milliseconds, minutes)."""
    match = NUMBER.fullmatch(text)
    if match is None or not match[6] or words.unit != QuantityUnit.SECOND:
        return ""
    return f'has "{match[6]}" and no unit' if match[6] in "pnumkM" else ""


def _prefix(text: str, words: UnitWords) -> str:
    """Explain a prefix this quantity does not take, above all M for m and the reverse."""
    match = NUMBER.fullmatch(text) or LETTER_AT_POINT.fullmatch(text)
    tail = (match[6] or "") if match is not None and match.re is NUMBER else match[3] if match else ""
    letter, unit = tail[:1], tail[1:].strip()
    if letter not in PREFIX_MEANINGS or words.unit in (QuantityUnit.CELSIUS, QuantityUnit.RATIO):
        return ""
    if letter in words.prefixes or (unit and find_suffix(words, unit) is None):
        return ""
    other = letter.swapcase()
    hint = f' ("{other}" is {PREFIX_MEANINGS[other]})' if letter in "mM" and other in words.prefixes else ""
    return f'has "{letter}" for {PREFIX_MEANINGS[letter]}, which {words.quantity} does not take here{hint}'


def _old_microfarad(text: str, words: UnitWords) -> str:
    """Explain "10 MFD": on old parts microfarads, whatever the case of the M."""
    if words.unit == QuantityUnit.FARAD and re.search(r"[0-9.,] *(m?mfd?|mfd)$", text.casefold()):
        return "is an old way of writing microfarads (MFD) or picofarads (MMFD)"
    return ""


def _other_temperature(text: str, words: UnitWords) -> str:
    match = re.fullmatch(r"[+-]?[0-9.,]+ *(?:deg(?:rees)?|°)? *(f|fahrenheit|k|kelvin)", text.casefold())
    if match is None or words.unit != QuantityUnit.CELSIUS:
        return ""
    return f"is in {'degrees Fahrenheit' if match[1][0] == 'f' else 'kelvin'}, and degrees Celsius are wanted"


def _other_quantity(text: str, words: UnitWords) -> str:
    """Name the quantity a number was written in, when it is one of the others."""
    number, letter = NUMBER.fullmatch(text), LETTER_AT_POINT.fullmatch(text)
    for other in UNITS.values():
        suffix = find_suffix(other, number[6]) if number is not None and number[6] else None
        at_point = letter is not None and letter[3] in other.point_letters
        if other is not words and (at_point or (suffix is not None and suffix.is_unit)):
            found = f"in {other.plural}" if other.prefixes else other.quantity
            return f"is {found}, and {words.quantity} is wanted"
    return ""


RULES = (
    _empty,
    _too_long,
    _not_finite,
    _overload,
    _no_digits,
    _grouped,
    _tolerance_letter,
    _beyond,
    _direct_or_alternating,
    _inductor_letter,
    _old_microfarad,
    _prefix_alone,
    _prefix,
    _other_temperature,
    _other_quantity,
)
