"""Propagation of distributions by Monte Carlo (JCGM 101), for models that are not linear.

Every contribution is drawn once a trial, whichever inputs it acts on, so errors that inputs share are shared
in each trial. Draws go through small blocks that stay in the processor's cache. The comparison of clause 8
decides whether the linear result may be used instead.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import MetrologyError
from benchcheck.metrology.budget import Budget
from benchcheck.metrology.coverage import CoverageInterval
from benchcheck.metrology.distribution import check_level
from benchcheck.metrology.draws import Draw, Sampler
from benchcheck.metrology.propagation import Model

__all__ = [
    "Comparison",
    "Simulation",
    "compare",
    "numerical_tolerance",
    "simulate",
    "simulate_budget",
    "simulate_until_stable",
]

Array = NDArray[np.float64]
#: a budget, a constant, or a function that draws values: (generator, count) -> array of shape (count,).
SimulationInputs = Mapping[str, Budget | Draw | float]

_BLOCK = 1 << 13
_ADAPTIVE_BLOCK = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Simulation:
    """The result of a Monte Carlo calculation, in the quantity unit of the model's result.

    `values` are the sorted model values, shape (trials,). `stable` says whether an adaptive calculation
    reached its tolerance; a calculation of fixed length makes no such claim (None).
    """

    values: Array = field(repr=False)
    mean: float
    standard_uncertainty: float
    seed: int
    stable: bool | None = None

    @property
    def trials(self) -> int:
        """Return the number of trials."""
        return len(self.values)

    def symmetric(self, level: float = 0.95) -> CoverageInterval:
        """Return the probabilistically symmetric coverage interval (JCGM 101 7.7.2)."""
        q, room = self._ranks(level)
        low = (room + 1) // 2
        return self._interval(low, low + q, level, "symmetric")

    def shortest(self, level: float = 0.95) -> CoverageInterval:
        """Return the shortest coverage interval (JCGM 101 7.7.3 and 7.7.4)."""
        q, _ = self._ranks(level)
        low = int(np.argmin(self.values[q:] - self.values[:-q]))
        return self._interval(low, low + q, level, "shortest")

    @property
    def center(self) -> float:
        """Return the mean, the value a decision is about."""
        return self.mean

    def coverage(self, level: float) -> CoverageInterval:
        """Return the probabilistically symmetric coverage interval."""
        return self.symmetric(level)

    def cdf(self, x: float) -> float:
        """Return the share of trials below `x`, half of those that equal it included."""
        return (
            0.5
            * float(np.searchsorted(self.values, x, "left") + np.searchsorted(self.values, x, "right"))
            / self.trials
        )

    def sf(self, x: float) -> float:
        """Return the share of trials above `x`, half of those that equal it included."""
        return 1.0 - self.cdf(x)

    def outside(self, lower: float, upper: float) -> float:
        """Return the share of trials beyond either limit."""
        return self.cdf(lower) + self.sf(upper)

    def distance(self, tail: float) -> float:
        """Return how far from the mean a one-sided probability `tail` lies beyond, on the farther side."""
        low, high = np.quantile(self.values, (tail, 1.0 - tail))
        return max(self.mean - float(low), float(high) - self.mean, 0.0)

    def shifted(self, center: float) -> Simulation:
        """Return the same distribution about another value."""
        moved = self.values + (center - self.mean)
        return Simulation(moved, center, self.standard_uncertainty, self.seed, self.stable)

    def probability_between(self, lower: float | None, upper: float | None) -> float:
        """Return the share of trials between two limits, None where there is none."""
        first = 0 if lower is None else int(np.searchsorted(self.values, lower, side="left"))
        last = self.trials if upper is None else int(np.searchsorted(self.values, upper, side="right"))
        return max(0, last - first) / self.trials

    def _ranks(self, level: float) -> tuple[int, int]:
        check_level(level)
        q = math.floor(level * self.trials + 0.5)
        if not 1 <= q < self.trials:
            raise MetrologyError(
                f"{self.trials} trials are too few for a level of {level:g}; "
                "JCGM 101 7.2.2 advises 10^4 / (1 - level)"
            )
        return q, self.trials - q - 1

    def _interval(self, low: int, high: int, level: float, kind: str) -> CoverageInterval:
        lower, upper = float(self.values[low]), float(self.values[high])
        half = 0.5 * (upper - lower)
        factor = half / self.standard_uncertainty if self.standard_uncertainty > 0.0 else 0.0
        method = f"Monte Carlo, {self.trials} trials, {kind}"
        return CoverageInterval(lower, upper, half, factor, level, method)


def simulate(
    model: Model,
    inputs: SimulationInputs,
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    trials: int = 1_000_000,
    seed: int = 0,
) -> Simulation:
    """Return the distribution of a model's result from a fixed number of trials (JCGM 101 clause 7).

    The model is called with arrays, one keyword argument for each input; one that takes only numbers is
    called trial by trial, which is slow. An input may also be a function `(generator, count) -> values` for
    a distribution of one's own. The same seed gives the same result.

    >>> x = Budget.from_estimate("x", 0.0, 1.0)
    >>> square = simulate(lambda x: x * x, {"x": x}, trials=20_000, seed=1)
    >>> round(square.mean, 1)
    1.0
    """
    sampler = Sampler(inputs, correlations)
    values = np.empty(_checked_trials(trials))
    _fill(model, sampler, values, np.random.default_rng(seed))
    return _summary(values, seed)


def simulate_budget(budget: Budget, *, trials: int = 1_000_000, seed: int = 0) -> Simulation:
    """Return the distribution of a budget's value from its contributions: the linear model, by Monte Carlo."""
    sampler = Sampler({"value": budget}, ())
    values = np.empty(_checked_trials(trials))
    generator = np.random.default_rng(seed)
    for start in range(0, trials, _BLOCK):
        block = values[start : start + _BLOCK]
        sampler.draw_into("value", block, generator)
    return _summary(values, seed)


def _checked_trials(trials: int) -> int:
    if trials < 2:
        raise MetrologyError(f"{trials} Monte Carlo trials: 2 or more are needed; 10^6 are usual (JCGM 101 7.2.2)")
    return trials


def _fill(model: Model, sampler: Sampler, values: Array, generator: np.random.Generator) -> None:
    for start in range(0, len(values), _BLOCK):
        block = values[start : start + _BLOCK]
        block[:] = _evaluated(model, sampler.draw(len(block), generator), len(block))


def _evaluated(model: Model, given: Mapping[str, Array | float], count: int) -> Array:
    try:
        found = np.asarray(model(**given), dtype=np.float64)
    except (TypeError, ValueError):
        found = _one_by_one(model, given, count)
    if found.shape not in ((), (count,)):
        raise MetrologyError(
            f"the model returned shape {found.shape} for {count} trials; it must return one number a trial"
        )
    if not np.all(np.isfinite(found)):
        raise MetrologyError(
            "the model gives no finite value for some of the trials; "
            "it must be defined wherever its inputs' distributions reach"
        )
    return found


def _one_by_one(model: Model, given: Mapping[str, Array | float], count: int) -> Array:
    columns = {name: np.broadcast_to(each, (count,)).tolist() for name, each in given.items()}
    rows = zip(*columns.values(), strict=True)
    return np.array([float(model(**dict(zip(columns, row, strict=True)))) for row in rows])


def _summary(values: Array, seed: int, stable: bool | None = None) -> Simulation:
    mean = float(np.mean(values))
    deviation = float(np.std(values, ddof=1))
    values.sort()
    values.flags.writeable = False
    return Simulation(values, mean, deviation, seed, stable)


def numerical_tolerance(standard_uncertainty: float, digits: int = 2) -> float:
    """Return delta: half a unit of the last of `digits` significant digits (JCGM 101 7.9.2).

    >>> numerical_tolerance(0.0357, 2)
    0.0005
    """
    if digits < 1:
        raise MetrologyError(f"{digits} significant digits: 1 or more are needed; 1 or 2 are usual")
    if not 0.0 < standard_uncertainty < math.inf:
        raise MetrologyError(f"standard uncertainty {standard_uncertainty!r}: a finite number above 0 is needed")
    exponent = int(f"{standard_uncertainty:.{digits - 1}e}".partition("e")[2]) - digits + 1
    return float(f"5e{exponent - 1}")


def simulate_until_stable(
    model: Model,
    inputs: SimulationInputs,
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    level: float = 0.95,
    digits: int = 2,
    tolerance: float | None = None,
    seed: int = 0,
    most_trials: int = 20_000_000,
) -> Simulation:
    """Return an adaptive calculation: blocks of trials until the results are stable (JCGM 101 7.9.4).

    Stable means that twice the standard deviation of the mean, of the standard uncertainty and of both ends
    of the symmetric interval stays below `tolerance`, by default that of `digits` significant digits.
    `stable` of the result is False when `most_trials` did not suffice.
    """
    check_level(level)
    sampler, generator = Sampler(inputs, correlations), np.random.default_rng(seed)
    size = max(math.ceil(100.0 / (1.0 - level)), _ADAPTIVE_BLOCK)
    blocks: list[Array] = []
    results: list[tuple[float, float, float, float]] = []
    stable = False
    while not stable and (len(blocks) + 1) * size <= max(most_trials, 2 * size):
        block = np.empty(size)
        _fill(model, sampler, block, generator)
        one = _summary(block, seed)
        ends = one.symmetric(level)
        blocks.append(block)
        results.append((one.mean, one.standard_uncertainty, ends.lower, ends.upper))
        stable = len(results) > 1 and _is_stable(results, digits, tolerance)
    return _summary(np.concatenate(blocks), seed, stable)


def _is_stable(results: Sequence[tuple[float, float, float, float]], digits: int, tolerance: float | None) -> bool:
    found = np.array(results)
    deviation = np.std(found, axis=0, ddof=1) / math.sqrt(len(found))
    if not np.any(deviation):
        return True
    uncertainty = float(np.sqrt(np.mean(found[:, 1] ** 2)))
    delta = numerical_tolerance(uncertainty, digits) if tolerance is None else tolerance
    return bool(np.all(2.0 * deviation <= delta))


@dataclass(frozen=True, slots=True)
class Comparison:
    """How far the ends of a linear result lie from those of Monte Carlo (JCGM 101 clause 8).

    In the quantity unit of the result. `agrees` says that the linear result may be used.
    """

    lower_difference: float
    upper_difference: float
    tolerance: float

    @property
    def agrees(self) -> bool:
        """Return whether both ends agree within the tolerance."""
        return self.lower_difference <= self.tolerance and self.upper_difference <= self.tolerance


def compare(
    linear: CoverageInterval, simulation: Simulation, *, digits: int = 2, shortest: bool = False
) -> Comparison:
    """Return the comparison of clause 8 of JCGM 101 between a linear result's interval and a simulation.

    The tolerance is half a unit of the last of `digits` significant digits of the linear standard uncertainty.
    The simulation should be stable to a fifth of it (8.2). `shortest` compares with the shortest interval.
    """
    level = linear.level
    found = simulation.shortest(level) if shortest else simulation.symmetric(level)
    linear_u = linear.expanded_uncertainty / linear.coverage_factor
    delta = numerical_tolerance(linear_u, digits) if linear_u > 0.0 else 0.0
    return Comparison(abs(linear.lower - found.lower), abs(linear.upper - found.upper), delta)
