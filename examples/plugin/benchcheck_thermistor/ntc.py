"""NTC thermistor: ohms across it at the board's ambient temperature, from its value at 25 degC and its B-value."""

from __future__ import annotations

import math

import attrs

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Resistor
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.kinds.fields import Ohms, Tolerance, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["KIND", "Ntc", "resistance_ohm"]

ZERO_C, NOMINAL_C = 273.15, 25.0
LEADS = ("1", "2")
USUAL = Tolerance(0.05, 0.05)
#: how far the part may be from the ambient temperature the spec states (common practice, no source).
AMBIENT_K = 2.0


@attrs.frozen(kw_only=True)
class Ntc(Part):
    """`kind = "ntc"`: value in ohm at 25 degC, B-value `b` in kelvin, tolerance of the value."""

    value: Ohms
    b: float = 3950.0
    tolerance: Tolerance = USUAL
    resistance: Window[Ohms] | None = None


def resistance_ohm(value_ohm: float, b_kelvin: float, celsius: float) -> float:
    """Return the resistance in ohm at a temperature, by the definition of the B-value (IEC 60539-1).

    >>> round(resistance_ohm(10_000.0, 3950.0, 25.0))
    10000
    """
    kelvin, nominal = celsius + ZERO_C, NOMINAL_C + ZERO_C
    return value_ohm * math.exp(b_kelvin * (1.0 / kelvin - 1.0 / nominal))


def limits(part: Ntc, ambient_c: float) -> Limits:
    """Return the limits in ohm: the tolerance at 25 degC, and the ambient temperature give or take 2 K."""
    warm = resistance_ohm(part.value, part.b, ambient_c + AMBIENT_K)
    cold = resistance_ohm(part.value, part.b, ambient_c - AMBIENT_K)
    lower, upper = part.tolerance.interval(warm)[0], part.tolerance.interval(cold)[1]
    return Limits(lower, upper, f"computed: value and B-value at {ambient_c:g} degC, give or take {AMBIENT_K:g} K")


def checks(part: Ntc, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    evidence = lowered_unless_alone(part, LEADS, around)
    lifted = "Other paths on the board can only lower the reading; lift a leg to be sure."
    return (
        part_check(
            part,
            "resistance",
            Function.OHMS,
            LEADS,
            limits(part, around.ambient_c),
            given=part.resistance,
            expected=resistance_ohm(part.value, part.b, around.ambient_c),
            evidence=evidence,
            first_step="Let it stand at room temperature; do not warm it with your fingers.",
            why=lifted if evidence is Evidence.LOWERED else "Nothing runs around it, so its own value is read.",
            workaround="Lift one leg and read again.",
        ),
    )


def devices(part: Ntc) -> tuple[Resistor, ...]:
    """Return what it is to the circuit around its neighbours: a resistor of its value at 25 degC."""
    first, second = part.pins.values()
    return (Resistor(part.designator, first, second, part.value),)


KIND = Kind("ntc", Ntc, LEADS, checks, "ohms across it at room temperature", two_lead=True, devices=devices)
