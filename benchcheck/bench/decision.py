"""From the `[decision]` table of a bench file to the decision rule every verdict names."""

from __future__ import annotations

from benchcheck.bench.entries import DecisionEntry, GuardBandEntry
from benchcheck.metrology import DecisionRule, MultipleOfU, TargetSpecificRisk

__all__ = ["decision_rule"]


def decision_rule(entry: DecisionEntry | None) -> DecisionRule:
    """Return the rule an entry asks for; the default rule where the entry itself was at fault.

    Raises MetrologyError when the figures make no rule.
    """
    if entry is None:
        return DecisionRule()
    band = entry.guard_band
    if not isinstance(band, GuardBandEntry):
        return DecisionRule(entry.rule, MultipleOfU(band), entry.coverage)
    if band.specific_risk is not None:
        return DecisionRule(entry.rule, TargetSpecificRisk(band.specific_risk), entry.coverage)
    raise NotImplementedError
