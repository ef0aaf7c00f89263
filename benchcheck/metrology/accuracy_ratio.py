"""Guard bands from the test uncertainty ratio alone (ANSI/NCSL Z540.3 handbook; NCSLI RP-10).

The ratio (TUR) is the tolerance's span over twice the expanded uncertainty at 95 %. Each function returns the
acceptance factor A / T by which the half-width of a centred tolerance shrinks, never above 1.
"""

from __future__ import annotations

import math

from benchcheck.errors import MetrologyError

__all__ = ["managed_factor", "managed_multiple", "rp10_factor", "rss_factor", "u95_factor", "uncertainty_ratio"]


def uncertainty_ratio(span: float, expanded_uncertainty: float) -> float:
    """Return the tolerance's span over the span of the expanded uncertainty (Z540.3 3.11)."""
    if not (span > 0.0 and expanded_uncertainty > 0.0):
        raise MetrologyError(
            f"tolerance span {span!r} and expanded uncertainty {expanded_uncertainty!r}: both must be above 0"
        )
    return span / (2.0 * expanded_uncertainty)


def _checked(ratio: float) -> float:
    if not ratio > 0.0:
        raise MetrologyError(f"test uncertainty ratio {ratio!r}: a number above 0 is needed")
    return ratio


def managed_multiple(ratio: float) -> float:
    """Return M of A = T - U M, for a joint false accept of at most 2 % (Z540.3 handbook, method 6).

    Below 0, above a ratio of about 4.6, no guard band is needed.
    """
    return 1.04 - math.exp(0.38 * math.log(_checked(ratio)) - 0.54)


def managed_factor(ratio: float) -> float:
    """Return the acceptance factor of the managed guard band (method 6); 0 when nothing is left."""
    return max(0.0, 1.0 - max(0.0, managed_multiple(ratio)) / ratio)


def rss_factor(ratio: float) -> float:
    """Return sqrt(1 - 1 / TUR**2); 0 for a ratio below 1."""
    return math.sqrt(max(0.0, 1.0 - 1.0 / _checked(ratio) ** 2))


def u95_factor(ratio: float) -> float:
    """Return 1 - 1 / TUR, the guard band of a full U (method 5); 0 for a ratio below 1."""
    return max(0.0, 1.0 - 1.0 / _checked(ratio))


def rp10_factor(ratio: float) -> float:
    """Return 1.25 - 1 / TUR, at most 1 (NCSLI RP-10); 0 when nothing is left."""
    return min(1.0, max(0.0, 1.25 - 1.0 / _checked(ratio)))
