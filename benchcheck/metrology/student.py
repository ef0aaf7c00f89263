"""Student's t for sums: its distribution function, quick for few whole degrees of freedom, and its integrals.

Whole degrees of freedom have elementary distribution functions (Abramowitz and Stegun 26.7.3 and 26.7.4); where
those would lose digits, and for all other degrees of freedom, scipy's is taken.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

__all__ = ["first_antiderivative", "student_cdf", "student_peak"]

_MOST_ELEMENTARY = 12
#: below this the elementary form, a difference from one half, has lost a third of its digits.
_TAIL = 1e-5


def student_peak(nu: float) -> float:
    """Return the density of Student's t at 0: a quotient of gamma functions, by its series where both are huge."""
    if nu < 100.0:
        return math.exp(math.lgamma(0.5 * (nu + 1)) - math.lgamma(0.5 * nu)) / math.sqrt(nu * math.pi)
    series = 1.0 - 1.0 / (4 * nu) + 1.0 / (32 * nu**2) + 5.0 / (128 * nu**3) - 21.0 / (2048 * nu**3 * nu)
    return series / math.sqrt(2.0 * math.pi)


def student_cdf(nu: float) -> Callable[[float], float]:
    """Return the distribution function of Student's t with `nu` degrees of freedom."""
    from scipy.special import stdtr

    def exact(z: float) -> float:
        return float(stdtr(nu, z))

    if nu != math.floor(nu) or nu > _MOST_ELEMENTARY:
        return exact
    odd, root = int(nu) % 2 == 1, math.sqrt(nu)
    # factors of the terms in cosine squared, for nested multiplication from the last
    factors = tuple((k - 1) / k for k in range(int(nu) - 2, 1, -2))

    def elementary(z: float) -> float:
        square = nu / (nu + z * z)
        series = 1.0
        for factor in factors:
            series = 1.0 + factor * square * series
        sine = z / math.sqrt(nu + z * z)
        if odd:
            tail = sine * math.sqrt(square) * series if nu > 1 else 0.0
            found = 0.5 + (math.atan(z / root) + tail) / math.pi
        else:
            found = 0.5 + 0.5 * sine * series
        return found if found > _TAIL else exact(z)

    return elementary


def first_antiderivative(nu: int, factor: float) -> Callable[[float, Sequence[float]], float]:
    """Return an antiderivative of the nu-fold integral of Student's t, the last that exists, given all of them.

    `factor` is the density at 0. From the nu-th partial moment, by parts: the integral of t**nu times the
    density, with t = sqrt(nu) tan(phi).
    """
    odd, scale = nu % 2 == 1, factor * math.pow(nu, 0.5 * (nu + 1))
    inverse, inverse_root = 1.0 / nu, 1.0 / math.sqrt(nu)
    powers: tuple[int, ...] = tuple(range(2 if odd else 1, nu, 2))
    falling = [1.0]
    for k in range(nu):
        falling.append(-falling[-1] * (nu - k))
    whole = falling.pop()
    places = tuple(enumerate(falling, 1))

    def antiderivative(z: float, found: Sequence[float]) -> float:
        square = z * z / (nu + z * z)
        if odd:
            moment, power = 0.5 * math.log1p(inverse * z * z), square
        else:
            moment, power = math.asinh(z * inverse_root), z / math.sqrt(nu + z * z)
        for each in powers:
            moment -= power / each
            power *= square
        by_parts = 0.0
        for place, each_factor in places:
            by_parts = by_parts * z + each_factor * found[place]
        return (scale * moment - by_parts * z) / whole

    return antiderivative
