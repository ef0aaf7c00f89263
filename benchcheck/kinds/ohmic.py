"""Fuse, PTC, ferrite and winding: parts known by a low resistance, which wants nulled leads.

Upper limits are what convicts on a board: an open one reads whatever lies around it instead.
"""

from __future__ import annotations

import math
from itertools import pairwise

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.kinds.fields import Amperes, Ohms, Tolerance, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["Ferrite", "Fuse", "Ptc", "Winding", "cold_resistance_ohm"]

#: Littelfuse 452/454 data sheet: rated current in ampere, nominal cold resistance in ohm.
_COLD_OHM = (
    (0.375, 1.2), (0.5, 0.7), (0.75, 0.36), (1.0, 0.225), (1.5, 0.093), (2.0, 0.0625), (2.5, 0.045),
    (3.0, 0.034), (4.0, 0.0186), (5.0, 0.0136), (7.0, 0.0105), (8.0, 0.0088), (12.0, 0.0061),
)  # fmt: skip
_FUSE_FACTOR = 2.0  # common practice, no source: families differ, and a tired one has risen
_UNKNOWN_FUSE_OHM = 10.0
#: FSMD 0805 series table: hold current in ampere, R min and R1max (an hour after reflow or trip) in ohm.
_PTC_OHM = ((0.10, 0.7, 6.0), (0.20, 0.4, 3.5), (0.35, 0.25, 1.2))
_LEADS = ("1", "2")


@attrs.frozen(kw_only=True)
class Fuse(Part):
    """`kind = "fuse"`: `rated_current` gives the usual cold resistance."""

    rated_current: Amperes | None = None
    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Ptc(Part):
    """`kind = "ptc"`: a resettable fuse; `hold_current` gives the usual resistance."""

    hold_current: Amperes | None = None
    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Ferrite(Part):
    """`kind = "ferrite"`: a bead or choke that is nearly a wire at DC."""

    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Winding(Part):
    """`kind = "winding"`: one winding of a transformer, relay, motor or loudspeaker."""

    value: Ohms | None = None
    tolerance: Tolerance | None = None
    resistance: Window[Ohms] | None = None


def cold_resistance_ohm(rated_current_a: float) -> float | None:
    """Return the nominal cold resistance in ohm of a slow SMD fuse of a rated current in ampere.

    Between the listed ratings on a straight line in the logarithms; None outside them.
    """
    for (low_a, low_ohm), (high_a, high_ohm) in pairwise(_COLD_OHM):
        if low_a <= rated_current_a <= high_a:
            share = math.log(rated_current_a / low_a) / math.log(high_a / low_a)
            return low_ohm * math.exp(share * math.log(high_ohm / low_ohm))
    return None


def _fuse_limits(part: Fuse) -> Limits:
    cold = cold_resistance_ohm(part.rated_current) if part.rated_current is not None else None
    if cold is None:
        return Limits(None, _UNKNOWN_FUSE_OHM, "common practice, no source: a whole fuse has at most some ohms")
    origin = "data sheets: twice the nominal cold resistance of Littelfuse 452/454; other families differ"
    return Limits(None, _FUSE_FACTOR * cold, origin)


def _ptc_limits(part: Ptc) -> Limits:
    held = [row for row in _PTC_OHM if part.hold_current is not None and row[0] <= part.hold_current]
    _, _, highest = held[-1] if held else _PTC_OHM[0]
    return Limits(None, highest, "data sheets: R1max of the FSMD 0805 series an hour after reflow or trip")


def _winding_limits(part: Winding) -> Limits:
    if part.value is None:
        return Limits(None, 1000.0, "common practice, no source: a whole winding of a small unit stays below 1 kohm")
    lower, upper = (part.tolerance or Tolerance(0.1, 0.1)).interval(part.value)
    given = part.tolerance is not None
    usual = "common practice: service charts print windings within 10 %"
    return Limits(lower, upper, "computed: value and tolerance of the spec" if given else usual)


def _resistance(
    part: Fuse | Ptc | Ferrite | Winding, around: Surroundings, supplied: Limits, why: str, first: str = ""
) -> tuple[Check, ...]:
    evidence = lowered_unless_alone(part, _LEADS, around)
    if evidence is Evidence.LOWERED:
        why = f"{why} {phrases.LOWERED_BY_OTHERS}"
    return (
        part_check(
            part,
            "resistance",
            Function.OHMS,
            _LEADS,
            supplied,
            given=part.resistance,
            expected=part.value if isinstance(part, Winding) else None,
            evidence=evidence,
            first_step=f"{first}; {phrases.NULL_LEADS}" if first else phrases.NULL_LEADS,
            why=why,
            workaround=phrases.FORCE_CURRENT,
        ),
    )


def fuse_checks(part: Fuse, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    why = "A blown fuse on a board reads the load behind it, not OL. Whether the rating is right only the print says."
    return _resistance(part, around, _fuse_limits(part), why)


def ptc_checks(part: Ptc, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    why = "A tripped or aged one has some ohms to kilohms more, and falls while it cools."
    return _resistance(part, around, _ptc_limits(part), why, "wait an hour after soldering or a trip")


def ferrite_checks(part: Ferrite, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    supplied = Limits(None, 1.0, "common practice, no source: a bead has less than 1 ohm")
    return _resistance(part, around, supplied, "A cracked bead or a bad joint reads high.")


def winding_checks(part: Winding, around: Surroundings) -> tuple[Check, ...]:
    """Return `resistance`."""
    why = "A broken winding reads high; shorted turns hardly show here and want a comparison or a ring test."
    return _resistance(part, around, _winding_limits(part), why)


KINDS = (
    Kind("fuse", Fuse, _LEADS, fuse_checks, "low ohms across it", two_lead=True),
    Kind("ptc", Ptc, _LEADS, ptc_checks, "low ohms across a resettable fuse", two_lead=True),
    Kind("ferrite", Ferrite, _LEADS, ferrite_checks, "nearly a wire", two_lead=True),
    Kind("winding", Winding, _LEADS, winding_checks, "ohms of one winding", two_lead=True),
)
