"""The error of a simulated meter: fixed for one meter and range, as a real one's is, and within its specification.

Gain and zero are drawn evenly over what the specification allows each; the half digit of rounding is left room for.
"""

from __future__ import annotations

import hashlib
import math

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange

__all__ = ["chance_of", "error_of", "figures", "leads_ohm", "never_below_zero"]

_SIGNED = (Function.DC_VOLTAGE, Function.DC_CURRENT, Function.TEMPERATURE)
_PREFIXES = {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "u", -9: "n", -12: "p"}
#: what stays in a nulled reading, of the bench's bound for it.
_CONTACT_SHARE = 0.5


def chance_of(*what: object) -> float:
    """Return a number from -1 to 1 that is always the same for the same words.

    >>> chance_of(1, "gain") == chance_of(1, "gain"), -1.0 <= chance_of("x") <= 1.0
    (True, True)
    """
    text = " ".join(map(str, what))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big") / 2**31 - 1.0


def error_of(value: float, fraction: float, digits: float, resolution: float, *whose: object) -> float:
    """Return the error at a value for limits of error of `fraction` of the reading and `digits` of `resolution`.

    `whose` names meter and range; the error and the rounding together stay within the limits where `digits` is at
    least a half.
    """
    room = max(0.0, digits - 0.5) * resolution
    return fraction * value * chance_of(*whose, "gain") + room * chance_of(*whose, "zero")


def never_below_zero(function: Function, value: float, shown: float) -> float:
    """Return what is displayed: a zero error takes no reading below zero but those of volts, amperes and degrees."""
    return max(0.0, shown) if function not in _SIGNED and value >= 0.0 else shown


def figures(value: float, each: MeterRange, seed: int, meter: str) -> tuple[str, float]:
    """Return what a range of a meter displays for a true value: as text with its prefix, and as a number in SI."""
    accuracy, step = each.accuracy, each.resolution
    digits = accuracy.counts + accuracy.of_range * each.full_scale / step
    error = error_of(value, accuracy.of_reading, digits, step, seed, meter, each.function, each.full_scale)
    shown = never_below_zero(each.function, value, value + error)
    power = 3 * math.floor(math.log10(each.full_scale) / 3.0 + 1e-9)
    decimals = max(0, power - math.floor(math.log10(step) + 1e-9))
    displayed = round(shown / step) * step
    return f"{displayed / 10.0**power:.{decimals}f}{_PREFIXES.get(power, '')}", displayed


def leads_ohm(meter: Meter, seed: int) -> float:
    """Return what the leads of a meter add to a two-wire reading, in ohm: contacts where they are nulled."""
    leads, chance = meter.leads, chance_of(seed, meter.name, "leads")
    if leads.nulled:
        return _CONTACT_SHARE * leads.residual_or(meter.finest_ohms) * abs(chance)
    return max(0.0, leads.resistance_ohm + 0.9 * leads.limits_ohm * chance)
