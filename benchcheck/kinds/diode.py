"""Diode, zener and LED: forward drop on the diode function, and that it blocks the other way."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Tolerance, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Diode", "Led", "Zener"]


@attrs.frozen(kw_only=True)
class Diode(Part):
    """`kind = "diode"`: silicon unless told."""

    technology: Literal["silicon", "schottky", "germanium"] = "silicon"
    forward_drop: Window[Volts] | None = None
    reverse: Window[Volts] | None = None


@attrs.frozen(kw_only=True)
class Zener(Part):
    """`kind = "zener"`: value is the zener voltage in volt."""

    value: Volts
    tolerance: Tolerance | None = None
    forward_drop: Window[Volts] | None = None
    zener_voltage: Window[Volts] | None = None


@attrs.frozen(kw_only=True)
class Led(Part):
    """`kind = "led"`: green is the yellowish green of old indicators, "true-green" the one of blue's family."""

    colour: Literal["infrared", "red", "orange", "yellow", "green", "true-green", "blue", "white", "ultraviolet"]
    forward_drop: Window[Volts] | None = None
    reverse: Window[Volts] | None = None
