"""A straight line through readings of one check over the years, and where the next reading will lie.

Least squares gives the line and the scatter about it; Student's t with the degrees of freedom left gives the
intervals, wide while the visits are few. What the visits' budgets say beyond scatter comes on top: an error
all visits share (one meter) cancels out of the slope, that of a second meter does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Budget, coverage_factor

__all__ = ["Forecast", "Line", "budget_of_sum", "fit_line"]


@dataclass(frozen=True, slots=True)
class Forecast:
    """The next reading's expected value and the interval that holds it with the stated probability."""

    expected: float
    lower: float
    upper: float
    level: float


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted line: `value_at_mean` at `mean_x`, and `slope` per unit of x.

    `scatter` is the standard deviation of the readings about the line, with `degrees_of_freedom` = n - 2;
    `weights` are those that make the slope out of the readings.
    """

    mean_x: float
    value_at_mean: float
    slope: float
    scatter: float
    degrees_of_freedom: int
    weights: tuple[float, ...]

    @property
    def _spread(self) -> float:
        return math.fsum(weight * weight for weight in self.weights)

    def at(self, x: float) -> float:
        """Return the line's value."""
        return self.value_at_mean + self.slope * (x - self.mean_x)

    def slope_half_width(self, level: float, beyond: float = 0.0) -> float:
        """Return half the interval of the slope; `beyond` is a standard uncertainty that scatter does not show."""
        factor = coverage_factor(level, self.degrees_of_freedom)
        return math.hypot(factor * self.scatter * math.sqrt(self._spread), coverage_factor(level) * beyond)

    def forecast(self, x: float, level: float, beyond: float = 0.0) -> Forecast:
        """Return where one further reading at x lies with probability `level`, if the line goes on.

        `beyond` is a standard uncertainty of the line's value there that the scatter does not show.
        """
        count = len(self.weights)
        away = x - self.mean_x
        spread = math.sqrt(1.0 + 1.0 / count + away * away * self._spread)
        factor = coverage_factor(level, self.degrees_of_freedom)
        half = math.hypot(factor * self.scatter * spread, coverage_factor(level) * beyond)
        return Forecast(self.at(x), self.at(x) - half, self.at(x) + half, level)

    def coefficients_at(self, x: float) -> tuple[float, ...]:
        """Return the coefficients that make the line's value at x out of the readings."""
        away = x - self.mean_x
        return tuple(1.0 / len(self.weights) + away * weight for weight in self.weights)


def fit_line(xs: Sequence[float], ys: Sequence[float]) -> Line:
    """Return the least-squares line through three or more readings.

    Raises MetrologyError for fewer, for numbers that are not finite, and where all x are the same.
    """
    if len(xs) != len(ys) or len(xs) < 3:
        raise MetrologyError(f"a trend through {len(xs)} readings: three or more are needed")
    if not all(map(math.isfinite, (*xs, *ys))):
        raise MetrologyError("a trend: finite numbers are needed")
    count = len(xs)
    mean_x, mean_y = math.fsum(xs) / count, math.fsum(ys) / count
    away = [x - mean_x for x in xs]
    square = math.fsum(one * one for one in away)
    if square == 0.0:
        raise MetrologyError("a trend through readings of one moment: different times are needed")
    weights = tuple(one / square for one in away)
    slope = math.fsum(weight * (y - mean_y) for weight, y in zip(weights, ys, strict=True))
    residuals = [y - mean_y - slope * one for one, y in zip(away, ys, strict=True)]
    scatter = math.sqrt(math.fsum(one * one for one in residuals) / (count - 2))
    return Line(mean_x, mean_y, slope, scatter, count - 2, weights)


def budget_of_sum(budgets: Sequence[Budget], coefficients: Sequence[float]) -> Budget:
    """Return the budget of a weighted sum of values; one id is one error, and adds with its signs."""
    parts = [part.times(c) for budget, c in zip(budgets, coefficients, strict=True) for part in budget.contributions]
    value = math.fsum(c * budget.value for budget, c in zip(budgets, coefficients, strict=True))
    correlations = dict.fromkeys(one for budget in budgets for one in budget.correlations)
    return Budget(value, budgets[0].quantity_unit, tuple(parts), tuple(correlations))
