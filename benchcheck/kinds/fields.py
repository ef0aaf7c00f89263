"""The words a spec entry is made of: what each key holds, so that one description serves three masters.

An entry class (attrs) annotates its keys with these types; the spec room parses by them, the JSON Schema is
drawn from them, and mypy sees plain floats in SI units.
"""

from __future__ import annotations

from typing import Generic, NewType, TypeVar

import attrs

from benchcheck.quantity import Tolerance

__all__ = [
    "Amperes",
    "Celsius",
    "Farads",
    "Henries",
    "Hertz",
    "Ohms",
    "PerKelvin",
    "Ratio",
    "Seconds",
    "Tolerance",
    "Volts",
    "Window",
]

Ohms = NewType("Ohms", float)
Volts = NewType("Volts", float)
Amperes = NewType("Amperes", float)
Farads = NewType("Farads", float)
Henries = NewType("Henries", float)
Celsius = NewType("Celsius", float)
Hertz = NewType("Hertz", float)
Seconds = NewType("Seconds", float)
Ratio = NewType("Ratio", float)  # "2 %" or 0.02
PerKelvin = NewType("PerKelvin", float)  # "100 ppm/K"

Q = TypeVar("Q", bound=float)


@attrs.frozen(kw_only=True)
class Window(Generic[Q]):
    """A limit given in a spec: `{ min = "0.15 V", max = "0.45 V", reason = "..." }`, at least one of both."""

    min: Q | None = None
    max: Q | None = None
    reason: str = ""
    switches: dict[str, str] = attrs.field(factory=dict)
