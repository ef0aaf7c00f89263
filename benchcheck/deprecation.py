"""How a public name moves without breaking anybody: the old place hands it on for a while, and says so.

A module that gave a name away sets `__getattr__ = moved(__name__, {...})`; importing the module costs nothing, using
the old name warns at the line that uses it (PEP 562).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from importlib import import_module

__all__ = ["moved"]


def moved(module: str, names: Mapping[str, tuple[str, str]]) -> Callable[[str], object]:
    """Return the `__getattr__` of a module whose names have moved: name -> (dotted successor, version it goes in).

    >>> hand_on = moved("benchcheck.old", {"tolerance": ("benchcheck.quantity.parse_tolerance", "0.3")})
    >>> with warnings.catch_warnings(record=True) as told:
    ...     warnings.simplefilter("always")
    ...     found = hand_on("tolerance")
    >>> found.__name__, str(told[0].message)
    ('parse_tolerance', 'benchcheck.old.tolerance goes in 0.3; use benchcheck.quantity.parse_tolerance')
    """

    def hand_on(name: str) -> object:
        if name not in names:
            raise AttributeError(f"module {module!r} has no attribute {name!r}")
        successor, version = names[name]
        message = f"{module}.{name} goes in {version}; use {successor}"
        warnings.warn(message, DeprecationWarning, stacklevel=2)
        home, _, attribute = successor.rpartition(".")
        return getattr(import_module(home), attribute)

    return hand_on
