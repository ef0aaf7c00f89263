"""Values as people read them: engineering prefix, space, symbol; and the closed form that stands in ids.

Rounding is done on decimal digits, half to even, so what is printed is the value and not its binary neighbour.
"""

from __future__ import annotations

import functools
import math
from decimal import Decimal

from benchcheck.quantity.units import PREFIX_EXPONENTS, UnitWords, unit_words

__all__ = ["bracket_value", "brief_value", "format_percent", "format_value", "format_with_uncertainty"]

ID_DIGITS = 9
DEFAULT_DIGITS = 6


def format_limits(lower: float | None, upper: float | None, quantity_unit: str, *, ascii: bool = False) -> str:  # noqa: A002
    """Return an interval in words, "" when open on both sides; `ascii` as for `format_value`.

    >>> format_limits(4650.0, 4750.0, "ohm", ascii=True), format_limits(None, 0.4, "ohm", ascii=True)
    ('4.65 kohm to 4.75 kohm', 'at most 400 mohm')
    """
    low, high = ("" if limit is None else format_value(limit, quantity_unit, ascii=ascii) for limit in (lower, upper))
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else ""


def format_value(
    value: float,
    quantity_unit: str,
    resolution: float | None = None,
    digits: int | None = None,
    *,
    ascii: bool = False,  # noqa: A002 (it reads as a word where it is called)
) -> str:
    """Return a value with its prefix and symbol; `ascii` writes kohm, u and degC for kΩ, µ and °C.

    `resolution` (SI, above zero) fixes the last decimal shown, `digits` the significant digits; without either
    up to six significant digits, trailing zeros dropped.

    >>> format_value(4680.0, "ohm", resolution=10.0), format_value(0.00006, "A", ascii=True)
    ('4.68 kΩ', '60 uA')
    """
    words = unit_words(quantity_unit)
    if not math.isfinite(value):
        return _joined(f"{value:g}", "", words, ascii)
    if resolution is not None and resolution > 0:
        rounded = _to_place(value, place := _first_place(_to_digits(resolution, 4)))
        prefix = _prefix_down_to(place, rounded, words)
    else:
        rounded = _to_digits(value, digits or DEFAULT_DIGITS)
        place = _first_place(rounded) - (digits or DEFAULT_DIGITS) + 1
        prefix = _prefix(rounded, words)
    figures = _figures(rounded, place, prefix)
    if resolution is None and digits is None:
        figures = _without_trailing_zeros(figures)
    return _joined(figures, prefix, words, ascii)


def brief_value(value: float, quantity_unit: str, digits: int = 4) -> str:
    """Return a value in ASCII to at most so many significant digits, quickly: for sentences made by the thousand.

    >>> brief_value(4681.27, "ohm"), brief_value(0.05, "V"), brief_value(1e6, "ohm")
    ('4.681 kohm', '50 mV', '1 Mohm')
    """
    mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
    words = unit_words(quantity_unit)
    if exponent and float(mantissa):
        prefix = _nearest_prefix(int(exponent) // 3 * 3, words.prefixes)
        figures = float(f"{mantissa}e{int(exponent) - PREFIX_EXPONENTS[prefix]}")
        if 1.0 <= abs(figures) < 1000.0:
            return f"{figures:.12g} {prefix}{words.ascii_symbol}"
    return format_value(float(f"{value:.{digits}g}"), quantity_unit, ascii=True)


def bracket_value(value: float, quantity_unit: str) -> str:
    """Return a finite value as it stands in the brackets of an id: engineering prefix, ASCII, no space.

    >>> bracket_value(0.12, "A"), bracket_value(0.0, "A"), bracket_value(4.5, "V")
    ('120mA', '0A', '4.5V')
    """
    words = unit_words(quantity_unit)
    rounded = _to_digits(value, ID_DIGITS)
    prefix = _prefix(rounded, words)
    figures = _figures(rounded, _first_place(rounded) - ID_DIGITS + 1, prefix)
    return _without_trailing_zeros(figures) + prefix + words.ascii_symbol


def format_with_uncertainty(
    value: float,
    expanded: float,
    quantity_unit: str,
    *,
    ascii: bool = False,  # noqa: A002 (as in format_value)
) -> str:
    """Return value ± expanded uncertainty, both with one prefix: the uncertainty to two significant digits,
    the value to the same decimal (GUM 7.2.6). An uncertainty that is zero or not finite is left out.

    >>> format_with_uncertainty(4681.3, 41.2, "ohm")
    '4.681 kΩ ± 0.041 kΩ'
    """
    words = unit_words(quantity_unit)
    if not (math.isfinite(value) and math.isfinite(expanded) and expanded > 0):
        return format_value(value, quantity_unit, ascii=ascii)
    uncertainty = _to_digits(expanded, 2)
    place = _first_place(uncertainty) - 1
    rounded = _to_place(value, place)
    prefix = _prefix_down_to(place, max(abs(rounded), uncertainty), words)
    pair = (_joined(_figures(number, place, prefix), prefix, words, ascii) for number in (rounded, uncertainty))
    return " ± ".join(pair)


def format_percent(fraction: float, digits: int = 3) -> str:
    """Return a fraction as percent, to at most `digits` significant digits.

    >>> format_percent(0.0134)
    '1.34 %'
    """
    if not math.isfinite(fraction):
        return f"{fraction:g} %"
    percent = _to_digits(fraction, digits).scaleb(2)
    return f"{_without_trailing_zeros(f'{percent:f}')} %"


def _to_digits(value: float, digits: int) -> Decimal:
    """Return a value rounded to significant digits."""
    exact = Decimal(repr(float(value)))
    return _to_place(value, _first_place(exact) - digits + 1)


def _to_place(value: float, place: int) -> Decimal:
    """Return a value rounded to the decimal of power `place`, half to even."""
    exact = Decimal(repr(float(value)))
    return exact if place < _last_place(exact) else round(exact, -place)


def _first_place(value: Decimal) -> int:
    """Return the power of ten of the first significant digit; 0 for zero."""
    return value.adjusted() if value else 0


def _last_place(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _prefix(value: Decimal, words: UnitWords) -> str:
    """Return the prefix that leaves one to three digits before the point, within those the quantity takes."""
    if not value:
        return ""
    nearest: str = _nearest_prefix(_first_place(value) // 3 * 3, words.prefixes)
    return nearest


@functools.cache
def _nearest_prefix(wanted: int, prefixes: str) -> str:
    """Return the prefix whose exponent is nearest to the wanted one, none included."""
    letters: tuple[str, ...] = ("", *prefixes)
    return min(letters, key=lambda letter: abs(PREFIX_EXPONENTS[letter] - wanted))


def _prefix_down_to(place: int, value: Decimal, words: UnitWords) -> str:
    """Return the prefix, a larger one where the last digit shown would otherwise claim more than `place`.

    100 ohm known to ten ohm is 0.10 kohm.
    """
    prefix = _prefix(value, words)
    needed = max(place, PREFIX_EXPONENTS[prefix])
    usable = sorted(("", *words.prefixes), key=PREFIX_EXPONENTS.__getitem__)
    return next((letter for letter in usable if PREFIX_EXPONENTS[letter] >= needed), prefix)


def _figures(value: Decimal, place: int, prefix: str) -> str:
    """Return the figures in front of a prefix, down to the decimal of power `place`."""
    exponent = PREFIX_EXPONENTS[prefix]
    figures = f"{value.scaleb(-exponent):.{max(exponent - place, 0)}f}"
    return figures if figures.strip("-0.") else figures.removeprefix("-")


def _without_trailing_zeros(figures: str) -> str:
    return figures.rstrip("0").rstrip(".") if "." in figures else figures


def _joined(figures: str, prefix: str, words: UnitWords, in_ascii: bool) -> str:
    if in_ascii:
        return f"{figures} {prefix}{words.ascii_symbol}".rstrip()
    return f"{figures} {'µ' if prefix == 'u' else prefix}{words.symbol}".rstrip()
