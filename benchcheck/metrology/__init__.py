"""Uncertainty of measurement and conformity, usable without any spec file.

Build contributions, put them in a budget, ask for its coverage or let it be assessed against a tolerance.
What needs numpy, scipy or `uncertainties` (models, Monte Carlo, statistical tolerance intervals) loads on
first use.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from benchcheck.metrology.budget import Budget, BudgetRow, correlation_coefficient, covariance, difference, ratio
from benchcheck.metrology.conformity import (
    Conformity,
    DecisionRule,
    Verdict,
    assess,
    conformance_probability,
)
from benchcheck.metrology.contribution import Contribution, degrees_of_freedom_of
from benchcheck.metrology.correlation import Correlation
from benchcheck.metrology.coverage import CoverageInterval, Law, OutputDistribution
from benchcheck.metrology.distribution import Distribution, coverage_factor
from benchcheck.metrology.guard_band import GuardBand, MultipleOfU, TargetSpecificRisk
from benchcheck.metrology.repeatability import (
    TypeA,
    correlation_of_means,
    lag_1_autocorrelation,
    pooled_standard_deviation,
    relative_spread_of_standard_deviation,
    type_a,
)
from benchcheck.metrology.same_meter import drift, linearity, rounding
from benchcheck.metrology.straight_line import StraightLine, straight_line
from benchcheck.metrology.tolerance import ToleranceInterval

if TYPE_CHECKING:
    from benchcheck.metrology.draws import Draw, curvilinear_trapezoid
    from benchcheck.metrology.evaluation import Evaluation, evaluate
    from benchcheck.metrology.montecarlo import (
        Comparison,
        Simulation,
        compare,
        numerical_tolerance,
        simulate,
        simulate_budget,
        simulate_until_stable,
    )
    from benchcheck.metrology.population import Mixture, Population, Truncated, from_scipy, normal_population
    from benchcheck.metrology.propagation import (
        SecondOrder,
        propagate,
        propagate_all,
        second_order,
        simultaneous_readings,
    )
    from benchcheck.metrology.risk import GlobalRisks, TargetGlobalRisk, global_risks, posterior_probability
    from benchcheck.metrology.small_sample import (
        PriorSpread,
        SampleLimits,
        prediction_limits,
        tolerance_limits,
    )
    from benchcheck.metrology.tolerance_interval import (
        distribution_free_confidence,
        distribution_free_sample_size,
        one_sided_factor,
        prediction_factor,
        two_sided_factor,
    )

__all__ = [
    "Budget",
    "BudgetRow",
    "Comparison",
    "Conformity",
    "Contribution",
    "Correlation",
    "CoverageInterval",
    "DecisionRule",
    "Distribution",
    "Draw",
    "Evaluation",
    "GlobalRisks",
    "GuardBand",
    "Law",
    "Mixture",
    "MultipleOfU",
    "OutputDistribution",
    "Population",
    "PriorSpread",
    "SampleLimits",
    "SecondOrder",
    "Simulation",
    "StraightLine",
    "TargetGlobalRisk",
    "TargetSpecificRisk",
    "ToleranceInterval",
    "Truncated",
    "TypeA",
    "Verdict",
    "assess",
    "compare",
    "conformance_probability",
    "correlation_coefficient",
    "correlation_of_means",
    "covariance",
    "coverage_factor",
    "curvilinear_trapezoid",
    "degrees_of_freedom_of",
    "difference",
    "distribution_free_confidence",
    "distribution_free_sample_size",
    "drift",
    "evaluate",
    "from_scipy",
    "global_risks",
    "lag_1_autocorrelation",
    "linearity",
    "normal_population",
    "numerical_tolerance",
    "one_sided_factor",
    "pooled_standard_deviation",
    "posterior_probability",
    "prediction_factor",
    "prediction_limits",
    "propagate",
    "propagate_all",
    "ratio",
    "relative_spread_of_standard_deviation",
    "rounding",
    "second_order",
    "simulate",
    "simulate_budget",
    "simulate_until_stable",
    "simultaneous_readings",
    "straight_line",
    "tolerance_limits",
    "two_sided_factor",
    "type_a",
]

_LATER = {
    "draws": ("Draw", "curvilinear_trapezoid"),
    "evaluation": ("Evaluation", "evaluate"),
    "montecarlo": (
        "Comparison",
        "Simulation",
        "compare",
        "numerical_tolerance",
        "simulate",
        "simulate_budget",
        "simulate_until_stable",
    ),
    "population": ("Mixture", "Population", "Truncated", "from_scipy", "normal_population"),
    "propagation": ("SecondOrder", "propagate", "propagate_all", "second_order", "simultaneous_readings"),
    "risk": ("GlobalRisks", "TargetGlobalRisk", "global_risks", "posterior_probability"),
    "small_sample": ("PriorSpread", "SampleLimits", "prediction_limits", "tolerance_limits"),
    "tolerance_interval": (
        "distribution_free_confidence",
        "distribution_free_sample_size",
        "one_sided_factor",
        "prediction_factor",
        "two_sided_factor",
    ),
}
_HOMES = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load a name from a module that needs heavy libraries, or that few need."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
