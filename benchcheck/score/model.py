"""A score: what came of one check. The outcome says what happened, the verdict what it shows."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from benchcheck.metrology import Budget, Verdict

__all__ = ["Outcome", "Reason", "Score", "Verdict"]


class Outcome(StrEnum):
    """What happened to a check; only a measured one has a verdict."""

    MEASURED = "measured"
    SKIPPED = "skipped"
    BLOCKED = "blocked"
    ERROR = "error"


class Reason(StrEnum):
    """Why a reading decides nothing (design: reason codes of `undecided`)."""

    METER = "meter"
    CIRCUIT = "circuit"
    COMPLIANCE = "compliance"
    ONE_SIDED = "one-sided"
    METHOD = "method"
    CONTACT = "contact"


@dataclass(frozen=True, slots=True)
class Score:
    """One scored check; numbers in the SI `quantity_unit`.

    `value` is the measurand after corrections (leads, circuit), None for overload, words or nothing read;
    `display` what was shown. `lower` and `upper` are the tolerance limits, `guard_band` the width w taken off
    each, `conformance_probability` that of the value lying inside, None where the reading does not speak for
    it. `because` is the reason in words and `change` what would change it; both are empty for a plain pass.
    """

    check: str
    outcome: Outcome
    quantity_unit: str
    verdict: Verdict | None = None
    code: Reason | None = None
    display: str = ""
    value: float | None = None
    expanded_uncertainty: float | None = None
    coverage_factor: float | None = None
    lower: float | None = None
    upper: float | None = None
    limit_origin: str = ""
    guard_band: float | None = None
    conformance_probability: float | None = None
    polarity: str = ""
    meter: str = ""
    attempts: int = 0
    because: str = ""
    change: str = ""
    budget: Budget | None = field(default=None, compare=False)
