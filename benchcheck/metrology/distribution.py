"""The distributions in use, their divisors, and the quantiles a coverage factor comes from.

A divisor turns the figure a data sheet or certificate states into a standard uncertainty: the square root
of 3 for rectangular limits, of 6 for triangular, of 2 for U-shaped, k for an expanded uncertainty.
Quantiles of the normal come from the standard library; Student's t loads scipy.special on first use.
"""

from __future__ import annotations

import functools
import math
from enum import StrEnum
from statistics import NormalDist

from benchcheck.errors import MetrologyError

__all__ = [
    "Distribution",
    "check_level",
    "coverage_factor",
    "level_of_factor",
    "normal_cdf",
    "normal_quantile",
    "student_quantile",
    "whole_degrees_of_freedom",
]

_SQRT_2 = math.sqrt(2.0)
_STANDARD_NORMAL = NormalDist()
#: a sum of rounded shares may fall this much short of a whole number of degrees of freedom.
_WHOLE = 1e-9
#: Student's t then differs from the normal by one part in as many.
_AS_MANY_AS_INFINITE = 1e12


class Distribution(StrEnum):
    """The shape assigned to a contribution (GUM 4.3 and 4.4, JCGM 101 6.4)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "U-shaped"
    TRAPEZOIDAL = "trapezoidal"

    @property
    def divisor(self) -> float:
        """Return what the half-width is divided by; 1 for a normal, whose figure is a standard deviation.

        A trapezoidal's divisor depends on its top, so its own is that of the rectangular it starts from.

        >>> Distribution.TRIANGULAR.divisor ** 2
        5.999999999999999
        """
        return _DIVISORS[self]


_DIVISORS = {
    Distribution.NORMAL: 1.0,
    Distribution.RECTANGULAR: math.sqrt(3.0),
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.U_SHAPED: _SQRT_2,
    Distribution.TRAPEZOIDAL: math.sqrt(3.0),
}


def check_level(level: float, name: str = "coverage level") -> float:
    """Return `level` when it is a probability strictly between 0 and 1.

    Raises MetrologyError naming the figure otherwise.
    """
    if not 0.0 < level < 1.0:
        raise MetrologyError(f"{name} {level!r}: a probability between 0 and 1 is needed; write 0.95 for 95 %")
    return level


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal stays below `z`, accurate in the lower tail."""
    return 0.5 * math.erfc(-z / _SQRT_2)


def normal_quantile(p: float) -> float:
    """Return the standard normal's quantile at probability `p`, between 0 and 1 exclusive.

    >>> round(normal_quantile(0.975), 6)
    1.959964
    """
    return _STANDARD_NORMAL.inv_cdf(check_level(p, "probability"))


def student_quantile(p: float, degrees_of_freedom: float) -> float:
    """Return Student's t quantile at probability `p`; degrees of freedom 1 or more, inf for the normal.

    >>> round(student_quantile(0.975, 4), 4)
    2.7764
    """
    check_level(p, "probability")
    if not degrees_of_freedom >= 1.0:
        raise MetrologyError(f"degrees of freedom {degrees_of_freedom!r}: 1 or more is needed")
    if math.isinf(degrees_of_freedom):
        return normal_quantile(p)
    from scipy.special import stdtrit

    # the lower tail keeps its digits where 1 - p would lose them
    if p > 0.5:
        return -float(stdtrit(degrees_of_freedom, 1.0 - p))
    return float(stdtrit(degrees_of_freedom, p))


def whole_degrees_of_freedom(degrees_of_freedom: float) -> float:
    """Return effective degrees of freedom truncated to the lower integer (GUM G.4.1 note 1, H.1.6).

    Never below 1; beyond 10^12 they are as good as infinite.

    >>> whole_degrees_of_freedom(16.75)
    16.0
    """
    if math.isinf(degrees_of_freedom):
        return degrees_of_freedom
    if degrees_of_freedom > _AS_MANY_AS_INFINITE:
        return math.inf
    return max(1.0, float(math.floor(degrees_of_freedom * (1.0 + _WHOLE))))


@functools.lru_cache(maxsize=256)
def coverage_factor(level: float, degrees_of_freedom: float = math.inf, *, truncate: bool = True) -> float:
    """Return k for a two-sided coverage level, from the normal or Student's t (GUM G.3, table G.2).

    Degrees of freedom are truncated to the lower integer first; `truncate=False` takes them as they are.
    k = 2 goes with the level 0.9545, not with 0.95.

    >>> round(coverage_factor(0.95, 16.7), 3), round(coverage_factor(0.95), 3)
    (2.12, 1.96)
    """
    check_level(level)
    if truncate and degrees_of_freedom >= 1.0:
        degrees_of_freedom = whole_degrees_of_freedom(degrees_of_freedom)
    return -student_quantile(0.5 * (1.0 - level), degrees_of_freedom)


def level_of_factor(factor: float, degrees_of_freedom: float = math.inf) -> float:
    """Return the coverage level that goes with a factor k: 0.9545 for 2 on a normal.

    >>> round(level_of_factor(2.0), 6)
    0.9545
    """
    if not factor > 0.0:
        raise MetrologyError(f"coverage factor {factor!r}: a number above 0 is needed; k = 2 is usual")
    if math.isinf(degrees_of_freedom):
        return math.erf(factor / _SQRT_2)
    from scipy.special import stdtr

    return 1.0 - 2.0 * float(stdtr(degrees_of_freedom, -factor))
