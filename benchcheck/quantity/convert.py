"""Conversion between units by name; pint knows the factors, and is loaded only when one is asked for."""

from __future__ import annotations

import functools
import re
from typing import TYPE_CHECKING

from benchcheck.errors import QuantityError
from benchcheck.quantity.units import shown

if TYPE_CHECKING:
    import pint

__all__ = ["convert"]

#: names, products and quotients, squares and cubes; no other powers, which could be made to take for ever.
UNIT_NAME = re.compile(r"(?:1|[A-Za-zµμΩ°%]{1,32})(?:\^[23])?(?:[*/][A-Za-zµμΩ°%]{1,32}(?:\^[23])?){0,3}")


@functools.cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Return a value converted from one unit to another, both named as in SI ("degF", "mohm", "inch").

    QuantityError when a unit is unknown or the two measure different quantities.

    >>> round(convert(73.4, "degF", "degC"), 9)
    23.0
    """
    for name in (from_unit, to_unit):
        if UNIT_NAME.fullmatch(name) is None:
            raise QuantityError(f'{shown(name)} is not the name of a unit; write one such as "kohm" or "degC"')
    import pint

    try:
        quantity = _registry().Quantity(value, from_unit)
        return float(quantity.to(to_unit).magnitude)
    except (pint.PintError, AttributeError, TypeError, ValueError, ArithmeticError) as error:
        raise QuantityError(
            f"{shown(from_unit)} cannot be converted to {shown(to_unit)}: {error}; write two units of one quantity"
        ) from error
