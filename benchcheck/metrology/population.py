"""What is known of a property before it is measured: the population the item was drawn from (JCGM 106 6.2).

An `OutputDistribution` serves as it is (normal, rectangular, triangular and their sums). Sorted parts are
truncated, mixed lots are mixtures, and any frozen distribution of scipy.stats can be wrapped.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from benchcheck.errors import MetrologyError
from benchcheck.metrology.coverage import OutputDistribution
from benchcheck.metrology.distribution import check_level, normal_quantile
from benchcheck.metrology.tolerance import ToleranceInterval

__all__ = ["Mixture", "Population", "Truncated", "from_scipy", "normal_population"]


class Population(Protocol):
    """A distribution of true values, in their quantity unit."""

    def pdf(self, x: float, /) -> float:
        """Return the density at x."""
        ...  # pragma: no cover

    def cdf(self, x: float, /) -> float:
        """Return the share of the population below x."""
        ...  # pragma: no cover

    def sf(self, x: float, /) -> float:
        """Return the share of the population above x."""
        ...  # pragma: no cover

    def quantile(self, p: float, /) -> float:
        """Return the value below which a share p lies."""
        ...  # pragma: no cover


def normal_population(tolerance: ToleranceInterval, in_tolerance: float) -> OutputDistribution:
    """Return a normal population centred in a two-sided tolerance, of which a share `in_tolerance` conforms.

    >>> lot = normal_population(ToleranceInterval(-1.0, 1.0), 0.9545)
    >>> round(lot.sigma, 3)
    0.5
    """
    check_level(in_tolerance, "share of the population in tolerance")
    if not 0.0 < tolerance.span < math.inf:
        raise MetrologyError("a centred population needs a two-sided tolerance wider than 0")
    half = 0.5 * tolerance.span
    sigma = half / normal_quantile(0.5 + 0.5 * in_tolerance)
    return OutputDistribution(tolerance.bottom + half, sigma=sigma)


@dataclass(frozen=True, slots=True)
class Truncated:
    """A population of which only what lies between two limits was kept, as when parts are sorted."""

    base: Population
    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        """Refuse limits between which nothing lies."""
        if not self.lower < self.upper or self._share <= 0.0:
            raise MetrologyError(f"nothing of the population lies between {self.lower!r} and {self.upper!r}")

    @property
    def _share(self) -> float:
        return 1.0 - self.base.cdf(self.lower) - self.base.sf(self.upper)

    def pdf(self, x: float) -> float:
        """Return the density at x."""
        return self.base.pdf(x) / self._share if self.lower <= x <= self.upper else 0.0

    def cdf(self, x: float) -> float:
        """Return the share of the population below x."""
        if x <= self.lower:
            return 0.0
        return min(1.0, (self.base.cdf(x) - self.base.cdf(self.lower)) / self._share) if x < self.upper else 1.0

    def sf(self, x: float) -> float:
        """Return the share of the population above x."""
        if x >= self.upper:
            return 0.0
        return min(1.0, (self.base.sf(x) - self.base.sf(self.upper)) / self._share) if x > self.lower else 1.0

    def quantile(self, p: float) -> float:
        """Return the value below which a share p lies."""
        inner = self.base.cdf(self.lower) + check_level(p, "probability") * self._share
        return min(self.upper, max(self.lower, self.base.quantile(inner)))


@dataclass(frozen=True, slots=True)
class Mixture:
    """Several populations in one drawer; `weights` are their parts, adding up to 1."""

    parts: tuple[Population, ...]
    weights: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse weights that are no parts of a whole."""
        if len(self.parts) != len(self.weights) or not self.parts:
            raise MetrologyError(
                f"{len(self.parts)} populations with {len(self.weights)} weights: one each is needed"
            )
        if min(self.weights) < 0.0 or abs(math.fsum(self.weights) - 1.0) > 1e-9:
            raise MetrologyError(f"weights {self.weights!r}: numbers of 0 or more that add up to 1 are needed")

    def _mixed(self, values: Sequence[float]) -> float:
        return math.fsum(weight * value for weight, value in zip(self.weights, values, strict=True))

    def pdf(self, x: float) -> float:
        """Return the density at x."""
        return self._mixed([each.pdf(x) for each in self.parts])

    def cdf(self, x: float) -> float:
        """Return the share of the population below x."""
        return self._mixed([each.cdf(x) for each in self.parts])

    def sf(self, x: float) -> float:
        """Return the share of the population above x."""
        return self._mixed([each.sf(x) for each in self.parts])

    def quantile(self, p: float) -> float:
        """Return the value below which a share p lies."""
        check_level(p, "probability")
        ends = [part.quantile(p) for part, weight in zip(self.parts, self.weights, strict=True) if weight > 0.0]
        low, high = min(ends), max(ends)
        for _ in range(200):
            middle = 0.5 * (low + high)
            if not low < middle < high:
                break
            low, high = (low, middle) if self.cdf(middle) >= p else (middle, high)
        return high


@dataclass(frozen=True, slots=True)
class _Wrapped:
    frozen: Any

    def pdf(self, x: float) -> float:
        return float(self.frozen.pdf(x))

    def cdf(self, x: float) -> float:
        return float(self.frozen.cdf(x))

    def sf(self, x: float) -> float:
        return float(self.frozen.sf(x))

    def quantile(self, p: float) -> float:
        return float(self.frozen.ppf(p))


def from_scipy(frozen: Any) -> Population:
    """Return a population from a frozen continuous distribution of scipy.stats, such as `lognorm(0.1)`.

    Anything with the methods pdf, cdf, sf and ppf will do; MetrologyError names those missing.
    """
    missing = [name for name in ("pdf", "cdf", "sf", "ppf") if not callable(getattr(frozen, name, None))]
    if missing:
        raise MetrologyError(f"{frozen!r} is no population: it has no {', '.join(missing)}")
    return _Wrapped(frozen)
