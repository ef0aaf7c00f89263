"""Guard bands: how far inside a tolerance a reading must lie to be accepted (JCGM 106, clause 8).

Three ways to choose the width w: a multiple r of the expanded uncertainty; the probability that an item
accepted with its reading exactly on the acceptance limit does not conform (specific risk); or the probability
that an item drawn from the population of parts is accepted and does not conform (global risk).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from benchcheck.errors import MetrologyError
from benchcheck.metrology.tolerance import ToleranceInterval

if TYPE_CHECKING:
    from benchcheck.metrology.coverage import Law
    from benchcheck.metrology.population import Population

__all__ = ["GuardBand", "MultipleOfU", "TargetSpecificRisk"]


class GuardBand(Protocol):
    """A way to choose the width of a guard band; its text is printed with the decision rule."""

    def width(
        self,
        error: Law,
        tolerance: ToleranceInterval,
        expanded: float,
        population: Population | None = None,
    ) -> float:
        """Return w in the quantity unit of the tolerance, for an error and its expanded uncertainty."""
        ...  # pragma: no cover


@dataclass(frozen=True, slots=True)
class MultipleOfU:
    """Guard band w = r U (ILAC-G8 table 1; JCGM 106 8.3.2): 1 for w = U, 0 for simple acceptance.

    A negative r accepts beyond the limit, so that only what surely fails is rejected (guarded rejection).
    """

    r: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a multiple that is no number."""
        if not -math.inf < self.r < math.inf:
            raise MetrologyError(f"guard band of {self.r!r} U: a finite multiple is needed; write 1 for w = U")

    def __str__(self) -> str:
        """Return the rule in words."""
        return f"w = {self.r:g} U"

    def width(
        self,
        error: Law,
        tolerance: ToleranceInterval,
        expanded: float,
        population: Population | None = None,
    ) -> float:
        """Return w in the quantity unit of the tolerance."""
        return self.r * expanded


@dataclass(frozen=True, slots=True)
class TargetSpecificRisk:
    """Guard band for which a reading on the acceptance limit leaves `risk` of not conforming (JCGM 106 8.3.2).

    With two limits both are counted, so that a narrow tolerance may leave no acceptance interval.
    """

    risk: float = 0.025

    def __post_init__(self) -> None:
        """Refuse a risk that is no probability below one half."""
        if not 0.0 < self.risk <= 0.5:
            raise MetrologyError(f"specific risk {self.risk!r}: a probability above 0 and up to 0.5 is needed")

    def __str__(self) -> str:
        """Return the rule in words."""
        return f"specific risk {100 * self.risk:g} %"

    def width(
        self,
        error: Law,
        tolerance: ToleranceInterval,
        expanded: float,
        population: Population | None = None,
    ) -> float:
        """Return w in the quantity unit of the tolerance; half its width or more leaves no acceptance."""
        w = error.distance(self.risk)
        span = tolerance.span
        if math.isinf(span):
            return w
        return _both_limits(error.shifted(0.0), span, self.risk, w)


def _both_limits(error: Law, span: float, risk: float, w: float) -> float:
    """Return the least w at which the risks of both limits together are `risk`; half the span if none is."""

    def total(width: float) -> float:
        return error.sf(width) + error.sf(span - width)

    if total(w) <= risk * (1.0 + 1e-12):
        return w
    near, far = w, 0.5 * span
    if far <= near or total(far) > risk:
        return max(w, far)
    for _ in range(200):
        middle = 0.5 * (near + far)
        if not near < middle < far:
            break
        near, far = (near, middle) if total(middle) <= risk else (middle, far)
    return far
