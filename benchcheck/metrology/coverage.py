"""The distribution of a result and the interval that covers it, exact where the terms are.

A handheld's budget is dominated by one rectangular term: k = 2 then claims more than is possible, and a
normal's tails are wrong. So the terms are added as what they are: rectangular (a triangular or trapezoidal
is two of them), U-shaped, and normal, or Student's t where the normal part has finite degrees of freedom.
Sums in closed form cost microseconds (`kernel`); the rest goes through a Fourier series (`convolution`);
`adding` chooses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Protocol

from benchcheck.errors import MetrologyError
from benchcheck.metrology.adding import choose_kernel
from benchcheck.metrology.distribution import check_level, coverage_factor, normal_quantile
from benchcheck.metrology.kernel import Kernel

__all__ = ["CoverageInterval", "Law", "OutputDistribution"]

_SET = object.__setattr__
_ROOT_2, _ROOT_3 = math.sqrt(2.0), math.sqrt(3.0)
#: Newton doubles the digits: a step this small in tail and distance leaves an error of its square.
_LAST_STEP = 1e-8
#: beyond this many standard uncertainties no tail is told from none, not even that of one degree of freedom.
_BEYOND = 1e16
#: a rectangular of this half-width over the standard uncertainty has nine tenths of the variance.
_DOMINANT = 1.64


@dataclass(frozen=True, slots=True)
class CoverageInterval:
    """Limits that contain the value with probability `level`, in the result's quantity unit.

    `expanded_uncertainty` is half the width, `coverage_factor` its ratio to the standard uncertainty, and
    `method` says in words which distribution gave them.
    """

    lower: float
    upper: float
    expanded_uncertainty: float
    coverage_factor: float
    level: float
    method: str


class Law(Protocol):
    """What a decision needs of the distribution of a result; `Simulation` has it as well."""

    @property
    def center(self) -> float:
        """Return the value the law is about."""
        ...  # pragma: no cover

    @property
    def standard_uncertainty(self) -> float:
        """Return the standard deviation."""
        ...  # pragma: no cover

    def coverage(self, level: float, /) -> CoverageInterval:
        """Return the interval of this coverage level."""
        ...  # pragma: no cover

    def cdf(self, x: float, /) -> float:
        """Return the probability that the value lies below `x`."""
        ...  # pragma: no cover

    def sf(self, x: float, /) -> float:
        """Return the probability that the value lies above `x`."""
        ...  # pragma: no cover

    def outside(self, lower: float, upper: float, /) -> float:
        """Return the probability that the value lies beyond either limit."""
        ...  # pragma: no cover

    def distance(self, tail: float, /) -> float:
        """Return how far from the center a one-sided probability `tail` lies beyond."""
        ...  # pragma: no cover

    def shifted(self, center: float, /) -> Law:
        """Return the same law about another value."""
        ...  # pragma: no cover


@dataclass(frozen=True, slots=True)
class OutputDistribution:
    """A value with the exact distribution of its error: bounded terms and one normal or Student's t term.

    `rectangular` and `u_shaped` hold half-widths; `sigma` is the standard deviation of the normal part, or
    the scale of Student's t when `degrees_of_freedom` is finite. All in the value's quantity unit.

    >>> meter = OutputDistribution(4700.0, rectangular=(40.6,))
    >>> lower, upper = meter.interval(0.95)
    >>> round(0.5 * (upper - lower), 2)
    38.57
    """

    center: float
    rectangular: tuple[float, ...] = ()
    sigma: float = 0.0
    degrees_of_freedom: float = math.inf
    u_shaped: tuple[float, ...] = ()
    standard_uncertainty: float = field(init=False)
    _scale: float = field(init=False, repr=False, compare=False)
    _kernel: Kernel | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse impossible figures and choose how to add the terms."""
        if not -math.inf < self.center < math.inf:
            raise MetrologyError(f"value {self.center!r}: a finite number is needed")
        for each in (*self.rectangular, *self.u_shaped, self.sigma):
            if not 0.0 <= each < math.inf:
                raise MetrologyError(f"term {each!r} of a distribution: a finite number, 0 or more, is needed")
        if not self.degrees_of_freedom >= 1.0:
            raise MetrologyError(f"degrees of freedom {self.degrees_of_freedom!r}: 1 or more is needed")
        bounded = [each / _ROOT_3 for each in self.rectangular] + [each / _ROOT_2 for each in self.u_shaped]
        scale = math.hypot(self.sigma, *bounded)
        if math.isinf(scale):
            raise MetrologyError("the terms of a distribution add up beyond what a number can hold; use larger units")
        _SET(self, "standard_uncertainty", scale)
        _SET(self, "_scale", scale)
        _SET(self, "_kernel", self._choose(scale) if scale > 0.0 else None)

    def _choose(self, scale: float) -> Kernel:
        rectangular = tuple(each / scale for each in self.rectangular if each > 0.0)
        u_shaped = tuple(each / scale for each in self.u_shaped if each > 0.0)
        return choose_kernel(rectangular, u_shaped, self.sigma / scale, self.degrees_of_freedom)

    @property
    def support(self) -> tuple[float, float]:
        """Return the limits beyond which the value cannot lie; infinite with a normal term."""
        if self.sigma > 0.0:
            return -math.inf, math.inf
        reach = math.fsum(self.rectangular) + math.fsum(self.u_shaped)
        return self.center - reach, self.center + reach

    def _tail(self, distance: float) -> float:
        """Return the probability of an error beyond `distance`, which is 0 or more, on one side."""
        if self._kernel is None:
            return 0.0 if distance > 0.0 else 0.5
        if distance > _BEYOND * self._scale:
            return 0.0
        return min(0.5, max(0.0, self._kernel.lower(-distance / self._scale)[0]))

    def cdf(self, x: float) -> float:
        """Return the probability that the value lies below `x`."""
        distance = x - self.center
        return self._tail(-distance) if distance <= 0.0 else 1.0 - self._tail(distance)

    def sf(self, x: float) -> float:
        """Return the probability that the value lies above `x`, keeping its digits when small."""
        distance = x - self.center
        return self._tail(distance) if distance >= 0.0 else 1.0 - self._tail(-distance)

    def pdf(self, x: float) -> float:
        """Return the density at `x`, per quantity unit; infinite where the value is certain."""
        if self._kernel is None:
            return math.inf if x == self.center else 0.0
        return self._kernel.lower(-abs(x - self.center) / self._scale)[1] / self._scale

    def between(self, lower: float, upper: float) -> float:
        """Return the probability that the value lies between two limits, either of which may be infinite."""
        return max(0.0, 1.0 - self.outside(lower, upper))

    def outside(self, lower: float, upper: float) -> float:
        """Return the probability that the value lies beyond either limit, keeping its digits when small."""
        if self._kernel is None:  # certain: a value on a limit conforms (JCGM 106 3.3.5)
            return 0.0 if lower <= self.center <= upper else 1.0
        return min(1.0, self.cdf(lower) + self.sf(upper))

    def quantile(self, p: float) -> float:
        """Return the value below which a probability `p`, between 0 and 1 exclusive, lies."""
        check_level(p, "probability")
        if p < 0.5:
            return self.center - self.distance(p)
        return self.center + (self.distance(1.0 - p) if p > 0.5 else 0.0)

    def distance(self, tail: float) -> float:
        """Return how far from the center a one-sided probability `tail`, up to 0.5, lies beyond."""
        if self._kernel is None or tail >= 0.5:
            return 0.0
        return self._scale * _solve(self._kernel, tail, self._guess(tail))

    def _guess(self, tail: float) -> float:
        """Return roughly the distance for a tail, over the standard uncertainty; it only saves steps."""
        widest = max(self.rectangular, default=0.0) / self._scale
        if widest > _DOMINANT:
            return (1.0 - 2.0 * tail) * widest
        z = -normal_quantile(tail)
        # Cornish and Fisher, with the fourth cumulant of the bounded terms
        fourth = math.fsum((each / self._scale) ** 4 for each in self.rectangular) * (-2.0 / 15.0)
        fourth -= math.fsum((each / self._scale) ** 4 for each in self.u_shaped) * 0.375
        return max(0.25 * z, z + fourth * (z**3 - 3.0 * z) / 24.0)

    def expanded_uncertainty(self, level: float) -> float:
        """Return half the width of the interval that covers `level`."""
        check_level(level)
        return self.distance(0.5 * (1.0 - level))

    def interval(self, level: float) -> tuple[float, float]:
        """Return the probabilistically symmetric interval of this coverage level."""
        expanded = self.expanded_uncertainty(level)
        return self.center - expanded, self.center + expanded

    def coverage(self, level: float) -> CoverageInterval:
        """Return the interval of this level with the coverage factor it amounts to."""
        expanded = self.expanded_uncertainty(level)
        certain = self.standard_uncertainty == 0.0
        factor = coverage_factor(level) if certain else expanded / self.standard_uncertainty
        return CoverageInterval(self.center - expanded, self.center + expanded, expanded, factor, level, self.method)

    @property
    def method(self) -> str:
        """Return in words which distribution this is."""
        if self._kernel is None:
            return "no uncertainty"
        dof = self.degrees_of_freedom
        smooth = "normal" if math.isinf(dof) else f"Student's t with {dof:g} degrees of freedom"
        words = ["rectangular"] * any(self.rectangular) + ["U-shaped"] * any(self.u_shaped)
        if not words:
            return smooth
        return "exact sum of " + " and ".join(words + [smooth] * (self.sigma > 0.0)) + " terms"

    def shifted(self, center: float) -> OutputDistribution:
        """Return the same distribution about another value."""
        return OutputDistribution(center, self.rectangular, self.sigma, self.degrees_of_freedom, self.u_shaped)


def _solve(kernel: Kernel, tail: float, distance: float) -> float:
    """Return where `kernel` leaves `tail` beyond: Newton on the logarithm from `distance`, kept in a bracket."""
    near, far = 0.0, math.inf
    for _ in range(200):
        below, density = kernel.lower(-distance)
        if below > tail:
            near = distance
        else:
            far = distance
        step = math.inf
        if below > 0.0 and density > 0.0:
            gap = math.log(below / tail)
            step = gap * below / density
            if abs(gap) <= _LAST_STEP and abs(step) <= _LAST_STEP * distance:
                return distance + step
        following = distance + step
        if not near < following < far:
            following = 2.0 * distance + 1.0 if math.isinf(far) else 0.5 * (near + far)
        if following == distance or far <= near * (1.0 + 1e-15):
            break
        distance = following
    return distance
