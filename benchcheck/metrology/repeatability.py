"""Type A evaluation: what repeated readings show by themselves (GUM 4.2).

Readings are decimal figures off a display, so their sums are taken in decimal: readings that differ in their
last digit only keep every digit of their scatter. Readings taken together carry the correlation of their
means with them (GUM 5.2.3, H.2).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext

from benchcheck.errors import MetrologyError

__all__ = [
    "EXACT",
    "TypeA",
    "correlation_of_means",
    "decimals",
    "lag_1_autocorrelation",
    "pooled_standard_deviation",
    "relative_spread_of_standard_deviation",
    "type_a",
]

#: more digits than a sum of squares of any readings of one instrument can need.
EXACT = Context(prec=80)


@dataclass(frozen=True, slots=True)
class TypeA:
    """Mean and scatter of repeated readings, in the readings' quantity unit."""

    mean: float
    standard_deviation: float
    count: int

    @property
    def standard_uncertainty(self) -> float:
        """Return the experimental standard deviation of the mean (GUM 4.2.3)."""
        return self.standard_deviation / math.sqrt(self.count)

    @property
    def degrees_of_freedom(self) -> float:
        """Return the number of readings less one (GUM 4.2.6)."""
        return float(self.count - 1)


def decimals(readings: Sequence[float], where: str) -> list[Decimal]:
    """Return two or more finite readings as the decimal figures they were read as; `where` opens a message."""
    values = []
    for position, reading in enumerate(readings, 1):
        value = float(reading)
        if not math.isfinite(value):
            raise MetrologyError(f"{where}: reading {position} is {value!r}: finite numbers are needed")
        values.append(Decimal(repr(value)))
    if len(values) < 2:
        raise MetrologyError(
            f"{where}: {len(values)} reading(s) show no repeatability: 2 or more are needed; "
            "repeat the reading or state its repeatability from experience"
        )
    return values


def _deviations(values: Sequence[Decimal]) -> tuple[Decimal, list[Decimal]]:
    mean = sum(values, Decimal(0)) / len(values)
    return mean, [value - mean for value in values]


def _products(first: Sequence[Decimal], second: Sequence[Decimal]) -> Decimal:
    return sum((a * b for a, b in zip(first, second, strict=True)), Decimal(0))


def type_a(readings: Sequence[float], where: str = "repeatability") -> TypeA:
    """Return mean, experimental standard deviation and count of two or more readings (GUM 4.2.1 to 4.2.3).

    `where` opens the message of the MetrologyError raised for too few or non-finite readings.

    >>> type_a([0.1, 0.3, 0.2])
    TypeA(mean=0.2, standard_deviation=0.1, count=3)
    """
    with localcontext(EXACT):
        values = decimals(readings, where)
        mean, deviations = _deviations(values)
        variance = _products(deviations, deviations) / (len(values) - 1)
        return TypeA(float(mean), float(variance.sqrt()), len(values))


def lag_1_autocorrelation(readings: Sequence[float]) -> float:
    """Return how each reading follows the one before: near 0 for independent readings, near 1 for slow drift.

    Well above 2 / sqrt(count), the mean's type A uncertainty is too small, as the readings are not independent.
    Two or more readings that are not all equal are needed.
    """
    with localcontext(EXACT):
        _, deviations = _deviations(decimals(readings, "autocorrelation"))
        square = _products(deviations, deviations)
        if square == 0:
            raise MetrologyError("autocorrelation: all readings are equal; it needs readings that differ")
        following = sum((a * b for a, b in itertools.pairwise(deviations)), Decimal(0))
        return float(following / square)


def correlation_of_means(first: Sequence[float], second: Sequence[float]) -> float:
    """Return the correlation coefficient of two means whose readings were taken in pairs (GUM 5.2.3).

    It equals that of the readings; 0 when either did not scatter.
    """
    if len(first) != len(second):
        raise MetrologyError(
            f"readings taken in pairs: {len(first)} and {len(second)} readings; as many of each are needed"
        )
    with localcontext(EXACT):
        _, left = _deviations(decimals(first, "first readings"))
        _, right = _deviations(decimals(second, "second readings"))
        own = (_products(left, left) * _products(right, right)).sqrt()
        return max(-1.0, min(1.0, float(_products(left, right) / own))) if own else 0.0


def pooled_standard_deviation(samples: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Return the standard deviation pooled over several samples, and its degrees of freedom (GUM 4.2.4 note).

    Each sample has two or more readings of the same scatter; their means may differ.

    >>> pooled_standard_deviation([[1.0, 3.0], [11.0, 13.0]])[1]
    2.0
    """
    if not samples:
        raise MetrologyError("pooled standard deviation: no sample given; one or more are needed")
    found = [type_a(sample, f"sample {position}") for position, sample in enumerate(samples, 1)]
    degrees_of_freedom = math.fsum(each.degrees_of_freedom for each in found)
    weighted = (each.standard_deviation * math.sqrt(each.degrees_of_freedom) for each in found)
    return math.hypot(*weighted) / math.sqrt(degrees_of_freedom), degrees_of_freedom


def relative_spread_of_standard_deviation(count: int) -> float:
    """Return how far off a standard deviation from `count` normal readings may be, as a ratio (GUM table E.1).

    >>> round(relative_spread_of_standard_deviation(10), 2)
    0.24
    """
    if count < 2:
        raise MetrologyError(f"{count} reading(s) have no standard deviation; 2 or more are needed")
    half = 0.5 * (count - 1)
    # c4, the expectation of s over sigma
    c4 = math.exp(math.lgamma(half + 0.5) - math.lgamma(half)) / math.sqrt(half)
    return math.sqrt(max(0.0, 1.0 - c4 * c4)) / c4
