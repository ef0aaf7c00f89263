"""Values as people read them: engineering prefix, space, symbol; and the closed form that stands in ids."""

from __future__ import annotations

import math

from benchcheck.quantity.units import PREFIX_EXPONENTS, UnitWords, unit_words

__all__ = ["bracket_value", "format_percent", "format_value", "format_with_uncertainty"]

ID_DIGITS = 9
DEFAULT_DIGITS = 6


def format_value(
    value: float,
    quantity_unit: str,
    resolution: float | None = None,
    digits: int | None = None,
    *,
    ascii: bool = False,  # noqa: A002 (it reads as a word where it is called)
) -> str:
    """Return a value with its prefix and symbol; `ascii` writes kohm, u and degC for kΩ, µ and °C.

    `resolution` (SI) fixes the last decimal shown, `digits` the significant digits; without either up to six
    significant digits, trailing zeros dropped.

    >>> format_value(4680.0, "ohm", resolution=10.0), format_value(0.00006, "A", ascii=True)
    ('4.68 kΩ', '60 uA')
    """
    words = unit_words(quantity_unit)
    if not math.isfinite(value):
        return _joined(f"{value:g}", "", words, ascii)
    if resolution is not None:
        exponent = _last_place(resolution)
        prefix = _prefix(round(value, -exponent) if abs(exponent) < 300 else value, words)
        figures = _fixed(value, exponent, prefix)
    elif digits is not None:
        rounded = float(f"{value:.{max(digits, 1) - 1}e}")
        prefix = _prefix(rounded, words)
        figures = _fixed(rounded, _first_place(rounded) - max(digits, 1) + 1, prefix)
    else:
        rounded = float(f"{value:.{DEFAULT_DIGITS - 1}e}")
        prefix = _prefix(rounded, words)
        figures = _shortest(rounded, DEFAULT_DIGITS, prefix)
    return _joined(figures, prefix, words, ascii)


def bracket_value(value: float, quantity_unit: str) -> str:
    """Return a value as it stands in the brackets of an id: engineering prefix, ASCII, no space.

    >>> bracket_value(0.12, "A"), bracket_value(0.0, "A"), bracket_value(4.5, "V")
    ('120mA', '0A', '4.5V')
    """
    words = unit_words(quantity_unit)
    rounded = float(f"{value:.{ID_DIGITS - 1}e}")
    prefix = _prefix(rounded, words)
    return _shortest(rounded, ID_DIGITS, prefix) + prefix + words.ascii_symbol


def format_with_uncertainty(
    value: float,
    expanded: float,
    quantity_unit: str,
    *,
    ascii: bool = False,  # noqa: A002 (as in format_value)
) -> str:
    """Return value ± expanded uncertainty, both with one prefix: the uncertainty to two significant digits,
    the value to the same decimal (GUM 7.2.6).

    >>> format_with_uncertainty(4681.3, 41.2, "ohm")
    '4.681 kΩ ± 0.041 kΩ'
    """
    words = unit_words(quantity_unit)
    if expanded <= 0 or not math.isfinite(expanded):
        return format_value(value, quantity_unit, ascii=ascii)
    rounded = float(f"{expanded:.1e}")
    place = _first_place(rounded) - 1
    prefix = _prefix(max(abs(value), rounded), words)
    pair = (_joined(_fixed(number, place, prefix), prefix, words, ascii) for number in (value, rounded))
    return " ± ".join(pair)


def format_percent(fraction: float, digits: int = 3) -> str:
    """Return a fraction as percent to `digits` significant digits.

    >>> format_percent(0.0134)
    '1.34 %'
    """
    return f"{float(f'{fraction * 100:.{digits - 1}e}'):.12g} %"


def _first_place(value: float) -> int:
    """Return the power of ten of the first significant digit; 0 for zero."""
    return int(f"{value:e}".partition("e")[2]) if value else 0


def _last_place(resolution: float) -> int:
    """Return the power of ten of the last digit a resolution lets stand."""
    return _first_place(float(f"{abs(resolution):.3e}"))


def _prefix(value: float, words: UnitWords) -> str:
    """Return the prefix that leaves one to three digits before the point, within those the quantity takes."""
    if not value:
        return ""
    wanted = _first_place(value) // 3 * 3

    def distance(letter: str) -> int:
        return abs(PREFIX_EXPONENTS[letter] - wanted)

    usable: tuple[str, ...] = ("", *words.prefixes)
    return min(usable, key=distance)


def _fixed(value: float, place: int, prefix: str) -> str:
    """Return the figures behind a prefix, with the decimal of power `place` as the last one."""
    exponent = PREFIX_EXPONENTS[prefix]
    scaled = float(f"{value!r}") / 10.0**exponent if exponent >= 0 else value * 10.0**-exponent
    return _without_minus_zero(f"{scaled:.{max(exponent - place, 0)}f}")


def _shortest(value: float, digits: int, prefix: str) -> str:
    exponent = PREFIX_EXPONENTS[prefix]
    scaled = value / 10.0**exponent if exponent >= 0 else value * 10.0**-exponent
    text = f"{scaled:.{digits}g}"
    return _without_minus_zero(text if "e" not in text else f"{scaled:.12f}".rstrip("0").rstrip("."))


def _without_minus_zero(figures: str) -> str:
    return figures[1:] if figures.startswith("-") and not figures.strip("-0.") else figures


def _joined(figures: str, prefix: str, words: UnitWords, in_ascii: bool) -> str:
    symbol = words.ascii_symbol if in_ascii else words.symbol
    if not in_ascii and prefix == "u":
        prefix = "µ"
    return f"{figures} {prefix}{symbol}".rstrip()
