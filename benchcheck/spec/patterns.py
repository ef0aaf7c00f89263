"""Regular expressions of what may be typed for a quantity, drawn from the same tables its parser looks things up in.

They are for editors, which know no other way to judge a text: dialect of ECMA 262, no flags, no look-behind. What
the parser takes they let pass; a few things they let pass the parser refuses (1e400, a prefix the quantity is too
small for).
"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.quantity.tolerance import ASYMMETRIC_PERCENT, SYMMETRIC_PERCENT
from benchcheck.quantity.units import UNITS, UnitWords
from benchcheck.spec.entries import MINUS_SIGNS, NEVER_NEGATIVE, UNIT_MAY_BE_LEFT_OUT

__all__ = ["quantity_pattern", "tolerance_pattern"]

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_MINUS = "\\" + MINUS_SIGNS
#: "4,700" could mean thousands; the loader asks.
_NO_THOUSANDS = rf"(?!\s*[+{_MINUS}]?\s*0*[1-9][0-9]{{0,2}},[0-9]{{3}}(?![0-9]))"
_ABOVE_ZERO = r"(?=[^1-9eE]*[1-9])"
#: signs that come in several shapes.
_SHAPES = {"u": "uUµμ", "ω": "ωΩ\u2126", "°": "°º", ".": "."}
#: letters of which the case counts at the start of a suffix: milli, mega, milliohm.
_CASE_COUNTS = "mML"


def quantity_pattern(quantity_unit: str, *, positive: bool = False) -> str:
    """Return the pattern of a text in this quantity unit; `positive` leaves zero out."""
    words = UNITS[quantity_unit]
    sign = r"\+?" if positive or quantity_unit in NEVER_NEGATIVE else f"[+{_MINUS}]?"
    ahead = _NO_THOUSANDS + (_ABOVE_ZERO if positive else "")
    unit = _suffix(words.suffixes)
    tail = f"(?:{unit})?" if quantity_unit in UNIT_MAY_BE_LEFT_OUT else f"(?:{unit})"
    plain = f"{_NUMBER}\\s*{tail}"
    return f"^{ahead}\\s*{sign}\\s*(?:{plain}|{_at_point(words)})\\s*$"


def _at_point(words: UnitWords) -> str:
    """Return IEC 60062 forms: a letter at the decimal point, at most the plain unit behind."""
    bare = [key for key, suffix in words.suffixes.items() if not suffix.is_unit]
    letters = _suffix([*bare, *words.point_letters])
    units = [
        key for key, suffix in words.suffixes.items() if suffix.is_unit and not suffix.exponent and suffix.factor == 1
    ]
    return f"[0-9]*(?:{letters})[0-9]+\\s*(?:{_suffix(units)})?" if letters else f"{_NUMBER}(?:{_suffix(units)})"


def _suffix(keys: Iterable[str]) -> str:
    """Return the alternatives of suffixes, longest first, in any case where the parser takes any."""
    ordered = sorted({key for key in keys if key}, key=lambda key: (-len(key), key))
    return "|".join(_any_case(key) for key in ordered)


def _any_case(key: str) -> str:
    words = []
    for place, sign in enumerate(key):
        if place == 0 and sign in _CASE_COUNTS:
            words.append(sign)
        elif sign in _SHAPES:
            words.append(f"[{_SHAPES[sign]}]")
        elif sign.isascii() and sign.isalpha():
            words.append(f"[{sign.lower()}{sign.upper()}]")
        else:
            words.append(sign if sign in "%/" else f"[{sign}]")
    return "\\s*".join(words) if len(words) < 5 else "".join([*words[:1], "\\s*", *words[1:]])


def tolerance_pattern(quantity_unit: str) -> str:
    """Return the pattern of a tolerance of a quantity: percent, amounts, two sides, letters of IEC 60062."""
    letters = "".join(SYMMETRIC_PERCENT) if quantity_unit in ("ohm", "F", "H") else ""
    letters += "".join(ASYMMETRIC_PERCENT) if quantity_unit == "F" else ""
    unit = _suffix(key for key, suffix in UNITS[quantity_unit].suffixes.items() if suffix.is_unit)
    tail = "(?:%|percent|ppm" + (f"|{unit})" if unit else ")")
    amount = f"{_NUMBER}\\s*{tail}"
    one = f"(?:±|\\+\\s?/\\s?-|\\+-)?\\s*{amount}"
    two = f"[+{_MINUS}]\\s*{_NUMBER}\\s*{tail}?\\s*(?:/|\\.{{2,3}}|…|to )?\\s*[+{_MINUS}]\\s*{amount}"
    letter = f"[{letters}]|" if letters else ""
    return f"^\\s*(?:{letter}{one}|{two})\\s*$"
