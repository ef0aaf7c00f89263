"""Ceramic and film capacitors: insulation, and a capacitance that others on its nets can only raise."""

from __future__ import annotations

import attrs

from benchcheck.kinds.fields import Farads, Ohms, Ratio, Tolerance, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Capacitor"]


@attrs.frozen(kw_only=True)
class Capacitor(Part):
    """`kind = "capacitor"`: value in farad, tolerance, rated voltage; `technology` "ceramic", "film", "X7R"."""

    value: Farads
    tolerance: Tolerance | None = None
    rated_voltage: Volts | None = None
    technology: str = ""
    loss_tangent: Ratio | None = None
    insulation: Window[Ohms] | None = None
    capacitance: Window[Farads] | None = None
