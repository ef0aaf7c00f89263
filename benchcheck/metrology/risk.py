"""Risks of deciding wrongly, for an item drawn from a population and then measured (JCGM 106, clause 9).

Three kinds, never to be mixed up. Specific: for one item with its reading known (`Conformity`). Joint: an
item is accepted and does not conform (9.5.2, consumer's), or is rejected and conforms (9.5.3, producer's).
Conditional: of the accepted items, how many do not conform; of the rejected, how many do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchcheck.errors import MetrologyError
from benchcheck.metrology.coverage import Law, OutputDistribution
from benchcheck.metrology.population import Population
from benchcheck.metrology.quadrature import integrate
from benchcheck.metrology.tolerance import ToleranceInterval

__all__ = ["GlobalRisks", "TargetGlobalRisk", "global_risks", "posterior_probability"]

#: shares of the population that are left out of an integral on each side.
_BEYOND = 1e-15


@dataclass(frozen=True, slots=True)
class GlobalRisks:
    """Probabilities for an item drawn from a population, measured and accepted or rejected.

    `joint_false_accept` is P(accepted and nonconforming), `joint_false_reject` P(rejected and conforming).
    """

    nonconforming: float
    accepted: float
    joint_false_accept: float
    joint_false_reject: float

    @property
    def conforming(self) -> float:
        """Return P(conforming)."""
        return 1.0 - self.nonconforming

    @property
    def rejected(self) -> float:
        """Return P(rejected)."""
        return 1.0 - self.accepted

    @property
    def conditional_false_accept(self) -> float:
        """Return P(nonconforming, given that the item is accepted); 0 when nothing is accepted."""
        return self.joint_false_accept / self.accepted if self.accepted > 0.0 else 0.0

    @property
    def conditional_false_reject(self) -> float:
        """Return P(conforming, given that the item is rejected); 0 when nothing is rejected."""
        return self.joint_false_reject / self.rejected if self.rejected > 0.0 else 0.0

    @property
    def accepted_of_nonconforming(self) -> float:
        """Return P(accepted, given that the item does not conform); 0 when all conform."""
        return self.joint_false_accept / self.nonconforming if self.nonconforming > 0.0 else 0.0

    @property
    def rejected_of_conforming(self) -> float:
        """Return P(rejected, given that the item conforms); 0 when none does."""
        return self.joint_false_reject / self.conforming if self.conforming > 0.0 else 0.0


def global_risks(
    population: Population,
    error: OutputDistribution,
    tolerance: ToleranceInterval,
    acceptance: ToleranceInterval | None,
) -> GlobalRisks:
    """Return the risks of measuring items of `population` with `error`, whose center does not matter.

    `acceptance` is the interval a reading must lie in; None accepts nothing.

    >>> resistors = OutputDistribution(1500.0, sigma=0.12)
    >>> risks = global_risks(
    ...     resistors, OutputDistribution(0.0, sigma=0.04),
    ...     ToleranceInterval(1499.8, 1500.2), ToleranceInterval(1499.82, 1500.18),
    ... )
    >>> round(risks.joint_false_accept, 4), round(risks.joint_false_reject, 4)
    (0.0099, 0.069)
    """
    bottom, top = tolerance.bottom, tolerance.top
    below, above = population.cdf(bottom), population.sf(top)
    conforming = max(0.0, 1.0 - (below + above))
    if acceptance is None:
        return GlobalRisks(1.0 - conforming, 0.0, 0.0, conforming)
    accept = _acceptance_probability(error, acceptance)
    corners = _corners(error, acceptance)
    low, high = population.quantile(_BEYOND), population.quantile(1.0 - _BEYOND)

    def joint(left: float, right: float, chance: Callable[[float], float]) -> float:
        left, right = max(left, low), min(right, high)
        if not left < right:
            return 0.0
        inner = [each for each in (*corners, population.quantile(0.5)) if left < each < right]
        return integrate(lambda x: population.pdf(x) * chance(x), [left, *inner, right])

    outside = joint(-math.inf, bottom, accept) + joint(top, math.inf, accept)
    wrongly_rejected = joint(bottom, top, lambda x: 1.0 - accept(x))
    accepted = conforming - wrongly_rejected + outside
    return GlobalRisks(1.0 - conforming, max(0.0, accepted), outside, wrongly_rejected)


def _acceptance_probability(error: OutputDistribution, acceptance: ToleranceInterval) -> Callable[[float], float]:
    """Return the probability that an item of true value x gives a reading in the acceptance interval."""
    centred = error.shifted(0.0)
    bottom, top = acceptance.bottom, acceptance.top
    return lambda x: centred.between(bottom - x, top - x)


def _corners(error: OutputDistribution, acceptance: ToleranceInterval) -> Sequence[float]:
    """Return where the probability of acceptance bends, and points that keep narrow steps from being missed."""
    steps = {0.0}
    for half_width in (*error.rectangular, *error.u_shaped):
        steps |= {step + sign * half_width for step in steps for sign in (1.0, -1.0)} if len(steps) < 64 else set()
    reach = error.standard_uncertainty
    steps |= {sign * factor * reach for factor in (1.0, 3.0, 8.0) for sign in (1.0, -1.0)}
    limits = [each for each in (acceptance.lower, acceptance.upper) if each is not None]
    return [limit + step for limit in limits for step in sorted(steps)]


def posterior_probability(
    population: Population, measured: OutputDistribution, tolerance: ToleranceInterval
) -> float:
    """Return the probability that a measured item of a known population conforms (JCGM 106 7.2 and annex A).

    The reading is `measured.center`; its distribution is taken as that of the error.
    """

    def density(x: float) -> float:
        return population.pdf(x) * measured.pdf(x)

    low, high = population.quantile(_BEYOND), population.quantile(1.0 - _BEYOND)
    near = [measured.center + k * measured.standard_uncertainty for k in (-8.0, -3.0, -1.0, 0.0, 1.0, 3.0, 8.0)]
    edges = [measured.center + sign * step for step in measured.rectangular for sign in (-1.0, 1.0)]
    inner = [each for each in (*near, *edges, population.quantile(0.5)) if low < each < high]
    scale = max(map(density, (low, *inner, high)))
    width = min(high - low, 16.0 * measured.standard_uncertainty)
    if not 0.0 < scale < math.inf:
        raise MetrologyError(
            f"the reading {measured.center!r} does not fit the population at all; check both before combining them"
        )
    left, right = max(low, tolerance.bottom), min(high, tolerance.top)
    accuracy = 1e-13 * scale * width
    whole = integrate(density, [low, *inner, high], accuracy)
    if not left < right:
        return 0.0
    inside = integrate(density, [left, *(each for each in inner if left < each < right), right], accuracy)
    return min(1.0, inside / whole)


@dataclass(frozen=True, slots=True)
class TargetGlobalRisk:
    """Guard band for which the risk of accepting a nonconforming item of the population is `risk`.

    The risk is joint (the 2 % of ANSI/NCSL Z540.3) or, with `conditional`, that among accepted items. No
    guard band is taken where simple acceptance stays below. The population is that of the assessment unless
    one is given here.
    """

    risk: float = 0.02
    population: Population | None = None
    conditional: bool = False

    def __post_init__(self) -> None:
        """Refuse a risk that is no probability."""
        if not 0.0 < self.risk < 1.0:
            raise MetrologyError(f"global risk {self.risk!r}: a probability between 0 and 1 is needed")

    def __str__(self) -> str:
        """Return the rule in words."""
        kind = "conditional" if self.conditional else "joint"
        return f"global risk {100 * self.risk:g} % ({kind})"

    def width(
        self,
        error: Law,
        tolerance: ToleranceInterval,
        expanded: float,
        population: Population | None = None,
    ) -> float:
        """Return w in the quantity unit of the tolerance.

        Raises MetrologyError when no population is known, or the error is only known as a simulation.
        """
        known = self.population or population
        if known is None:
            raise MetrologyError(
                f"{self}: the population of parts is not known; give it, or choose a guard band as a multiple of U"
            )

        if not isinstance(error, OutputDistribution):
            raise MetrologyError(f"{self}: it needs an error known as a distribution, not as a simulation")

        def risk(w: float) -> float:
            found = global_risks(known, error, tolerance, tolerance.narrowed(w))
            return found.conditional_false_accept if self.conditional else found.joint_false_accept

        if risk(0.0) <= self.risk:
            return 0.0
        far = 0.5 * tolerance.span
        if math.isinf(far):
            far = expanded or 1.0
            while risk(far) > self.risk:
                far *= 2.0
        return _crossing(risk, self.risk, far)


def _crossing(risk: Callable[[float], float], target: float, far: float) -> float:
    """Return the least width at which a falling risk is `target`, between 0 and `far`."""
    from scipy.optimize import brentq

    return float(brentq(lambda w: risk(w) - target, 0.0, far, xtol=1e-12 * far, rtol=1e-12))
