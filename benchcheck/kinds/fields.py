"""The words a spec entry is made of: what each key holds, so that one description serves three masters.

An entry class (attrs) annotates its keys with these types; the spec room parses by them, the JSON Schema is
drawn from them, and mypy sees plain floats in SI units.
"""

from typing import Any, Generic, NewType, Protocol, TypeVar

import attrs

from benchcheck.quantity import Tolerance

__all__ = [
    "Amperes",
    "Celsius",
    "Farads",
    "Gain",
    "Given",
    "Henries",
    "Hertz",
    "Ohms",
    "PerKelvin",
    "Ratio",
    "Seconds",
    "Tolerance",
    "Volts",
    "Window",
    "file_key",
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
Gain = NewType("Gain", float)  # a plain number: 110

Q = TypeVar("Q", bound=float)


@attrs.frozen(kw_only=True)
class Window(Generic[Q]):
    """A limit given in a spec: `{ min = "0.15 V", max = "0.45 V", reason = "..." }`, at least one of both.

    `switches` holds positions for this check alone, `{ S1 = "open" }`; they come before its rail's or supply's.
    """

    min: Q | None = None
    max: Q | None = None
    reason: str = ""
    switches: dict[str, str] = attrs.field(factory=dict)


class Given(Protocol):
    """What every given limit has, `Window` or one with further keys; SI units, None where a side is open."""

    @property
    def min(self) -> float | None:
        """The lower limit."""
        ...

    @property
    def max(self) -> float | None:
        """The upper limit."""
        ...

    @property
    def reason(self) -> str:
        """Why the spec sets this limit; may be empty."""
        ...

    @property
    def switches(self) -> dict[str, str]:
        """Switch positions the check is taken in, by designator: "open" or "closed"."""
        ...


def file_key(attribute: "attrs.Attribute[Any]") -> str:
    """Return how an entry's attribute is written in a spec: a word Python keeps to itself ends in `_`.

    >>> file_key(attrs.fields_dict(attrs.make_class("Entry", ["as_"]))["as_"])
    'as'
    """
    return attribute.name.rstrip("_")
