"""One line of an uncertainty budget: a source of error, how large it may be and how it acts on the result.

A contribution's id names the physical error. The same id in two budgets is the same error at work in both,
fully correlated, whatever the labels say; a difference or ratio of the two lets it cancel with its sign.
"""

# ruff: noqa: A002 - a contribution's id is called `id` wherever it is given
from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchcheck.errors import MetrologyError
from benchcheck.metrology.distribution import Distribution, coverage_factor
from benchcheck.metrology.repeatability import type_a

__all__ = ["Contribution", "degrees_of_freedom_of"]

_SET = object.__setattr__
#: how far a stated half-width, divisor and standard uncertainty may disagree, as a ratio.
_AGREE = 1e-6


def degrees_of_freedom_of(relative_unreliability: float, where: str = "type B evaluation") -> float:
    """Return the degrees of freedom of a type B evaluation from how unsure its uncertainty is (GUM G.4.2).

    0.25 says that the standard uncertainty may be a quarter off, and gives 8; 0 gives infinity.

    >>> degrees_of_freedom_of(0.25)
    8.0
    """
    if not 0.0 <= relative_unreliability <= math.sqrt(0.5):
        raise MetrologyError(
            f"{where}: relative unreliability {relative_unreliability!r}: a ratio from 0 to 0.707 is needed "
            "(above that less than one degree of freedom remains); write 0.25 for a quarter"
        )
    return math.inf if relative_unreliability == 0.0 else 0.5 / relative_unreliability**2


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of uncertainty.

    `standard_uncertainty` and `half_width` are in the quantity unit of the input itself; `sensitivity`, with
    its sign, turns them into the unit of the result. `half_width` is where a bounded distribution ends, None
    for a normal. `divisor` is what the stated figure was divided by to give the standard uncertainty; 0 asks
    for the distribution's own. `degrees_of_freedom` is 1 or more; infinity means that the uncertainty itself
    is known exactly. Raises MetrologyError naming the contribution for figures that make no sense.

    >>> meter = Contribution.from_limits("dmm.accuracy", "meter accuracy", 40.6)
    >>> round(meter.standard_uncertainty, 2)
    23.44
    """

    id: str
    label: str
    standard_uncertainty: float
    distribution: Distribution = Distribution.NORMAL
    half_width: float | None = None
    sensitivity: float = 1.0
    degrees_of_freedom: float = math.inf
    divisor: float = 0.0
    origin: str = ""

    def __post_init__(self) -> None:
        """Refuse impossible figures and fill in what the distribution settles."""
        u = self.standard_uncertainty
        if not 0.0 <= u < math.inf:
            raise self._refusal("standard uncertainty", u, "a finite number, 0 or more")
        if not -math.inf < self.sensitivity < math.inf:
            raise self._refusal("sensitivity", self.sensitivity, "a finite number")
        if not self.degrees_of_freedom >= 1.0:
            raise self._refusal("degrees of freedom", self.degrees_of_freedom, "1 or more, or infinity")
        if not 0.0 <= self.divisor < math.inf:
            raise self._refusal("divisor", self.divisor, "a finite number above 0")
        if not self.id:
            raise MetrologyError(f'contribution "{self.label}" has no id; name the physical error it stands for')
        self._settle_shape(u)

    def _settle_shape(self, u: float) -> None:
        if self.distribution is Distribution.NORMAL:
            if self.divisor == 0.0:
                _SET(self, "divisor", 1.0)
            return
        half_width = self.half_width
        if half_width is None:
            if self.distribution is Distribution.TRAPEZOIDAL:
                raise self._refusal("half-width", None, "the half-width of the trapezoid's base")
            _SET(self, "half_width", u * self.distribution.divisor)
        elif not 0.0 <= half_width < math.inf:
            raise self._refusal("half-width", half_width, "a finite number, 0 or more")
        else:
            self._check_shape(u, half_width)
        if self.divisor == 0.0:
            divisor = self.distribution.divisor
            if self.distribution is Distribution.TRAPEZOIDAL and half_width and u:
                divisor = half_width / u
            _SET(self, "divisor", divisor)

    def _check_shape(self, u: float, half_width: float) -> None:
        lowest = highest = half_width / self.distribution.divisor
        if self.distribution is Distribution.TRAPEZOIDAL:
            lowest = half_width / Distribution.TRIANGULAR.divisor
        if not lowest * (1 - _AGREE) <= u <= highest * (1 + _AGREE):
            raise self._refusal(
                f"half-width {half_width:g} with standard uncertainty",
                u,
                f"{half_width:g} / {half_width / highest if highest else 1:.4g} for this distribution; "
                "build it with Contribution.from_limits",
            )

    def _refusal(self, what: str, found: object, allowed: str) -> MetrologyError:
        return MetrologyError(f'contribution "{self.id}" ({self.label}): {what} {found!r}: {allowed} is needed')

    @property
    def output_uncertainty(self) -> float:
        """Return |sensitivity| x standard uncertainty, in the quantity unit of the result."""
        return abs(self.sensitivity) * self.standard_uncertainty

    @property
    def figure(self) -> float:
        """Return the figure the divisor belongs to: half-width, expanded uncertainty or standard deviation."""
        return self.standard_uncertainty * self.divisor

    def times(self, factor: float) -> Contribution:
        """Return the same error acting `factor` times as strongly on the result."""
        return replace(self, sensitivity=self.sensitivity * factor)

    @classmethod
    def from_standard(
        cls,
        id: str,
        label: str,
        standard_uncertainty: float,
        *,
        degrees_of_freedom: float = math.inf,
        sensitivity: float = 1.0,
        origin: str = "",
    ) -> Contribution:
        """Return a normal contribution from a stated standard uncertainty."""
        return cls(
            id, label, standard_uncertainty, Distribution.NORMAL, None, sensitivity, degrees_of_freedom, 1.0, origin
        )

    @classmethod
    def from_limits(
        cls,
        id: str,
        label: str,
        half_width: float,
        *,
        distribution: Distribution = Distribution.RECTANGULAR,
        sensitivity: float = 1.0,
        degrees_of_freedom: float = math.inf,
        relative_unreliability: float = 0.0,
        origin: str = "",
    ) -> Contribution:
        """Return a contribution bounded by plus and minus `half_width` (GUM 4.3.7, 4.3.9).

        The distribution may be rectangular, triangular or U-shaped. How unsure the limits themselves are may
        be given as degrees of freedom or as a relative unreliability (GUM G.4.2), not both.
        """
        if distribution in (Distribution.NORMAL, Distribution.TRAPEZOIDAL):
            raise MetrologyError(
                f'contribution "{id}" ({label}): limits do not make a {distribution} distribution; '
                "use from_expanded for a normal, trapezoidal for a trapezoid"
            )
        where = f'contribution "{id}" ({label})'
        if not 0.0 <= half_width < math.inf:
            raise MetrologyError(f"{where}: half-width {half_width!r}: a finite number, 0 or more, is needed")
        if relative_unreliability:
            if degrees_of_freedom < math.inf:
                raise MetrologyError(f"{where}: state either degrees of freedom or a relative unreliability")
            degrees_of_freedom = degrees_of_freedom_of(relative_unreliability, where)
        u = half_width / distribution.divisor
        return cls(
            id, label, u, distribution, half_width, sensitivity, degrees_of_freedom, distribution.divisor, origin
        )

    @classmethod
    def from_bounds(
        cls, id: str, label: str, lower: float, upper: float, *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return a rectangular contribution from the bounds of a value estimated by their middle (GUM 4.3.7)."""
        if not lower <= upper:
            raise MetrologyError(
                f'contribution "{id}" ({label}): lower bound {lower!r} lies above '
                f"the upper bound {upper!r}; exchange them"
            )
        return cls.from_limits(id, label, 0.5 * upper - 0.5 * lower, sensitivity=sensitivity, origin=origin)

    @classmethod
    def from_resolution(
        cls, id: str, label: str, resolution: float, *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return what one step of the last digit leaves open: half a digit to each side (GUM F.2.2.1)."""
        return cls.from_limits(
            id, label, 0.5 * resolution, sensitivity=sensitivity, origin=origin or "half a digit (GUM F.2.2.1)"
        )

    @classmethod
    def triangular(
        cls, id: str, label: str, half_width: float, *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return a triangular contribution: values near the middle are likelier (GUM 4.3.9)."""
        return cls.from_limits(
            id, label, half_width, distribution=Distribution.TRIANGULAR, sensitivity=sensitivity, origin=origin
        )

    @classmethod
    def u_shaped(
        cls, id: str, label: str, half_width: float, *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return a U-shaped (arcsine) contribution: a cycling quantity, or mismatch (JCGM 101 6.4.6)."""
        return cls.from_limits(
            id, label, half_width, distribution=Distribution.U_SHAPED, sensitivity=sensitivity, origin=origin
        )

    @classmethod
    def trapezoidal(
        cls, id: str, label: str, half_width: float, top: float, *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return a symmetric trapezoidal contribution (GUM 4.3.9).

        `top` is the ratio of the top's width to the base's: 1 is rectangular, 0 triangular.
        """
        if not 0.0 <= top <= 1.0:
            raise MetrologyError(
                f'contribution "{id}" ({label}): top {top!r}: '
                "a ratio from 0 (triangular) to 1 (rectangular) is needed"
            )
        divisor = math.sqrt(6.0 / (1.0 + top * top))
        u = half_width / divisor
        return cls(id, label, u, Distribution.TRAPEZOIDAL, half_width, sensitivity, divisor=divisor, origin=origin)

    @classmethod
    def from_expanded(
        cls,
        id: str,
        label: str,
        expanded: float,
        *,
        coverage_factor: float | None = None,
        level: float | None = None,
        degrees_of_freedom: float = math.inf,
        sensitivity: float = 1.0,
        origin: str = "",
    ) -> Contribution:
        """Return a normal contribution from an expanded uncertainty with its k or its level (GUM 4.3.3, 4.3.4).

        With a level and finite degrees of freedom the divisor is Student's t, as on a certificate that
        states them. Exactly one of `coverage_factor` and `level` is needed.
        """
        divisor = _divisor(id, label, coverage_factor, level, degrees_of_freedom)
        return cls(
            id,
            label,
            expanded / divisor,
            Distribution.NORMAL,
            None,
            sensitivity,
            degrees_of_freedom,
            divisor,
            origin,
        )

    @classmethod
    def from_readings(
        cls, id: str, label: str, readings: Sequence[float], *, sensitivity: float = 1.0, origin: str = ""
    ) -> Contribution:
        """Return the type A contribution of the mean of repeated readings (GUM 4.2.3).

        Raises MetrologyError for fewer than two readings: one reading shows no repeatability.
        """
        found = type_a(readings, f'contribution "{id}" ({label})')
        return cls(
            id,
            label,
            found.standard_uncertainty,
            Distribution.NORMAL,
            None,
            sensitivity,
            found.degrees_of_freedom,
            1.0,
            origin or f"{found.count} readings",
        )


def _divisor(id: str, label: str, factor: float | None, level: float | None, dof: float) -> float:
    where = f'contribution "{id}" ({label})'
    if (factor is None) == (level is None):
        raise MetrologyError(f"{where}: state either the coverage factor or the level of the expanded uncertainty")
    if factor is not None:
        if not 0.0 < factor < math.inf:
            raise MetrologyError(f"{where}: coverage factor {factor!r}: a finite number above 0 is needed")
        return factor
    assert level is not None
    if not 0.0 < level < 1.0:
        raise MetrologyError(f"{where}: level {level!r}: a probability between 0 and 1 is needed; write 0.95")
    if not dof >= 1.0:
        raise MetrologyError(f"{where}: degrees of freedom {dof!r}: 1 or more, or infinity, is needed")
    return coverage_factor(level, dof)
