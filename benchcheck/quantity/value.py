"""One text, one quantity: the value of a part or a limit, as typed in a spec or a bench file."""

from __future__ import annotations

from benchcheck.quantity.notation import clean, read_figures
from benchcheck.quantity.refusal import refusal
from benchcheck.quantity.units import unit_words

__all__ = ["parse_value"]


def parse_value(text: str, quantity_unit: str) -> float:
    """Return the SI value of a text in IEC 60062 or SI form; QuantityError says what was found and allowed.

    A comma is a decimal comma. m is milli and M is mega; k and K are both kilo; L, upper case, is milliohm.
    A sign is kept: whether a value may be negative is for the caller to say.

    >>> parse_value("4k7", "ohm"), parse_value("532 mV", "V"), parse_value("p47", "F")
    (4700.0, 0.532, 4.7e-13)
    """
    words = unit_words(quantity_unit)
    cleaned = clean(text)
    figures = read_figures(cleaned, words)
    if figures is None:
        raise refusal(cleaned, words)
    return figures.value
