"""Resistor: ohms across it; on a board other paths can only lower the reading (passivity)."""

from __future__ import annotations

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.kinds.fields import Ohms, PerKelvin, Tolerance, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone
from benchcheck.kinds.preferred import usual_tolerance
from benchcheck.quantity import format_percent

__all__ = ["Resistor"]

_FILM = PerKelvin(100e-6)  # common practice: the usual metal or carbon film part
_USUAL = Tolerance(0.05, 0.05)
_JUMPER_OHM = 0.05  # from memory: what chip jumpers are sold as
_LEADS = ("1", "2")


@attrs.frozen(kw_only=True)
class Resistor(Part):
    """`kind = "resistor"`: value in ohm, tolerance, temperature coefficient per kelvin.

    Without a tolerance, `spread` is the one that goes with the series the value is preferred in.
    """

    value: Ohms
    tolerance: Tolerance | None = None
    temperature_coefficient: PerKelvin = _FILM
    resistance: Window[Ohms] | None = None

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or the usual one for the value."""
        usual = usual_tolerance(self.value)
        return self.tolerance or (Tolerance(usual[0], usual[0]) if usual else _USUAL)


def limits(part: Resistor) -> Limits:
    """Return the limits in ohm that follow from value and tolerance; a value of 0 is a jumper."""
    if not part.value:
        return Limits(None, _JUMPER_OHM, "common practice, no source: a jumper has at most 50 mohm")
    lower, upper = part.spread.interval(part.value)
    return Limits(lower, upper, _origin(part))


def _origin(part: Resistor) -> str:
    if part.tolerance is not None:
        return "computed: value and tolerance of the spec"
    usual = usual_tolerance(part.value)
    if usual is not None:
        return f"standard: IEC 60063 series {usual[1]}, with the {format_percent(usual[0])} it is usually sold in"
    return "common practice, no source: 5 % for want of a tolerance"


def checks(part: Resistor, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    evidence = lowered_unless_alone(part, _LEADS, around)
    in_circuit = evidence is Evidence.LOWERED
    one_sided = f"{phrases.LOWERED_BY_OTHERS} Two readings that differ by polarity mean a junction beside it."
    compare = "Compare on one range with a resistor of nearly this value known to 0.1 %: gain errors cancel."
    workaround = phrases.FORCE_CURRENT if part.value < phrases.SMALL_OHM / 10 else compare
    return (
        part_check(
            part,
            "resistance",
            Function.OHMS,
            _LEADS,
            limits(part),
            given=part.resistance,
            expected=part.value,
            evidence=evidence,
            first_step=phrases.NULL_LEADS if part.value < phrases.SMALL_OHM else "",
            why=one_sided if in_circuit else "Nothing runs around it, so its own value is read.",
            workaround=workaround,
        ),
    )


KIND = Kind("resistor", Resistor, _LEADS, checks, "ohms across it", two_lead=True)
