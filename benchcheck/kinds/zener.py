"""Zener: forward like silicon; in reverse its own voltage, where the meter reaches that high.

A diode function passes about 1 mA where data sheets specify 5 mA: below the knee a good part reads low, the
more so the lower its voltage, so the lower limit is let down by the data sheets' dynamic resistance.
"""

from __future__ import annotations

import math
from itertools import pairwise

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.diode import forward_check
from benchcheck.kinds.fields import Tolerance, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["Zener", "knee_v"]

_PINS, _REVERSE = ("anode", "cathode"), ("cathode", "anode")
_USUAL = Tolerance(0.05, 0.05)
_FORWARD = Limits(0.55, 0.80, "common practice, no source: as silicon at about 1 mA")
#: BZX84C data sheet: zener voltage in volt, maximum dynamic resistance in ohm at 1 mA.
_DYNAMIC_OHM = ((3.3, 600.0), (4.7, 500.0), (5.1, 480.0), (5.6, 400.0), (6.2, 150.0), (6.8, 80.0), (12.0, 150.0))
_SPECIFIED_MA = 5.0


@attrs.frozen(kw_only=True)
class Zener(Part):
    """`kind = "zener"`: value is the zener voltage in volt."""

    value: Volts
    tolerance: Tolerance | None = None
    forward_drop: Window[Volts] | None = None
    zener_voltage: Window[Volts] | None = None

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 5 % either way."""
        return self.tolerance or _USUAL


def knee_v(zener_voltage: float) -> float:
    """Return how far below its 5 mA voltage, in volt, a good zener may sit at 1 mA; at most a third of it.

    With the dynamic resistance falling as 1/I that is r(1 mA) x 1 mA x ln 5, r from the BZX84C data sheet.
    """
    volts = min(max(zener_voltage, _DYNAMIC_OHM[0][0]), _DYNAMIC_OHM[-1][0])
    ohm = _DYNAMIC_OHM[-1][1]
    for (low, low_ohm), (high, high_ohm) in pairwise(_DYNAMIC_OHM):
        if low <= volts <= high:
            ohm = low_ohm + (high_ohm - low_ohm) * (volts - low) / (high - low)
            break
    return min(ohm * 1e-3 * math.log(_SPECIFIED_MA), zener_voltage / 3)


def zener_limits(part: Zener) -> Limits:
    """Return the limits in volt at about 1 mA."""
    lower, upper = part.spread.interval(part.value)
    vouched = "value and tolerance of the spec" if part.tolerance is not None else "value and the usual 5 %"
    return Limits(
        lower - knee_v(part.value), upper, f"computed: {vouched}, less the knee at 1 mA (BZX84C data sheet)"
    )


def checks(part: Zener, around: Surroundings) -> tuple[Check, ...]:
    """Return `forward_drop` and `zener_voltage`."""
    why = "Red on the anode it is a silicon diode; near zero both ways is a short."
    reverse = part_check(
        part,
        "zener_voltage",
        Function.DIODE,
        _REVERSE,
        zener_limits(part),
        given=part.zener_voltage,
        expected=part.value,
        evidence=lowered_unless_alone(part, _REVERSE, around),
        why="Red on the cathode the meter shows the zener voltage if it reaches that high, and OL if it does not.",
        workaround=f"Bench supply through 1 kohm, current limit first; read across it at {_current(part.value)}.",
    )
    return forward_check(part, around, _FORWARD, part.forward_drop, why, phrases.LIFT_LEAD), reverse


def _current(zener_voltage: float) -> str:
    return "5 mA" if zener_voltage <= 24 else "2 mA"  # BZX84C: test current 5 mA, 2 to 2.5 mA above 24 V


KIND = Kind("zener", Zener, _PINS, checks, "forward drop and zener voltage")
