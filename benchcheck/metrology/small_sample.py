"""Limits from one to five known-good units: a spread known beforehand, updated by what was read.

The prior spread (part tolerance, meter, temperature, lot) counts like a sample of its own: a standard
deviation with degrees of freedom that say how sure it is. Together with n readings it gives a pooled spread
with more degrees of freedom (the conjugate update of a normal's variance), and the exact factors follow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.errors import MetrologyError
from benchcheck.metrology.contribution import degrees_of_freedom_of
from benchcheck.metrology.repeatability import type_a
from benchcheck.metrology.tolerance_interval import prediction_factor, two_sided_factor

__all__ = ["PriorSpread", "SampleLimits", "prediction_limits", "tolerance_limits"]


@dataclass(frozen=True, slots=True)
class PriorSpread:
    """What is known of the spread of good units before any is read.

    `standard_deviation` in the readings' quantity unit; `degrees_of_freedom` say how sure it is, `origin`
    where it comes from.
    """

    standard_deviation: float
    degrees_of_freedom: float = 8.0
    origin: str = ""

    def __post_init__(self) -> None:
        """Refuse a spread that is none."""
        if not 0.0 < self.standard_deviation < math.inf:
            raise MetrologyError(
                f"prior spread {self.standard_deviation!r} ({self.origin}): a finite number above 0 is needed"
            )
        if not self.degrees_of_freedom >= 1.0:
            raise MetrologyError(
                f"prior spread ({self.origin}): degrees of freedom {self.degrees_of_freedom!r}: 1 or more are needed"
            )

    @classmethod
    def within(cls, standard_deviation: float, relative_unreliability: float, origin: str = "") -> PriorSpread:
        """Return a spread that may be this ratio off: 0.25 gives 8 degrees of freedom (GUM G.4.2)."""
        return cls(standard_deviation, degrees_of_freedom_of(relative_unreliability), origin)


@dataclass(frozen=True, slots=True)
class SampleLimits:
    """Limits set from a sample, in the readings' quantity unit, with what they rest on.

    `factor` x `spread` is half the width; `degrees_of_freedom` are those of the spread, prior included;
    `statement` says in words what the limits promise.
    """

    lower: float
    upper: float
    mean: float
    spread: float
    degrees_of_freedom: float
    factor: float
    count: int
    statement: str


def _pooled(readings: Sequence[float], prior: PriorSpread | None) -> tuple[float, float, float]:
    """Return mean, spread and degrees of freedom."""
    if prior is None:
        found = type_a(readings, "limits from a sample without a prior spread")
        if found.standard_deviation == 0.0:
            raise MetrologyError(
                f"limits from a sample: all {len(readings)} readings are alike, which says that the digit is coarse, "
                "not that units do not differ; give a prior spread"
            )
        return found.mean, found.standard_deviation, found.degrees_of_freedom
    count = len(readings)
    if count == 0:
        raise MetrologyError("limits from a sample: no reading given; one or more are needed")
    if count == 1:
        only = float(readings[0])
        if not math.isfinite(only):
            raise MetrologyError(f"limits from a sample: reading 1 is {only!r}: finite numbers are needed")
        return only, prior.standard_deviation, prior.degrees_of_freedom
    found = type_a(readings, "limits from a sample")
    if math.isinf(prior.degrees_of_freedom):
        return found.mean, prior.standard_deviation, math.inf
    dof = prior.degrees_of_freedom + found.degrees_of_freedom
    spread = math.hypot(
        prior.standard_deviation * math.sqrt(prior.degrees_of_freedom / dof),
        found.standard_deviation * math.sqrt(found.degrees_of_freedom / dof),
    )
    return found.mean, spread, dof


def _limits(
    readings: Sequence[float], pooled: tuple[float, float, float], factor: float, promise: str, source: str
) -> SampleLimits:
    mean, spread, dof = pooled
    half = factor * spread
    statement = f"{promise}, from {len(readings)} reading(s) and {source}"
    return SampleLimits(mean - half, mean + half, mean, spread, dof, factor, len(readings), statement)


def _source(prior: PriorSpread | None) -> str:
    if prior is None:
        return "their scatter alone"
    return f"a prior spread{f' ({prior.origin})' if prior.origin else ''}"


def tolerance_limits(
    readings: Sequence[float],
    *,
    content: float = 0.95,
    confidence: float = 0.95,
    prior: PriorSpread | None = None,
) -> SampleLimits:
    """Return limits that contain a share `content` of good units with this confidence.

    One reading is enough with a prior spread; without one, two or more are needed and few say little.

    >>> alone = tolerance_limits([0.652, 0.655, 0.649])
    >>> known = tolerance_limits([0.652, 0.655, 0.649], prior=PriorSpread(0.004, 8))
    >>> round(alone.factor, 2), round(known.factor, 2)
    (9.79, 3.65)
    """
    pooled = _pooled(readings, prior)
    factor = two_sided_factor(len(readings), content, confidence, degrees_of_freedom=pooled[2])
    promise = f"contain {100 * content:g} % of good units with {100 * confidence:g} % confidence"
    return _limits(readings, pooled, factor, promise, _source(prior))


def prediction_limits(
    readings: Sequence[float], *, level: float = 0.95, prior: PriorSpread | None = None
) -> SampleLimits:
    """Return limits that hold the next good unit with probability `level`.

    >>> round(prediction_limits([0.652], prior=PriorSpread(0.004, 8)).factor, 2)
    3.26
    """
    pooled = _pooled(readings, prior)
    factor = prediction_factor(len(readings), level, degrees_of_freedom=pooled[2])
    promise = f"hold the next good unit with a probability of {100 * level:g} %"
    return _limits(readings, pooled, factor, promise, _source(prior))
