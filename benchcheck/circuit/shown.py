"""What a meter shows, as a value: the number, or overload and why, and how it moves with every part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from .parameters import Key
from .solution import JunctionState

__all__ = ["MeterReading", "Overload", "Slopes", "Solved"]

Overload = Literal["", "full scale", "compliance", "no path", "not in time", "inductive"]


@dataclass(frozen=True, slots=True)
class MeterReading:
    """What the meter shows: `value` in `quantity_unit`, or None with `display` "OL" and the reason in `overload`.

    `full_scale`: of the range it settled in; `port_voltage_v` and `port_current_a`: red against black, and
    out of red (direct-current functions); `junctions`: the state of every junction while it reads.
    """

    function: str
    value: float | None
    quantity_unit: str
    full_scale: float
    overload: Overload = ""
    port_voltage_v: float | None = None
    port_current_a: float | None = None
    junctions: tuple[JunctionState, ...] = ()

    @property
    def display(self) -> Literal["number", "OL"]:
        """Whether a number or OL is shown."""
        return "OL" if self.value is None else "number"


Slopes = dict[Key, float]


@dataclass(frozen=True, slots=True)
class Solved:
    """A reading and a way to its slopes, worked out only when asked for."""

    reading: MeterReading
    slopes: Callable[[], Slopes] = field(default=dict)
