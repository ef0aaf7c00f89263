"""From a budget to a verdict that says how sure it is (JCGM 106; ILAC-G8:09/2019, 4.2).

The probability that the value conforms comes from the exact distribution of its error, the expanded
uncertainty and so the guard band as well. A reading exactly on a limit takes the worse verdict. When the
guard bands leave no acceptance interval nothing can pass: such a measurement decides nothing, unless the
reading lies beyond a limit by more than the guard band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from benchcheck.errors import MetrologyError
from benchcheck.metrology.budget import Budget
from benchcheck.metrology.distribution import check_level, level_of_factor
from benchcheck.metrology.guard_band import GuardBand, MultipleOfU
from benchcheck.metrology.tolerance import ToleranceInterval

if TYPE_CHECKING:
    from benchcheck.metrology.coverage import Law
    from benchcheck.metrology.population import Population

__all__ = ["Conformity", "DecisionRule", "Verdict", "assess", "conformance_probability"]


class Verdict(StrEnum):
    """What a reading shows about a limit, from best to worst, or that it shows nothing."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    UNDECIDED = "undecided"


_FULL_U = MultipleOfU(1.0)
_EXACT_LEVELS = {0.6827: level_of_factor(1.0), 0.9545: level_of_factor(2.0), 0.9973: level_of_factor(3.0)}


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """How uncertainty is taken into account: name, guard band, coverage level of U, and the words allowed.

    A `coverage` of 0.9545 means the exact level of k = 2 on a normal, as 0.6827 and 0.9973 mean those of 1 and 3
    (GUM table G.2). `binary` leaves only pass and fail (ILAC-G8 4.2.1
    and 4.2.2); otherwise the conditional verdicts of 4.2.3 are given.
    """

    name: str = "ILAC-G8:09/2019 4.2.3"
    guard_band: GuardBand = _FULL_U
    coverage: float = 0.9545
    binary: bool = False

    def __post_init__(self) -> None:
        """Refuse a level that is no probability, and take a rounded sigma level for what it means."""
        check_level(self.coverage, f'decision rule "{self.name}": coverage')
        object.__setattr__(self, "coverage", _EXACT_LEVELS.get(self.coverage, self.coverage))

    def __str__(self) -> str:
        """Return the rule as it is printed in records and on sheets."""
        return f"{self.name}, {self.guard_band}, coverage {100 * self.coverage:g} %"


#: non-binary statement with guard band w = U, the rule where a bench names none.
_ILAC_G8 = DecisionRule()


@dataclass(frozen=True, slots=True)
class Conformity:
    """What a result shows about a tolerance interval; numbers in the quantity unit of the value.

    `guard_band` is the width w at each limit, `acceptance` the interval a reading must lie in to pass, None
    when the guard bands leave none; `decides` says whether any reading could pass. The nonconformance
    probability keeps its digits when it is small. The specific risks are those of this one item: that it does
    not conform although accepted, or conforms although rejected.
    """

    verdict: Verdict
    value: float
    tolerance: ToleranceInterval
    conformance_probability: float
    nonconformance_probability: float
    standard_uncertainty: float
    expanded_uncertainty: float
    coverage_factor: float
    level: float
    method: str
    guard_band: float
    acceptance: ToleranceInterval | None
    decides: bool
    rule: str

    @property
    def specific_false_accept_risk(self) -> float:
        """Return the probability that this item does not conform, should it be accepted (JCGM 106 3.3.13)."""
        return self.nonconformance_probability

    @property
    def capability_index(self) -> float:
        """Return the tolerance's width over four standard uncertainties (JCGM 106 7.6.3), infinite for one limit."""
        if self.standard_uncertainty == 0.0:
            return math.inf
        return self.tolerance.span / (4.0 * self.standard_uncertainty)

    @property
    def specific_false_reject_risk(self) -> float:
        """Return the probability that this item conforms, should it be rejected (JCGM 106 3.3.14)."""
        return self.conformance_probability


def conformance_probability(measured: Budget | Law | Population, tolerance: ToleranceInterval) -> float:
    """Return the probability that the value lies within the tolerance (JCGM 106 7.1).

    `measured` may be anything with a distribution: a budget, a simulation, a population.

    >>> from benchcheck.metrology import OutputDistribution
    >>> viscosity = OutputDistribution(13.6, sigma=1.8)
    >>> round(conformance_probability(viscosity, ToleranceInterval(12.5, 16.3)), 2)
    0.66
    """
    law = measured.distribution if isinstance(measured, Budget) else measured
    return max(0.0, 1.0 - (law.cdf(tolerance.bottom) + law.sf(tolerance.top)))


def assess(
    measured: Budget | Law,
    tolerance: ToleranceInterval,
    rule: DecisionRule = _ILAC_G8,
    *,
    population: Population | None = None,
) -> Conformity:
    """Return the verdict on a measured value, with everything it rests on.

    `measured` is a budget, a distribution, or a simulation where the model is not linear. `population` is that
    of the parts the item was drawn from; only a target global risk uses it.

    >>> from benchcheck.metrology import OutputDistribution
    >>> reading = OutputDistribution(4712.0, rectangular=(5.0,))
    >>> assess(reading, ToleranceInterval(4653.0, 4747.0)).verdict
    <Verdict.PASS: 'pass'>
    """
    law = measured.distribution if isinstance(measured, Budget) else measured
    interval = law.coverage(rule.coverage)
    w = _guard_band(rule, law, tolerance, interval.expanded_uncertainty, population)
    acceptance = tolerance.narrowed(w)
    outside = law.outside(tolerance.bottom, tolerance.top)
    return Conformity(
        verdict=_verdict(law.center, tolerance, acceptance, w, rule.binary),
        value=law.center,
        tolerance=tolerance,
        conformance_probability=1.0 - outside,
        nonconformance_probability=outside,
        standard_uncertainty=law.standard_uncertainty,
        expanded_uncertainty=interval.expanded_uncertainty,
        coverage_factor=interval.coverage_factor,
        level=rule.coverage,
        method=interval.method,
        guard_band=w,
        acceptance=acceptance,
        decides=acceptance is not None,
        rule=str(rule),
    )


def _guard_band(
    rule: DecisionRule, law: Law, tolerance: ToleranceInterval, expanded: float, population: Population | None
) -> float:
    """Return the width w at each limit; raises MetrologyError where the rule leaves none that is finite."""
    w = rule.guard_band.width(law, tolerance, expanded, population)
    if not -math.inf < w < math.inf:
        raise MetrologyError(f"guard band {w!r}: it must be a finite width; check the rule {rule}")
    return w


def _verdict(
    y: float, tolerance: ToleranceInterval, acceptance: ToleranceInterval | None, w: float, binary: bool
) -> Verdict:
    bottom, top = tolerance.bottom, tolerance.top
    beyond = y >= top + w or y <= bottom - w
    if acceptance is None:
        return Verdict.FAIL if beyond and not bottom < y < top else Verdict.UNDECIDED
    if acceptance.bottom < y < acceptance.top:
        return Verdict.PASS
    if binary or w <= 0.0 or beyond:
        return Verdict.FAIL
    return Verdict.CONDITIONAL_PASS if bottom < y < top else Verdict.CONDITIONAL_FAIL
