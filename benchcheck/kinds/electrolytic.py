"""Aluminium electrolytic: polarity by net, a leakage screen, capacitance, ESR, and its bias under power."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Farads, Ohms, Ratio, Tolerance, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Electrolytic", "PolarCapacitor"]


@attrs.frozen(kw_only=True)
class PolarCapacitor(Part):
    """The keys electrolytic and tantalum share: value in farad, tolerance, rated voltage, the limits.

    `polarity` gives both sides at once: `max` for the marked lead to its net, `min` for the other lead.
    `bipolar = true` leaves the checks of polarity out.
    """

    value: Farads
    tolerance: Tolerance | None = None
    rated_voltage: Volts | None = None
    loss_tangent: Ratio | None = None
    bipolar: bool = False
    residual_voltage: Window[Volts] | None = None
    polarity: Window[Ohms] | None = None
    leakage_screen: Window[Ohms] | None = None
    capacitance: Window[Farads] | None = None
    esr: Window[Ohms] | None = None
    bias: Window[Volts] | None = None


@attrs.frozen(kw_only=True)
class Electrolytic(PolarCapacitor):
    """`kind = "electrolytic"`: the marked lead is the minus."""

    technology: Literal["", "general-purpose", "low-impedance", "compact", "polymer"] = ""
