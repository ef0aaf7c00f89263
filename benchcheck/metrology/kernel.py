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
from dataclasses import dataclass
from itertools import product
from typing import Protocol

from benchcheck.metrology.quadrature import integrate
from benchcheck.metrology.student import first_antiderivative, student_cdf, student_peak

__all__ = [
    "Base",
    "ClosedForm",
    "ExactRectangular",
    "Kernel",
    "PhaseAverage",
    "amplification",
    "arcsine_base",
    "normal_base",
    "point_base",
    "student_base",
]

#: x -> the m-fold and the (m + 1)-fold integral of a base law's density, m fixed when it was made.
Integrals = Callable[[float], tuple[float, float]]

_SQRT_2 = math.sqrt(2.0)
_SQRT_2PI = math.sqrt(2.0 * math.pi)


class Kernel(Protocol):
    """A symmetric law about zero, asked for its lower half."""

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, which is 0 or below."""
        ...  # pragma: no cover


@dataclass(frozen=True, slots=True)
class Base:
    """A law's m-fold and (m + 1)-fold integrals from minus infinity, and below which x they are nothing."""

    integrals: Integrals
    starts: float


def point_base(count: int) -> Base:
    """Return the integrals of a law that is certainly zero, for one rectangular term or more."""
    below = 1.0 / math.factorial(count - 1)

    def integrals(x: float) -> tuple[float, float]:
        power = below * x ** (count - 1)
        return power, power * x / count

    return Base(integrals, 0.0)


def normal_base(sigma: float, count: int) -> Base:
    """Return the integrals of a normal of standard deviation `sigma` above 0."""
    variance, factor = sigma * sigma, 1.0 / (sigma * _SQRT_2PI)
    exp, erfc, root = math.exp, math.erfc, sigma * _SQRT_2
    steps = tuple(range(1, count + 1))

    def integrals(x: float) -> tuple[float, float]:
        z = x / root
        before, last = factor * exp(-z * z), 0.5 * erfc(-z)
        for n in steps:
            before, last = last, (x * last + variance * before) / n
        return before, last

    return Base(integrals, -38.0 * sigma)


def student_base(sigma: float, degrees_of_freedom: float, count: int) -> Base:
    """Return the integrals of Student's t scaled by `sigma`.

    Beyond the first `degrees_of_freedom` an integral from minus infinity does not exist; an antiderivative
    stands for it, of which the signed sum only sees what it may.
    """
    nu = degrees_of_freedom
    factor = student_peak(nu)
    # in units of sigma each further integral brings one more of it
    units = sigma ** (count - 1), sigma**count
    steps = tuple((nu + 1 - 2 * n, n * (nu - n)) for n in range(1, count + 1))
    power, cdf = -0.5 * (nu + 1), student_cdf(nu)
    beyond = first_antiderivative(int(nu), factor) if nu <= count else None

    def integrals(x: float) -> tuple[float, float]:
        z = x / sigma
        square = z * z
        before, last = factor * math.exp(power * math.log1p(square / nu)), cdf(z)
        lower = [before, last]
        for slope, below in steps:
            if below or beyond is None:
                following = ((nu + square) * before + slope * z * last) / below
            else:
                following = beyond(z, lower)
            before, last = last, following
            lower.append(last)
        return before * units[0], last * units[1]

    return Base(integrals, -math.inf)


def arcsine_base(half_width: float, count: int) -> Base:
    """Return the integrals of the arcsine (U-shaped) law between plus and minus `half_width`."""
    a, steps = half_width, tuple(range(2, count + 1))

    def integrals(x: float) -> tuple[float, float]:
        inside = (a - x) * (a + x)
        before, last = 0.0, 1.0
        if inside > 0.0:
            before, last = 1.0 / (math.pi * math.sqrt(inside)), 0.5 + math.asin(x / a) / math.pi
        if count > 0:
            before, last = last, x * last + (math.sqrt(inside) / math.pi if inside > 0.0 else 0.0)
        for n in steps:
            before, last = last, (inside * before + (2 * n - 1) * x * last) / (n * n)
        return before, last

    return Base(integrals, -a)


def _offsets(half_widths: tuple[float, ...]) -> tuple[tuple[float, float], ...]:
    """Return (offset, weight) of the signed sum, equal offsets joined, greatest first."""
    terms = {0.0: 1.0}
    for each in half_widths:
        following: dict[float, float] = {}
        for offset, weight in terms.items():
            share = weight / (2.0 * each)
            following[offset + each] = following.get(offset + each, 0.0) + share
            following[offset - each] = following.get(offset - each, 0.0) - share
        terms = following
    return tuple(sorted(terms.items(), reverse=True))


def amplification(half_widths: tuple[float, ...], reach: float) -> float:
    """Return by how much rounding grows in the signed sum, for a base law that reaches to `reach`."""
    count = len(half_widths)
    widest = math.fsum(half_widths) + reach
    return math.prod(widest / (2.0 * each) for each in half_widths) / math.factorial(count)


class ClosedForm:
    """A base law, made for as many rectangular terms as there are half-widths, plus those terms."""

    __slots__ = ("_integrals", "_starts", "_terms")

    def __init__(self, base: Base, half_widths: tuple[float, ...]) -> None:
        self._integrals, self._starts = base.integrals, base.starts
        self._terms = _offsets(half_widths)

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        below = density = 0.0
        integrals, starts = self._integrals, self._starts
        for offset, weight in self._terms:
            at = x + offset
            if at <= starts:
                break
            first, second = integrals(at)
            density += weight * first
            below += weight * second
        return below, density


class PhaseAverage:
    """A further U-shaped term of this half-width: a law averaged over the phase of a cycle.

    `corners` are the places where that law's density bends; between them it is integrated adaptively, with an
    error of about 1e-11 of probability.
    """

    __slots__ = ("_corners", "_half_width", "_law")

    def __init__(self, law: Kernel, half_width: float, corners: tuple[float, ...]) -> None:
        self._law, self._half_width, self._corners = law, half_width, corners

    def lower(self, x: float) -> tuple[float, float]:
        """Return distribution function and density at x, 0 or below."""
        a, law = self._half_width, self._law
        inside = ((x - corner) / a for corner in self._corners)
        phases = [0.0, *(math.acos(each) for each in inside if -1.0 < each < 1.0), math.pi]

        def below(phase: float) -> float:
            y = x - a * math.cos(phase)
            return law.lower(y)[0] if y <= 0.0 else 1.0 - law.lower(-y)[0]

        def density(phase: float) -> float:
            return law.lower(-abs(x - a * math.cos(phase)))[1]

        return integrate(below, phases, 1e-11) / math.pi, integrate(density, phases, 1e-5) / math.pi


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
