"""MOSFET: body diode, blocking with the gate discharged, gate insulation; on-resistance under power."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Amperes, Ohms, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Mosfet", "OnResistance"]


@attrs.frozen(kw_only=True)
class OnResistance:
    """`on_resistance = { max = "60 mohm", gate_drive = "4.5 V", currents = ["200 mA", "500 mA"] }`.

    `gate_drive` is the least gate-source voltage in volt (its size: give 4.5 V for a P channel too),
    `currents` the two load currents in ampere.
    """

    currents: tuple[Amperes, Amperes]
    gate_drive: Volts
    min: Ohms | None = None
    max: Ohms | None = None
    reason: str = ""
    switches: dict[str, str] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class Mosfet(Part):
    """`kind = "mosfet"`, enhancement type."""

    channel: Literal["N", "P"]
    body_diode: Window[Volts] | None = None
    blocking: Window[Volts] | None = None
    gate_insulation: Window[Ohms] | None = None
    on_resistance: OnResistance | None = None
    off_leakage: Window[Amperes] | None = None
