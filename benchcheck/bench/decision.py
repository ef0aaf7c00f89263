"""From the `[decision]` table of a bench file to the decision rule every verdict names."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchcheck.bench.entries import DecisionEntry, GuardBandEntry
from benchcheck.errors import MetrologyError
from benchcheck.metrology import DecisionRule, MultipleOfU, TargetSpecificRisk

if TYPE_CHECKING:
    from benchcheck.metrology import Law, Population, ToleranceInterval

__all__ = ["GlobalRiskOfParts", "decision_rule"]

#: the share of parts taken to be within tolerance where a bench file gives none (our choice, two sigma).
_USUAL_SHARE = 0.9545


@dataclass(frozen=True, slots=True)
class GlobalRiskOfParts:
    """A target global risk with a prior on the parts: normal, centred, a share `in_tolerance` conforming.

    A one-sided limit says nothing of where its parts lie: there the guard band is one expanded uncertainty.
    """

    risk: float
    in_tolerance: float = _USUAL_SHARE

    def __post_init__(self) -> None:
        if not 0.0 < self.in_tolerance < 1.0:
            raise MetrologyError(f"in_tolerance {self.in_tolerance!r}: a share between 0 and 1 is needed")
        from benchcheck.metrology import TargetGlobalRisk  # few benches ask for one, and it is slow to load

        TargetGlobalRisk(self.risk)

    def __str__(self) -> str:
        """Return the rule in words."""
        prior = f"{100 * self.in_tolerance:g} % of parts in tolerance"
        return f"global risk {100 * self.risk:g} % (joint), {prior}; w = 1 U at a single limit"

    def width(
        self,
        error: Law,
        tolerance: ToleranceInterval,
        expanded: float,
        population: Population | None = None,
    ) -> float:
        """Return w in the quantity unit of the tolerance."""
        if not math.isfinite(tolerance.span):
            return expanded
        from benchcheck.metrology import TargetGlobalRisk, normal_population

        prior = population or normal_population(tolerance, self.in_tolerance)
        return TargetGlobalRisk(self.risk).width(error, tolerance, expanded, prior)


def decision_rule(entry: DecisionEntry | None) -> DecisionRule:
    """Return the rule an entry asks for; the default rule where the entry itself was at fault.

    Raises MetrologyError when the figures make no rule.
    """
    if entry is None:
        return DecisionRule()
    if not entry.rule.strip():
        raise MetrologyError("the rule has no name; write the document and clause it is taken from")
    band = entry.guard_band
    if band == 0.0 and entry.rule == DecisionRule().name:  # a guard band of nothing is not that clause's rule
        return DecisionRule("simple acceptance (JCGM 106 8.2)", MultipleOfU(0.0), entry.coverage)
    if not isinstance(band, GuardBandEntry):
        return DecisionRule(entry.rule, MultipleOfU(band), entry.coverage)
    if band.specific_risk is not None:
        return DecisionRule(entry.rule, TargetSpecificRisk(band.specific_risk), entry.coverage)
    assert band.global_risk is not None
    share = _USUAL_SHARE if band.in_tolerance is None else band.in_tolerance
    return DecisionRule(entry.rule, GlobalRiskOfParts(band.global_risk, share), entry.coverage)
