"""Inductor: winding resistance, and inductance where the spec gives a value."""

from __future__ import annotations

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.capacitor import tolerance_origin
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.kinds.fields import Henries, Ohms, Tolerance, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["Inductor"]

_LEADS = ("1", "2")
_USUAL = Tolerance(0.2, 0.2)
_CHOKE_OHM = 50.0


@attrs.frozen(kw_only=True)
class Inductor(Part):
    """`kind = "inductor"`: value in henry and tolerance where inductance is to be checked."""

    value: Henries | None = None
    tolerance: Tolerance | None = None
    dc_resistance: Window[Ohms] | None = None
    inductance: Window[Henries] | None = None

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 20 % either way (letter M)."""
        return self.tolerance or _USUAL


def checks(part: Inductor, around: Surroundings) -> tuple[Check, ...]:
    """Return `dc_resistance`, and `inductance` where a value or a limit is given."""
    evidence = lowered_unless_alone(part, _LEADS, around)
    one_sided = f" {phrases.LOWERED_BY_OTHERS}" if evidence is Evidence.LOWERED else ""
    resistance = part_check(
        part,
        "dc_resistance",
        Function.OHMS,
        _LEADS,
        Limits(None, _CHOKE_OHM, "common practice: chokes have up to 50 ohm, power parts up to 1 ohm"),
        given=part.dc_resistance,
        evidence=evidence,
        first_step=phrases.NULL_LEADS,
        why=f"A broken wire or a cold joint reads high; shorted turns hardly show here.{one_sided}",
        workaround=phrases.FORCE_CURRENT,
    )
    if part.value is None and part.inductance is None:
        return (resistance,)
    return resistance, _inductance(part, evidence)


def _inductance(part: Inductor, evidence: Evidence) -> Check:
    lower, upper = part.spread.interval(part.value) if part.value is not None else (None, None)
    usual = "common practice: 20 % (letter M, the usual power part at 100 kHz)"
    return part_check(
        part,
        "inductance",
        Function.INDUCTANCE,
        _LEADS,
        Limits(lower, upper, tolerance_origin(part.tolerance, usual)),
        given=part.inductance,
        expected=part.value if evidence is Evidence.DIRECT else None,
        evidence=evidence,
        why="Shorted turns pull the inductance down; state the test frequency with the reading.",
        workaround="Compare with a new part on an LCR meter at the frequency of use.",
    )


KIND = Kind("inductor", Inductor, _LEADS, checks, "winding resistance, inductance if given", two_lead=True)
