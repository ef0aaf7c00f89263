"""Uncertainty of measurement and conformity, usable without any spec file.

Build contributions, put them in a budget, ask for its coverage or let it be assessed against a tolerance.
"""

from benchcheck.metrology.budget import Budget, BudgetRow, covariance, difference, ratio
from benchcheck.metrology.conformity import (
    Conformity,
    DecisionRule,
    Verdict,
    assess,
    conformance_probability,
)
from benchcheck.metrology.contribution import Contribution, degrees_of_freedom_of
from benchcheck.metrology.correlation import Correlation
from benchcheck.metrology.coverage import CoverageInterval, OutputDistribution
from benchcheck.metrology.distribution import Distribution, coverage_factor
from benchcheck.metrology.guard_band import MultipleOfU, TargetSpecificRisk
from benchcheck.metrology.tolerance import ToleranceInterval

__all__ = [
    "Budget",
    "BudgetRow",
    "Conformity",
    "Contribution",
    "Correlation",
    "CoverageInterval",
    "DecisionRule",
    "Distribution",
    "MultipleOfU",
    "OutputDistribution",
    "TargetSpecificRisk",
    "ToleranceInterval",
    "Verdict",
    "assess",
    "conformance_probability",
    "covariance",
    "coverage_factor",
    "degrees_of_freedom_of",
    "difference",
    "ratio",
]
