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
    """Return the data-sheet leakage in ampere at rated voltage after two minutes: 0.01 C V, at least 3 uA.

    C in microfarad and V in volt give microampere (Lelon RGA, Rubycon ZL, Nichicon RS, up to 100 V).

    >>> leakage_a(47e-6, 25.0)
    1.175e-05
    """
    return max(0.01 * value_farad * rated_voltage, 3e-6)
