"""Sums that have no closed form, numerically: Fourier series, for a normal of one scale or of an unknown one.

The density of a sum, repeated with a period wider than the sum reaches, is a Fourier series whose
coefficients are products of the terms' characteristic functions: sin(x)/x for a rectangular term, a Bessel
function for a U-shaped one, a bell for the normal. The series is summed until nothing can follow.
Student's t is a normal of unknown scale, an average over chi-square; scales near each other share a series.
"""

from __future__ import annotations

import itertools
import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import special

__all__ = ["FourierSeries", "StudentSeries"]

Array = NDArray[np.float64]

#: a normal reaches no further, for a probability of 1e-17.
_NORMAL_REACH = 8.6
_LEAST_TERMS, _MOST_TERMS = 256, 1 << 20
_NEGLIGIBLE = 1e-14
#: scales of a Student's t within this ratio share a series.
_SHARED = 4.0


class FourierSeries:
    """Rectangular and U-shaped terms, and normals of these scales with these weights, one of which is at work.

    The error is about 1e-13 of probability. Without a normal and with fewer than three bounded terms the series
    dies away slowly: about 1e-6 at a corner of the density, far less elsewhere.
    """

    def __init__(
        self, rectangular: tuple[float, ...], arcsine: tuple[float, ...], scales: Array, weights: Array | None = None
    ) -> None:
        self._rectangular, self._arcsine, self._scales = rectangular, arcsine, scales
        self._weights = np.ones(1) if weights is None else weights
        self._whole = float(np.sum(self._weights))
        self._narrowest = float(np.min(scales))
        self._support = math.fsum(rectangular) + math.fsum(arcsine)
        self._half_period = 1.02 * self._support + _NORMAL_REACH * float(np.max(scales))

    def _characteristic(self, t: Array) -> Array:
        found = np.zeros_like(t)
        for scale, weight in zip(self._scales, self._weights, strict=True):
            found += weight * np.exp(-0.5 * (scale * t) ** 2)
        for half_width in self._rectangular:
            found *= np.sinc(half_width * t / np.pi)
        for half_width in self._arcsine:
            found *= special.j0(half_width * t)
        return found

    def _largest(self, t: float) -> float:
        """Return a bound of the characteristic function beyond t."""
        bound = math.exp(-min(0.5 * (self._narrowest * t) ** 2, 700.0))
        for half_width in self._rectangular:
            bound *= min(1.0, 1.0 / (half_width * t))
        for half_width in self._arcsine:
            bound *= min(1.0, math.sqrt(2.0 / (math.pi * half_width * t)))
        return bound

    @cached_property
    def _coefficients(self) -> tuple[Array, Array]:
        """Return k pi / L and the characteristic function there."""
        step = math.pi / self._half_period
        count = _LEAST_TERMS
        while count < _MOST_TERMS and self._largest(count * step) > _NEGLIGIBLE:
            count *= 2
        t = step * np.arange(1, count + 1, dtype=np.float64)
        return t, self._characteristic(t)

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        if x <= -self._half_period or (self._narrowest == 0.0 and x <= -self._support):
            return 0.0, 0.0
        t, coefficient = self._coefficients
        period = 2.0 * self._half_period
        below = self._whole * (0.5 + x / period) + 2.0 / period * float(np.dot(coefficient / t, np.sin(t * x)))
        density = (self._whole + 2.0 * float(np.dot(coefficient, np.cos(t * x)))) / period
        return max(below, 0.0), max(density, 0.0)


def _scales_of_student(degrees_of_freedom: float) -> tuple[Array, Array]:
    """Return scales of a normal and their weights, the narrowest first: 1 / sqrt(chi-square / nu)."""
    half = 0.5 * degrees_of_freedom
    # ln(chi-square / nu) on an even grid: the trapezoidal rule converges geometrically there
    wide, step = 12.0 / math.sqrt(half), min(0.25, 0.25 / math.sqrt(half))
    low, high = max(wide, 32.0 / half), min(wide, 3.0 + math.log1p(36.0 / half))
    y = np.arange(math.ceil(high / step), -math.ceil(low / step) - 1, -1) * step
    weight = np.exp(half * (y - np.expm1(y)))
    weight /= np.sum(weight)
    kept = weight > 1e-16
    return np.exp(-0.5 * y[kept]), weight[kept]


class StudentSeries:
    """Rectangular and U-shaped terms and a Student's t scaled by `sigma`."""

    def __init__(
        self, rectangular: tuple[float, ...], arcsine: tuple[float, ...], sigma: float, degrees_of_freedom: float
    ) -> None:
        scales, weights = _scales_of_student(degrees_of_freedom)
        shelf = np.floor(np.log(scales / scales[0]) / math.log(_SHARED) + 1e-9)
        edges = [*np.flatnonzero(np.diff(shelf, prepend=-1.0)).tolist(), len(scales)]
        self._parts = tuple(
            FourierSeries(rectangular, arcsine, sigma * scales[first:last], weights[first:last])
            for first, last in itertools.pairwise(edges)
        )

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        found = [each.lower(x) for each in self._parts]
        return math.fsum(below for below, _ in found), math.fsum(density for _, density in found)
