"""Aluminium electrolytic: the keys it shares with tantalum, and its own.

The marked lead is the minus on aluminium and the plus on tantalum; on which net it belongs only the plan
says: on a negative rail the plus lead goes to ground.
"""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Farads, Ohms, Ratio, Tolerance, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Electrolytic", "PolarCapacitor", "leakage_a"]

_USUAL = Tolerance(0.2, 0.2)


@attrs.frozen(kw_only=True)
class PolarCapacitor(Part):
    """The keys electrolytic and tantalum share: value in farad, tolerance, rated voltage, the limits.

    `polarity` gives both sides at once: `max` for the marked lead to its net, `min` for the other lead.
    `bipolar = true` leaves the checks of polarity out.
    """

    value: Farads
    tolerance: Tolerance | None = None
    rated_voltage: Volts | None = None
    technology: str = ""
    loss_tangent: Ratio | None = None
    bipolar: bool = False
    residual_voltage: Window[Volts] | None = None
    polarity: Window[Ohms] | None = None
    leakage_screen: Window[Ohms] | None = None
    capacitance: Window[Farads] | None = None
    esr: Window[Ohms] | None = None
    bias: Window[Volts] | None = None

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 20 % either way (letter M)."""
        return self.tolerance or _USUAL

    @property
    def marked(self) -> str:
        """The pin the print marks."""
        return "minus"

    @property
    def other(self) -> str:
        """The pin the print does not mark."""
        return "plus" if self.marked == "minus" else "minus"


@attrs.frozen(kw_only=True)
class Electrolytic(PolarCapacitor):
    """`kind = "electrolytic"`: aluminium, the marked lead is the minus."""

    technology: Literal["", "general-purpose", "low-impedance", "compact", "polymer"] = ""


def leakage_a(value_farad: float, rated_voltage: float) -> float:
    """Return the data-sheet leakage of an aluminium part in ampere, at rated voltage after some minutes.

    C in microfarad and V in volt give microampere: 0.01 C V, at least 3 uA, up to 100 V (Lelon RGA, Rubycon ZL,
    Nichicon RS); above, 0.03 C V + 15 uA up to a C V of 1000 and 0.02 C V + 25 uA beyond it (the same makers).

    >>> leakage_a(47e-6, 25.0)
    1.175e-05
    """
    charge = value_farad * rated_voltage
    if rated_voltage <= 100.0:
        return max(0.01 * charge, 3e-6)
    return 0.03 * charge + 15e-6 if charge <= 1000e-6 else 0.02 * charge + 25e-6
