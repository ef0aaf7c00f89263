"""What sharing a meter does not cancel: the rest of a difference or ratio of two readings on one range.

Gain and offset are the same error in both readings and go by themselves (one id). The converter's curve does
not: its steps are unequal by about a digit (differential linearity), and over a distance it bends away from
the straight line (integral non-linearity). Beyond that remain the rounding of both
displays, repeatability and the drift in between.
"""

from __future__ import annotations

import math

from benchcheck.errors import MetrologyError
from benchcheck.metrology.contribution import Contribution

__all__ = ["drift", "linearity", "rounding"]


def linearity(
    id: str,  # noqa: A002 - as in Contribution
    resolution: float,
    *,
    counts: float = 1.0,
    separation: float = 0.0,
    full_scale: float = math.inf,
    integral_nonlinearity: float = 0.0,
) -> Contribution:
    """Return the contribution of the converter's curve to the difference of two readings on one range.

    `counts` digits of `resolution` for unequal steps; and where the readings lie `separation` apart on a range
    of `full_scale`, what a smooth curve that strays `integral_nonlinearity` from the straight line can change
    over that distance: a full S over the range at its steepest, never more than twice the stray. All in the
    quantity unit of the readings. The counts of an accuracy specification bound the stray where none is given.

    >>> near = linearity("VSW.linearity", 0.001, separation=0.01, full_scale=6.0, integral_nonlinearity=0.003)
    >>> round(near.half_width, 6)
    0.001031
    """
    figures = {"resolution": resolution, "counts": counts, "integral non-linearity": integral_nonlinearity}
    for name, figure in figures.items():
        if not 0.0 <= figure < math.inf:
            raise MetrologyError(f'contribution "{id}": {name} {figure!r}: a finite number, 0 or more, is needed')
    if not full_scale > 0.0:
        raise MetrologyError(f'contribution "{id}": full scale {full_scale!r}: a number above 0 is needed')
    if math.isnan(separation):
        raise MetrologyError(f'contribution "{id}": separation {separation!r}: a number is needed')
    bend = integral_nonlinearity * min(2.0, 2.0 * math.pi * abs(separation) / full_scale)
    origin = f"{counts:g} count(s) of {resolution:g}"
    if bend:
        origin += f", and a curve within {integral_nonlinearity:g} over {abs(separation):g} of {full_scale:g}"
    return Contribution.from_limits(id, "linearity between the readings", counts * resolution + bend, origin=origin)


def rounding(
    id: str,  # noqa: A002 - as in Contribution
    resolution: float,
) -> Contribution:
    """Return what two displays leave open in a difference: half a digit each, together a triangle of a digit.

    The counts of an accuracy hold the display of one reading, but they cancel as one error; the two roundings
    are each reading's own and do not.
    """
    return Contribution.triangular(id, "rounding of both displays", resolution, origin="half a digit each")


def drift(
    id: str,  # noqa: A002 - as in Contribution
    coefficient: float,
    change: float,
    *,
    origin: str = "",
) -> Contribution:
    """Return what changed between two readings: `coefficient` per quantity unit of an influence, times `change`.

    A silicon junction drops 2 mV/K, and half a kelvin passes between two readings of a hand-held part: a
    half-width of 1 mV.

    >>> drift("Q1.drift", 2e-3, 0.5).half_width
    0.001
    """
    half_width = abs(coefficient) * abs(change)
    return Contribution.from_limits(
        id, "drift between the readings", half_width, origin=origin or f"{coefficient:g} x {change:g}"
    )
