"""Battery: its holder free of charge while parts are measured; out of the unit, its voltage at rest and loaded."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Amperes, Ohms, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["LITHIUM", "Battery"]

Cell = Literal[
    "alkaline", "zinc-carbon", "silver-oxide", "nimh", "nicd", "lithium-primary", "lithium-ion", "lead-acid"
]
LITHIUM: frozenset[str] = frozenset({"lithium-primary", "lithium-ion"})


@attrs.frozen(kw_only=True)
class Battery(Part):
    """`kind = "battery"`: `cells` in series of one `cell` chemistry; `fixed = true` when it cannot come out.

    `load` is the current in ampere of the loaded reading.
    """

    cell: Cell
    cells: int = 1
    fixed: bool = False
    load: Amperes | None = None
    residual_voltage: Window[Volts] | None = None
    open_voltage: Window[Volts] | None = None
    loaded_voltage: Window[Volts] | None = None
    internal_resistance: Window[Ohms] | None = None
