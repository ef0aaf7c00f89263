"""Quantities: what people type and meters show, to SI floats and back, and the words for them.

A value is an SI float beside a quantity unit, one of the strings of `QuantityUnit`. pint is loaded only when
`convert` is called.
"""

from benchcheck.quantity.convert import convert
from benchcheck.quantity.display import Display, DisplayState, parse_display
from benchcheck.quantity.marking import (
    Marking,
    from_capacitor_code,
    from_colour_bands,
    from_eia96,
    from_smd_code,
)
from benchcheck.quantity.slip import magnitude_slip
from benchcheck.quantity.tolerance import Tolerance, parse_tolerance
from benchcheck.quantity.units import QuantityUnit
from benchcheck.quantity.value import parse_value
from benchcheck.quantity.wording import (
    bracket_value,
    brief_value,
    format_limits,
    format_percent,
    format_value,
    format_with_uncertainty,
)

__all__ = [
    "Display",
    "DisplayState",
    "Marking",
    "QuantityUnit",
    "Tolerance",
    "bracket_value",
    "brief_value",
    "convert",
    "format_limits",
    "format_percent",
    "format_value",
    "format_with_uncertainty",
    "from_capacitor_code",
    "from_colour_bands",
    "from_eia96",
    "from_smd_code",
    "magnitude_slip",
    "parse_display",
    "parse_tolerance",
    "parse_value",
]
