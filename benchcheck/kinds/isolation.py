"""Isolation: two nets that must not be joined, whatever lies between them."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import check, chosen, merged_switches
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.kinds.fields import Ohms, Window
from benchcheck.kinds.part import Surroundings
from benchcheck.kinds.paths import pad

__all__ = ["Isolation", "checks"]

_APART = Limits(10e3, None, "common practice, no source: nets that are not joined read 10 kohm or more")


@attrs.frozen(kw_only=True)
class Isolation:
    """`[[isolation]]`: a pair of nets and the least resistance between them in ohm."""

    nets: tuple[str, str]
    min: Ohms | None = None
    max: Ohms | None = None
    reason: str = ""
    switches: Mapping[str, str] = attrs.field(factory=dict)


def checks(isolation: Isolation, around: Surroundings) -> tuple[Check, ...]:
    """Return `isolation.resistance[A:B]`, nets sorted, red on the first."""
    first, second = sorted(isolation.nets)
    given = Window(min=isolation.min, max=isolation.max, reason=isolation.reason, switches=dict(isolation.switches))
    return (
        check(
            "isolation",
            "resistance",
            Function.OHMS,
            Phase.ISOLATION,
            chosen(given, _APART),
            pad(first, around),
            pad(second, around),
            bracket=f"{first}:{second}",
            switches=merged_switches(given),
            first_step="wait until it has stopped climbing",
            why="A solder bridge or a whisker reads near zero at once, both ways; a junction reads low one way only.",
            workaround="Wash and dry again before you believe a leak of megohms, then look under the loupe.",
            settle=True,
        ),
    )
