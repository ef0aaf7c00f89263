"""Crystal or resonator: an insulator to a meter; whether it swings shows only under power."""

from __future__ import annotations

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import part_check
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.fields import Hertz, Ohms, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["Crystal"]

_LEADS = ("1", "2")
_INSULATES = Limits(10e6, None, "common practice, no source: 10 Mohm, as far as every handheld reads")


@attrs.frozen(kw_only=True)
class Crystal(Part):
    """`kind = "crystal"`: `frequency` in hertz is kept for the record, a meter cannot check it."""

    frequency: Hertz | None = None
    insulation: Window[Ohms] | None = None


def checks(part: Crystal, around: Surroundings) -> tuple[Check, ...]:
    """Return `insulation`."""
    return (
        part_check(
            part,
            "insulation",
            Function.OHMS,
            _LEADS,
            _INSULATES,
            given=part.insulation,
            evidence=lowered_unless_alone(part, _LEADS, around),
            first_step="keep the fingers off the tips",
            why="A bridge under the can reads near zero; the feedback resistor beside it, often 1 Mohm, is no fault.",
            workaround="A counter or a receiver tells whether it swings.",
        ),
    )


KIND = Kind("crystal", Crystal, _LEADS, checks, "an insulator to a meter", two_lead=True)
