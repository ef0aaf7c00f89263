"""Type A evaluation: what repeated readings show by themselves (GUM 4.2).

Sums are exactly rounded, so that readings which differ in their last digits only keep every digit of their
scatter. Readings taken together carry the correlation of their means with them (GUM 5.2.3, H.2).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.errors import MetrologyError

__all__ = ["TypeA", "correlation_of_means", "lag_1_autocorrelation", "pooled_standard_deviation", "type_a"]


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


def _checked(readings: Sequence[float], where: str, least: int = 2) -> list[float]:
    values = [float(each) for each in readings]
    for position, value in enumerate(values, 1):
        if not math.isfinite(value):
            raise MetrologyError(f"{where}: reading {position} is {value!r}: finite numbers are needed")
    if len(values) < least:
        raise MetrologyError(
            f"{where}: {len(values)} reading(s) show no repeatability: {least} or more are needed; "
            "repeat the reading or state its repeatability from experience"
        )
    return values


def _deviations(values: list[float]) -> tuple[float, list[float]]:
    """Return mean and deviations; the second pass removes what rounding left in the first mean."""
    count = len(values)
    first = math.fsum(values) / count
    rest = math.fsum(value - first for value in values) / count
    return first + rest, [(value - first) - rest for value in values]


def type_a(readings: Sequence[float], where: str = "repeatability") -> TypeA:
    """Return mean, experimental standard deviation and count of two or more readings (GUM 4.2.1 to 4.2.3).

    `where` opens the message of the MetrologyError raised for too few or non-finite readings.

    >>> type_a([5.0, 5.0, 8.0, 2.0]).mean
    5.0
    """
    values = _checked(readings, where)
    mean, deviations = _deviations(values)
    scale = max(map(abs, deviations))
    if scale == 0.0:
        return TypeA(mean, 0.0, len(values))
    square = math.fsum((each / scale) ** 2 for each in deviations)
    return TypeA(mean, scale * math.sqrt(square / (len(values) - 1)), len(values))


def lag_1_autocorrelation(readings: Sequence[float]) -> float:
    """Return how each reading follows the one before: near 0 for independent readings, 1 for slow drift.

    Well above 2 / sqrt(count), the mean's type A uncertainty is too small, as the readings are not independent.
    Two or more readings that are not all equal are needed.
    """
    _, deviations = _deviations(_checked(readings, "autocorrelation"))
    scale = max(map(abs, deviations))
    if scale == 0.0:
        raise MetrologyError("autocorrelation: all readings are equal; it needs readings that differ")
    scaled = [each / scale for each in deviations]
    following = math.fsum(a * b for a, b in itertools.pairwise(scaled))
    return following / math.fsum(each * each for each in scaled)


def correlation_of_means(first: Sequence[float], second: Sequence[float]) -> float:
    """Return the correlation coefficient of two means whose readings were taken in pairs (GUM 5.2.3).

    It equals that of the readings; 0 when either did not scatter.
    """
    left, right = _checked(first, "first readings"), _checked(second, "second readings")
    if len(left) != len(right):
        raise MetrologyError(
            f"readings taken in pairs: {len(left)} and {len(right)} readings; as many of each are needed"
        )
    _, a = _deviations(left)
    _, b = _deviations(right)
    scale_a, scale_b = max(map(abs, a)), max(map(abs, b))
    if scale_a == 0.0 or scale_b == 0.0:
        return 0.0
    a, b = [each / scale_a for each in a], [each / scale_b for each in b]
    both = math.fsum(x * y for x, y in zip(a, b, strict=True))
    own = math.sqrt(math.fsum(x * x for x in a) * math.fsum(y * y for y in b))
    return max(-1.0, min(1.0, both / own))


def pooled_standard_deviation(samples: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Return the standard deviation pooled over several samples, and its degrees of freedom (GUM 4.2.4).

    Each sample has two or more readings of the same scatter; their means may differ.
    """
    if not samples:
        raise MetrologyError("pooled standard deviation: no sample given; one or more are needed")
    found = [type_a(sample, f"sample {position}") for position, sample in enumerate(samples, 1)]
    degrees_of_freedom = math.fsum(each.degrees_of_freedom for each in found)
    weighted = (each.standard_deviation * math.sqrt(each.degrees_of_freedom) for each in found)
    return math.hypot(*weighted) / math.sqrt(degrees_of_freedom), degrees_of_freedom
