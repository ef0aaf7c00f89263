"""Sums of rectangular terms and one smooth base law, in closed form.

Adding a rectangular term to a law averages its distribution function over the term's width. Doing so m times
leaves a signed sum of 2**m values of the m-fold integral of the base law's distribution function. For a
point, a normal, Student's t and the arcsine law these integrals follow from a three-term recursion (their
densities obey Pearson's differential equation), so the sum is exact but for rounding.

Everything here is centred on zero and symmetric; callers ask for the lower half only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product
from typing import Protocol

__all__ = [
    "ClosedForm",
    "ExactRectangular",
    "Kernel",
    "amplification",
    "arcsine_base",
    "normal_base",
    "point_base",
    "student_base",
]

#: base law at x, integrals wanted -> density, distribution function and its repeated integrals.
Base = Callable[[float, int], list[float]]

_SQRT_2 = math.sqrt(2.0)
_SQRT_2PI = math.sqrt(2.0 * math.pi)


class Kernel(Protocol):
    """A symmetric law about zero, asked for its lower half."""

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, which is 0 or below."""
        ...  # pragma: no cover


def point_base(x: float, count: int) -> list[float]:
    """Return the integrals of a law that is certainly zero."""
    if x <= 0.0:
        return [0.0] * (count + 1)
    found = [0.0, 1.0]
    for n in range(1, count):
        found.append(found[-1] * x / n)
    return found


def normal_base(sigma: float) -> Base:
    """Return the integrals of a normal of standard deviation `sigma` above 0."""
    variance, factor = sigma * sigma, 1.0 / (sigma * _SQRT_2PI)
    exp, erfc, root = math.exp, math.erfc, sigma * _SQRT_2

    def integrals(x: float, count: int) -> list[float]:
        z = x / root
        before, last = factor * exp(-z * z), 0.5 * erfc(-z)
        found = [before, last]
        for n in range(1, count):
            before, last = last, (x * last + variance * before) / n
            found.append(last)
        return found

    return integrals


def student_base(sigma: float, degrees_of_freedom: float) -> Base:
    """Return the integrals of Student's t scaled by `sigma`.

    An integral beyond the first `degrees_of_freedom` does not exist; for one degree of freedom the first
    stands for an antiderivative, of which only differences count.
    """
    from scipy.special import stdtr

    nu = degrees_of_freedom
    log_factor = math.lgamma(0.5 * (nu + 1)) - math.lgamma(0.5 * nu) - 0.5 * math.log(nu * math.pi)
    factor = math.exp(log_factor) / sigma
    spread = nu * sigma * sigma

    def integrals(x: float, count: int) -> list[float]:
        z = x / sigma
        before = factor * math.exp(-0.5 * (nu + 1) * math.log1p(z * z / nu))
        last = float(stdtr(nu, z))
        found = [before, last]
        for n in range(1, count):
            if nu == n:
                return [*found, x * last - sigma * math.log1p(z * z) / (2.0 * math.pi)]
            before, last = last, ((spread + x * x) * before + (nu + 1 - 2 * n) * x * last) / (n * (nu - n))
            found.append(last)
        return found

    return integrals


def arcsine_base(half_width: float) -> Base:
    """Return the integrals of the arcsine (U-shaped) law between plus and minus `half_width`."""
    a = half_width

    def integrals(x: float, count: int) -> list[float]:
        if x <= -a:
            return [0.0] * (count + 1)
        inside = (a - x) * (a + x)
        if inside > 0.0:
            found = [1.0 / (math.pi * math.sqrt(inside)), 0.5 + math.asin(x / a) / math.pi]
            second = math.sqrt(inside) / math.pi + x * found[1]
        else:
            found, second = [0.0, 1.0], x
        for n in range(1, count):
            following = (inside * found[n - 1] + (2 * n - 1) * x * found[n]) / (n * n) if n > 1 else second
            found.append(following)
        return found

    return integrals


def _offsets(half_widths: tuple[float, ...]) -> tuple[tuple[float, float], ...]:
    """Return (offset, weight) of the signed sum, equal offsets joined, in rising order."""
    scale = math.prod(2.0 * each for each in half_widths)
    joined: dict[float, float] = {}
    for signs in product((1.0, -1.0), repeat=len(half_widths)):
        offset = math.fsum(sign * each for sign, each in zip(signs, half_widths, strict=True))
        joined[offset] = joined.get(offset, 0.0) + math.prod(signs) / scale
    return tuple(sorted((offset, weight) for offset, weight in joined.items() if weight))


def amplification(half_widths: tuple[float, ...], reach: float) -> float:
    """Return by how much rounding grows in the signed sum, for a base law that reaches to `reach`."""
    count = len(half_widths)
    widest = math.fsum(half_widths) + reach
    return math.prod(widest / (2.0 * each) for each in half_widths) / math.factorial(count)


class ClosedForm:
    """A base law plus rectangular terms of these half-widths."""

    __slots__ = ("_base", "_count", "_terms")

    def __init__(self, base: Base, half_widths: tuple[float, ...]) -> None:
        self._base = base
        self._terms = _offsets(half_widths)
        self._count = len(half_widths)

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        base, count, wanted = self._base, self._count, self._count + 1
        below = density = 0.0
        for offset, weight in self._terms:
            found = base(x + offset, wanted)
            below += weight * found[wanted]
            density += weight * found[count]
        return below, density


class ExactRectangular:
    """Rectangular terms only, in whole numbers: the signed sum loses nothing however unequal they are."""

    __slots__ = ("_count", "_scale", "_shift", "_terms")

    def __init__(self, half_widths: tuple[float, ...]) -> None:
        self._count = len(half_widths)
        ratios = [each.as_integer_ratio() for each in half_widths]
        # every float is a whole number of some power of two; take the finest
        self._shift = max(bottom for _, bottom in ratios).bit_length() - 1 + 64
        whole = [(top << self._shift) // bottom for top, bottom in ratios]
        joined: dict[int, int] = {}
        for signs in product((1, -1), repeat=self._count):
            offset = sum(sign * each for sign, each in zip(signs, whole, strict=True))
            joined[offset] = joined.get(offset, 0) + math.prod(signs)
        self._terms = tuple((offset, weight) for offset, weight in joined.items() if weight)
        self._scale = math.prod(2 * each for each in whole)

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        top, bottom = x.as_integer_ratio()
        at = (top << self._shift) // bottom
        count, below, density = self._count, 0, 0
        for offset, weight in self._terms:
            reach = at + offset
            if reach > 0:
                power = reach ** (count - 1)
                density += weight * power
                below += weight * power * reach
        faculty = math.factorial(count - 1)
        return below / (self._scale * faculty * count), _ratio(density << self._shift, self._scale * faculty)


def _ratio(top: int, bottom: int) -> float:
    return top / bottom
