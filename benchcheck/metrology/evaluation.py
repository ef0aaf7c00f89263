"""Both answers to one question, the linear budget and Monte Carlo, and which may be used (JCGM 101 clause 8)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchcheck.metrology.budget import Budget
from benchcheck.metrology.coverage import CoverageInterval
from benchcheck.metrology.montecarlo import (
    Comparison,
    Simulation,
    compare,
    numerical_tolerance,
    simulate_until_stable,
)
from benchcheck.metrology.propagation import Model, propagate

__all__ = ["Evaluation", "evaluate"]


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """A model evaluated both ways at one coverage level, in the quantity unit of its result."""

    linear: Budget
    simulation: Simulation
    comparison: Comparison
    level: float

    @property
    def linear_may_be_used(self) -> bool:
        """Return whether both ends of the linear interval agree with Monte Carlo."""
        return self.comparison.agrees

    @property
    def coverage(self) -> CoverageInterval:
        """Return the interval of the linear budget where it may be used, that of Monte Carlo otherwise."""
        if self.linear_may_be_used:
            return self.linear.coverage(self.level)
        return self.simulation.symmetric(self.level)


def evaluate(
    model: Model,
    inputs: Mapping[str, Budget | float],
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    quantity_unit: str = "",
    level: float = 0.95,
    digits: int = 2,
    seed: int = 0,
    most_trials: int = 5_000_000,
) -> Evaluation:
    """Return the linear budget, a simulation stable to a fifth of the tolerance (8.2), and their comparison.

    `digits` are the significant digits of the standard uncertainty that matter. Where the linear budget shows
    no uncertainty at all, as at a model's turning point, it is never agreed with unless Monte Carlo shows none.

    >>> x = Budget.from_estimate("x", 10.0, 0.01, "V")
    >>> evaluate(lambda x: x * x, {"x": x}, digits=1).linear_may_be_used
    True
    >>> zero = Budget.from_estimate("x", 0.0, 0.01, "V")
    >>> evaluate(lambda x: x * x, {"x": zero}, digits=1).linear_may_be_used
    False
    """
    linear = propagate(model, inputs, correlations=correlations, quantity_unit=quantity_unit)
    u = linear.combined_standard_uncertainty
    tolerance = numerical_tolerance(u, digits) / 5.0 if u > 0.0 else None
    simulation = simulate_until_stable(
        model,
        inputs,
        correlations=correlations,
        level=level,
        digits=digits,
        tolerance=tolerance,
        seed=seed,
        most_trials=most_trials,
    )
    return Evaluation(linear, simulation, compare(linear.coverage(level), simulation, digits=digits), level)
