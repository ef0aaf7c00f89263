"""Ceramic and film capacitors: insulation, and a capacitance that others on its nets can only raise."""

from __future__ import annotations

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.kinds.fields import Farads, Ohms, Ratio, Tolerance, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import alone, lowered_unless_alone

__all__ = ["Capacitor", "capacitance_check"]

_LEADS = ("1", "2")
_USUAL = Tolerance(0.2, 0.2)
#: ceramic data sheets (Kyocera, Multicomp): 10 Gohm or 500 ohm farad, whichever is less.
_SHEET_OHM, _SHEET_OHM_FARAD = 10e9, 500.0
_READABLE_OHM = 10e6  # what every handheld still reads: common practice, no source
_SMALL_FARAD = 1e-9


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

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 20 % either way."""
        return self.tolerance or _USUAL


def insulation_limits(value_farad: float) -> Limits:
    """Return the least insulation in ohm of a capacitance: the data sheets' own, as far as a handheld reads."""
    sheet = min(_SHEET_OHM, _SHEET_OHM_FARAD / value_farad)
    if sheet < _READABLE_OHM:
        return Limits(sheet, None, "data sheets: 500 ohm farad, ceramic (Kyocera, Multicomp)")
    origin = (
        "common practice, no source: 10 Mohm, as far as every handheld reads (data sheets ask 10 Gohm or 500 ohm F)"
    )
    return Limits(_READABLE_OHM, None, origin)


def capacitance_check(
    part: Part,
    pins: tuple[str, str],
    around: Surroundings,
    value: float,
    spread: Tolerance,
    origin: str,
    given: Window[Farads] | None,
    first_step: str,
) -> Check:
    """Return `capacitance` of a part of `value` farad, red on the first pin."""
    lower, upper = spread.interval(value)
    single = alone(part, pins, around)
    small = (
        "Below 1 nF use an LCR meter, or read a known capacitor first, then both in parallel: the difference counts."
    )
    compare = "Compare with a new part of the same value on this meter."
    return part_check(
        part,
        "capacitance",
        Function.CAPACITANCE,
        pins,
        Limits(lower, upper, origin),
        given=given,
        expected=value if single else None,
        evidence=Evidence.DIRECT if single else Evidence.RAISED,
        first_step=first_step,
        why=(
            "A wrong decade and a lead that is not soldered show here; a high ESR does not."
            if single
            else f"{phrases.RAISED_BY_OTHERS} A leak in parallel raises it too."
        ),
        workaround=small if value < _SMALL_FARAD else compare,
        settle=True,
    )


def tolerance_origin(given: Tolerance | None, usual: str) -> str:
    """Return where limits from a tolerance come from: the spec's own, or the `usual` words."""
    return "computed: value and tolerance of the spec" if given is not None else usual


def checks(part: Capacitor, around: Surroundings) -> tuple[Check, ...]:
    """Return `insulation` and `capacitance`."""
    origin = tolerance_origin(part.tolerance, "common practice, no source: 20 % for want of a tolerance")
    insulation = part_check(
        part,
        "insulation",
        Function.OHMS,
        _LEADS,
        insulation_limits(part.value),
        given=part.insulation,
        evidence=lowered_unless_alone(part, _LEADS, around),
        first_step="keep the fingers off the tips",
        why="A cracked ceramic shorts, an old film part leaks; other paths on the board only lower the reading.",
        workaround="An insulation tester, at no more than the rated voltage, sees leaks a meter does not.",
        settle=True,
    )
    first = f"{phrases.COOL}; a class-2 ceramic reads high for hours"
    capacitance = capacitance_check(part, _LEADS, around, part.value, part.spread, origin, part.capacitance, first)
    return insulation, capacitance


KIND = Kind("capacitor", Capacitor, _LEADS, checks, "insulation and capacitance of ceramic or film", two_lead=True)
