"""Tolerances as people write them: "5 %", "-20/+80 %", "0.5 pF", and the letters of IEC 60062.

Letters mean percent, but below 10 pF the letters B C D F G of a capacitor mean picofarads.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from benchcheck.errors import QuantityError
from benchcheck.quantity.notation import MAX_LENGTH, NUMBER, clean, read_figures
from benchcheck.quantity.units import UNITS, UnitWords, find_suffix, shown, unit_words

__all__ = ["Tolerance", "parse_tolerance"]

#: IEC 60062, symmetric letters, in percent. E L P W from memory, the others from tables quoting the standard.
SYMMETRIC_PERCENT = {
    "E": 0.005, "L": 0.01, "P": 0.02, "W": 0.05, "A": 0.05, "B": 0.1, "C": 0.25, "D": 0.5,
    "F": 1.0, "G": 2.0, "J": 5.0, "K": 10.0, "M": 20.0, "N": 30.0,
}  # fmt: skip
#: IEC 60062, asymmetric letters of capacitors: percent below and above.
ASYMMETRIC_PERCENT = {"Q": (10.0, 30.0), "T": (10.0, 50.0), "S": (20.0, 50.0), "Z": (20.0, 80.0)}
#: IEC 60062, letters of capacitors below 10 pF, in picofarads (F and G from memory).
PICOFARAD_LETTERS = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0}
PICOFARADS_BELOW_FARAD = 10e-12
LARGEST_FRACTION = 10.0
FRACTION_UNITS = ("%", "percent", "ppm")

EITHER_SIDE = re.compile(r"(?:±|\+ ?/ ?-|\+-) *")
SIDES = re.compile(r"([+-]) *([0-9.,][^+\-/]*?) *(?:/|\.\.\.?|…|to )? *([+-]) *([0-9.,][^+\-/]*)")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a value may lie below and above its nominal: fractions of it when `relative`, else SI units."""

    minus: float
    plus: float
    relative: bool = True

    def __post_init__(self) -> None:
        """Refuse what is no distance: a negative side, or one that is not finite."""
        if not (0 <= self.minus < math.inf and 0 <= self.plus < math.inf):
            raise QuantityError(
                f"a tolerance of -{self.minus:g}/+{self.plus:g} has no width; give two sides from 0 up"
            )

    def interval(self, nominal: float) -> tuple[float, float]:
        """Return the lower and upper limit around a nominal, in its own unit; right for negative ones too.

        >>> Tolerance(0.2, 0.8).interval(100.0)
        (80.0, 180.0)
        """
        scale = abs(nominal) if self.relative else 1.0
        return nominal - self.minus * scale, nominal + self.plus * scale


def parse_tolerance(text: str, quantity_unit: str = "ohm", nominal: float | None = None) -> Tolerance:
    """Return the tolerance a text states; QuantityError says what to write instead.

    `nominal` (SI) decides between percent and picofarads for the letters of a capacitor; without it they
    mean percent.

    >>> parse_tolerance("-20/+80 %")
    Tolerance(minus=0.2, plus=0.8, relative=True)
    """
    words = unit_words(quantity_unit)
    cleaned = clean(text)
    if len(cleaned) == 1 and cleaned.isalpha():
        return _letter(cleaned, words, nominal)
    either_side = EITHER_SIDE.match(cleaned)
    amount = cleaned[either_side.end() :] if either_side else cleaned
    sides = SIDES.fullmatch(amount) if either_side is None and len(cleaned) <= MAX_LENGTH else None
    if sides is not None:
        return _two_sided(cleaned, sides, words)
    magnitude, relative = _amount(amount, cleaned, words)
    return _checked(cleaned, Tolerance(magnitude, magnitude, relative))


def _letter(letter: str, words: UnitWords, nominal: float | None) -> Tolerance:
    capacitor = words.unit == "F"
    if words.unit in ("ohm", "F", "H"):
        if capacitor and nominal is not None and nominal < PICOFARADS_BELOW_FARAD and letter in PICOFARAD_LETTERS:
            width = float(f"{PICOFARAD_LETTERS[letter]}e-12")
            return Tolerance(width, width, relative=False)
        if letter in SYMMETRIC_PERCENT:
            return Tolerance(_percent(SYMMETRIC_PERCENT[letter]), _percent(SYMMETRIC_PERCENT[letter]))
        if capacitor and letter in ASYMMETRIC_PERCENT:
            minus, plus = ASYMMETRIC_PERCENT[letter]
            return Tolerance(_percent(minus), _percent(plus))
    raise _refusal(letter, words)


def _percent(percent: float) -> float:
    """Return percent as a fraction, rounded as the decimal digits say (0.01 % is the float 1e-4)."""
    return float(f"{percent}e-2")


def _two_sided(cleaned: str, sides: re.Match[str], words: UnitWords) -> Tolerance:
    """Return the tolerance of "-20/+80 %": one sign each way, the unit at least behind the last."""
    first_sign, first, last_sign, last = sides.groups()
    if first_sign == last_sign:
        raise _refusal(cleaned, words)
    unit = re.sub(r"^[0-9., ]*", "", last)
    if not re.search(r"[^0-9., ]", first):
        first += unit
    first_amount, first_relative = _amount(first, cleaned, words)
    last_amount, last_relative = _amount(last, cleaned, words)
    if first_relative != last_relative:
        raise _refusal(cleaned, words)
    minus, plus = (first_amount, last_amount) if first_sign == "-" else (last_amount, first_amount)
    return _checked(cleaned, Tolerance(minus, plus, first_relative))


def _amount(amount: str, whole: str, words: UnitWords) -> tuple[float, bool]:
    """Return an unsigned amount and whether it is a fraction; a bare number could be either: refused."""
    if amount[:1].isdigit() or amount[:1] in (".", ","):
        if amount.endswith(FRACTION_UNITS):
            figures = read_figures(amount, UNITS["1"])
            if figures is not None:
                return figures.value, True
        elif _has_unit(amount, words):
            figures = read_figures(amount, words)
            if figures is not None:
                return figures.value, False
    raise _refusal(whole, words)


def _has_unit(amount: str, words: UnitWords) -> bool:
    """Return whether a unit stands behind the number; a prefix alone could be a tolerance letter ("5 K")."""
    match = NUMBER.fullmatch(amount)
    suffix = find_suffix(words, match[6]) if match is not None and match[6] else None
    return suffix is not None and suffix.is_unit


def _checked(text: str, tolerance: Tolerance) -> Tolerance:
    if tolerance.minus == tolerance.plus == 0:
        raise QuantityError(f'{shown(text)} leaves nothing that could pass; write "5 %" or a letter such as "J"')
    if tolerance.relative and (tolerance.minus > 1 or tolerance.plus > LARGEST_FRACTION):
        raise QuantityError(f'{shown(text)} is more than 100 % below or 1000 % above; write "5 %" or "-20/+80 %"')
    return tolerance


def _refusal(text: str, words: UnitWords) -> QuantityError:
    one_sided = re.fullmatch(r"([+-]) *([0-9.,]*[0-9]) *([^0-9+\-]*)", text) if len(text) <= MAX_LENGTH else None
    if one_sided is not None:
        sign, figures, unit = one_sided.groups()
        if unit in FRACTION_UNITS or _has_unit(f"{figures} {unit}", words):
            both = f"-{figures}/+0 {unit}" if sign == "-" else f"-0/+{figures} {unit}"
            return QuantityError(f"{shown(text)} is a tolerance with one side only; write {shown(both)}")
    letter = ' or a letter of IEC 60062 such as "J"' if words.unit in ("ohm", "F", "H") else ""
    return QuantityError(f'{shown(text)} is not a tolerance; write "5 %"{letter}')
