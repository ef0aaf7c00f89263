"""An uncertainty budget: a value, what may be wrong with it, and what follows (GUM 5, G.4; JCGM 101).

Contributions with the same id are one physical error and add with their signs before anything is squared;
so a difference or ratio of two readings on one meter keeps only what the two do not share. Further
correlations are stated as coefficients between ids.
"""

# ruff: noqa: A002 - a contribution's id is called `id` wherever it is given
from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from benchcheck.errors import MetrologyError
from benchcheck.metrology.contribution import Contribution
from benchcheck.metrology.correlation import (
    Correlation,
    checked_correlations,
    coherent,
    combined,
    groups,
    is_one_error,
)
from benchcheck.metrology.coverage import CoverageInterval, OutputDistribution
from benchcheck.metrology.distribution import (
    Distribution,
    coverage_factor,
    level_of_factor,
    whole_degrees_of_freedom,
)
from benchcheck.metrology.repeatability import type_a

__all__ = ["Budget", "BudgetRow", "correlation_coefficient", "covariance", "difference", "ratio"]

_SET = object.__setattr__


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of the table a metrologist recomputes with a pencil.

    figure / divisor = standard_uncertainty; x |sensitivity| = output_uncertainty; its square over that of the
    combined standard uncertainty = share (correlated lines carry their part of the cross terms).
    """

    id: str
    contribution: str
    figure: float
    distribution: Distribution
    divisor: float
    standard_uncertainty: float
    sensitivity: float
    output_uncertainty: float
    share: float
    degrees_of_freedom: float
    origin: str


@dataclass(frozen=True, slots=True)
class Budget:
    """A value with its contributions; `quantity_unit` is that of the value.

    Raises MetrologyError for a value that is not finite, correlations that name no contribution or fit no
    joint distribution, and one id with two distributions.

    >>> reading = Budget(4700.0, "ohm", (
    ...     Contribution.from_limits("dmm.accuracy", "meter accuracy", 40.6),
    ...     Contribution.from_limits("leads", "lead resistance", 0.1),
    ... ))
    >>> round(reading.combined_standard_uncertainty, 2)
    23.44
    >>> interval = reading.coverage(0.95)
    >>> round(interval.expanded_uncertainty, 1), round(interval.coverage_factor, 3)
    (38.6, 1.645)
    """

    value: float
    quantity_unit: str
    contributions: tuple[Contribution, ...]
    correlations: tuple[Correlation, ...] = ()
    combined_standard_uncertainty: float = field(init=False, compare=False)

    def __post_init__(self) -> None:
        """Join contributions of one id, check the correlations and combine."""
        if not -math.inf < self.value < math.inf:
            raise MetrologyError(f"budget value {self.value!r} {self.quantity_unit}: a finite number is needed")
        contributions = tuple(self.contributions)
        if len({each.id for each in contributions}) < len(contributions):
            contributions = coherent(contributions)
        _SET(self, "contributions", contributions)
        if self.correlations:
            _SET(self, "correlations", checked_correlations(contributions, self.correlations))
        _SET(self, "combined_standard_uncertainty", combined(contributions, self.correlations))

    @classmethod
    def from_readings(
        cls, id: str, label: str, readings: Sequence[float], quantity_unit: str, *others: Contribution
    ) -> Budget:
        """Return the mean of repeated readings with its type A contribution and whatever else is given."""
        repeat = Contribution.from_readings(id, label, readings)
        return cls(type_a(readings, label).mean, quantity_unit, (repeat, *others))

    @classmethod
    def from_estimate(
        cls,
        id: str,
        value: float,
        standard_uncertainty: float,
        quantity_unit: str = "",
        *,
        degrees_of_freedom: float = math.inf,
    ) -> Budget:
        """Return the budget of a value whose standard uncertainty is stated: one normal contribution."""
        part = Contribution.from_standard(id, id, standard_uncertainty, degrees_of_freedom=degrees_of_freedom)
        return cls(value, quantity_unit, (part,))

    @property
    def shares(self) -> tuple[float, ...]:
        """Return each contribution's part of the combined variance, in order; they add up to 1.

        A part can be negative where a correlation takes away. All 0 when nothing is uncertain.
        """
        total = self.combined_standard_uncertainty
        if total == 0.0:
            return (0.0,) * len(self.contributions)
        signed = [each.sensitivity * each.standard_uncertainty / total for each in self.contributions]
        found = [each * each for each in signed]
        place = {each.id: position for position, each in enumerate(self.contributions)}
        for first, second, coefficient in self.correlations:
            i, j = place[first], place[second]
            both = coefficient * signed[i] * signed[j]
            found[i] += both
            found[j] += both
        return tuple(found)

    @property
    def effective_degrees_of_freedom(self) -> float:
        """Return the Welch-Satterthwaite effective degrees of freedom, not yet truncated (GUM G.4.1).

        Correlated contributions count as one, with the fewest degrees of freedom among them.
        """
        total = self.combined_standard_uncertainty
        if total == 0.0:
            return math.inf
        return _welch_satterthwaite((part / total, dof) for part, dof in _independent_parts(self))

    def rows(self) -> tuple[BudgetRow, ...]:
        """Return the budget as a table, in the order of the contributions."""
        return tuple(
            BudgetRow(
                each.id, each.label, each.figure, each.distribution, each.divisor, each.standard_uncertainty,
                each.sensitivity, each.output_uncertainty, share, each.degrees_of_freedom, each.origin,
            )
            for each, share in zip(self.contributions, self.shares, strict=True)
        )  # fmt: skip

    @property
    def distribution(self) -> OutputDistribution:
        """Return the exact distribution of the value, as far as the contributions settle it.

        A bounded contribution that is only partly correlated with others counts as normal. The normal
        contributions together are Student's t when their effective degrees of freedom are finite.
        When limits of error are themselves uncertain (finite degrees of freedom of a bounded contribution)
        the whole is Student's t with the effective degrees of freedom, as in the GUM.
        """
        return _distribution(self)

    def coverage(self, level: float = 0.95) -> CoverageInterval:
        """Return the interval that covers the value with probability `level`, from the exact distribution."""
        return self.distribution.coverage(level)

    def gum_coverage(self, level: float = 0.95) -> CoverageInterval:
        """Return the interval the GUM's own procedure gives: k from Student's t, shapes ignored (G.6.4)."""
        dof = whole_degrees_of_freedom(self.effective_degrees_of_freedom)
        name = "normal" if math.isinf(dof) else f"Student's t with {dof:g} degrees of freedom"
        return self._interval(coverage_factor(level, dof), level, f"{name} (GUM G.6.4)")

    def expanded(self, coverage_factor: float = 2.0) -> CoverageInterval:
        """Return the interval of a stated coverage factor, with the level it has on this distribution."""
        expanded = coverage_factor * self.combined_standard_uncertainty
        level_of_factor(coverage_factor)
        distribution = self.distribution
        level = distribution.between(self.value - expanded, self.value + expanded)
        return self._interval(coverage_factor, level, f"k = {coverage_factor:g}, {distribution.method}")

    def _interval(self, factor: float, level: float, method: str) -> CoverageInterval:
        expanded = factor * self.combined_standard_uncertainty
        return CoverageInterval(self.value - expanded, self.value + expanded, expanded, factor, level, method)

    def with_contributions(self, *further: Contribution) -> Budget:
        """Return the budget with further contributions."""
        return replace(self, contributions=(*self.contributions, *further))

    def scaled(self, factor: float, quantity_unit: str | None = None) -> Budget:
        """Return the budget of `factor` times the value."""
        unit = self.quantity_unit if quantity_unit is None else quantity_unit
        parts = tuple(each.times(factor) for each in self.contributions)
        return Budget(self.value * factor, unit, parts, self.correlations)


def _independent_parts(budget: Budget) -> list[tuple[float, float]]:
    """Return (output uncertainty, degrees of freedom) of parts that are independent of each other."""
    if not budget.correlations:
        return [(each.output_uncertainty, each.degrees_of_freedom) for each in budget.contributions]
    found = []
    for members in groups(budget.contributions, budget.correlations):
        fewest = min(each.degrees_of_freedom for each in members)
        found.append((combined(members, budget.correlations), fewest))
    return found


def _welch_satterthwaite(parts: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of parts given as ratios to the combined uncertainty."""
    inverse = math.fsum(ratio**4 / dof for ratio, dof in parts if dof < math.inf)
    return math.inf if inverse < 1e-300 else 1.0 / inverse


def _distribution(budget: Budget) -> OutputDistribution:
    rectangular: list[float] = []
    u_shaped: list[float] = []
    normal: list[tuple[float, float]] = []
    for each in _single_parts(budget, normal):
        c = abs(each.sensitivity)
        if each.distribution is Distribution.NORMAL:
            normal.append((c * each.standard_uncertainty, each.degrees_of_freedom))
        elif each.degrees_of_freedom < math.inf and each.output_uncertainty > 0.0:
            return _student(budget)
        elif each.distribution is Distribution.U_SHAPED:
            u_shaped.append(c * (each.half_width or 0.0))
        else:
            rectangular.extend(c * part for part in _rectangular_parts(each))
    sigma = math.hypot(*(part for part, _ in normal))
    dof = math.inf
    if sigma > 0.0:
        dof = whole_degrees_of_freedom(_welch_satterthwaite((part / sigma, nu) for part, nu in normal))
    return OutputDistribution(budget.value, tuple(rectangular), sigma, dof, tuple(u_shaped))


def _single_parts(budget: Budget, normal: list[tuple[float, float]]) -> Iterable[Contribution]:
    """Return independent contributions; what is correlated beyond that goes into `normal` as one term each.

    Coefficients of one and minus one make several contributions of one shape a single one of that shape.
    """
    if not budget.correlations:
        return budget.contributions
    found = []
    for members in groups(budget.contributions, budget.correlations):
        total = combined(members, budget.correlations)
        first = members[0]
        if len(members) == 1:
            found.append(first)
        elif is_one_error(members, budget.correlations):
            found.append(replace(first, sensitivity=total / first.standard_uncertainty))
        else:
            normal.append((total, min(each.degrees_of_freedom for each in members)))
    return found


def _student(budget: Budget) -> OutputDistribution:
    dof = whole_degrees_of_freedom(budget.effective_degrees_of_freedom)
    return OutputDistribution(budget.value, (), budget.combined_standard_uncertainty, dof)


def _rectangular_parts(contribution: Contribution) -> tuple[float, ...]:
    """Return the half-widths of the rectangular terms a bounded contribution is the sum of."""
    a = contribution.half_width or 0.0
    if contribution.distribution is Distribution.RECTANGULAR:
        return (a,)
    if contribution.distribution is Distribution.TRIANGULAR or a == 0.0:
        return (0.5 * a, 0.5 * a)
    top = math.sqrt(max(0.0, min(1.0, 6.0 * (contribution.standard_uncertainty / a) ** 2 - 1.0)))
    return (0.5 * a * (1.0 + top), 0.5 * a * (1.0 - top))


def covariance(first: Budget, second: Budget, correlations: Iterable[Correlation] = ()) -> float:
    """Return the covariance of two values through the contributions they share and the stated correlations.

    `correlations` are coefficients beyond those the budgets carry.
    """
    own = {each.id: each.sensitivity * each.standard_uncertainty for each in first.contributions}
    other = {each.id: each.sensitivity * each.standard_uncertainty for each in second.contributions}
    terms = [own[name] * other[name] for name in own.keys() & other.keys()]
    for a, b, coefficient in {*first.correlations, *second.correlations, *correlations}:
        terms.append(coefficient * own.get(a, 0.0) * other.get(b, 0.0))
        terms.append(coefficient * own.get(b, 0.0) * other.get(a, 0.0))
    return math.fsum(terms)


def correlation_coefficient(first: Budget, second: Budget) -> float:
    """Return the correlation coefficient of two values; 0 when either is certain."""
    both = first.combined_standard_uncertainty * second.combined_standard_uncertainty
    return covariance(first, second) / both if both > 0.0 else 0.0


def difference(
    minuend: Budget, subtrahend: Budget, remaining: Iterable[Contribution] = (), *, value: float | None = None
) -> Budget:
    """Return the budget of minuend - subtrahend; what both share cancels with its sign.

    `remaining` holds what sharing does not remove, in the unit of the difference: differential linearity,
    repeatability, drift between the readings. `value` replaces the plain difference where it is corrected.

    >>> gain = Contribution.from_limits("dmm.offset", "meter offset", 3e-3)
    >>> left, right = Budget(0.652, "V", (gain,)), Budget(0.648, "V", (gain,))
    >>> difference(left, right).combined_standard_uncertainty
    0.0
    """
    _same_unit(minuend, subtrahend)
    parts = (
        *minuend.contributions,
        *(each.times(-1.0) for each in subtrahend.contributions),
        *remaining,
    )
    result = minuend.value - subtrahend.value if value is None else value
    return Budget(result, minuend.quantity_unit, parts, _joined(minuend, subtrahend))


def ratio(numerator: Budget, denominator: Budget, remaining: Iterable[Contribution] = ()) -> Budget:
    """Return the budget of numerator / denominator; a gain error both share cancels.

    `remaining` holds what sharing does not remove, as a ratio. Raises MetrologyError when the denominator is
    zero.
    """
    below = denominator.value
    if below == 0.0:
        raise MetrologyError("ratio: the denominator is 0; a ratio needs a value that is not")
    value = numerator.value / below
    parts = (
        *(each.times(1.0 / below) for each in numerator.contributions),
        *(each.times(-value / below) for each in denominator.contributions),
        *remaining,
    )
    unit = (
        ""
        if numerator.quantity_unit == denominator.quantity_unit
        else (f"{numerator.quantity_unit}/{denominator.quantity_unit}")
    )
    return Budget(value, unit, parts, _joined(numerator, denominator))


def _joined(first: Budget, second: Budget) -> tuple[Correlation, ...]:
    return tuple(dict.fromkeys((*first.correlations, *second.correlations)))


def _same_unit(first: Budget, second: Budget) -> None:
    if first.quantity_unit != second.quantity_unit:
        raise MetrologyError(
            f'difference of "{first.quantity_unit}" and "{second.quantity_unit}": both need the same quantity unit'
        )
