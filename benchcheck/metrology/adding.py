"""Which way to add the terms of a distribution: the cheapest that keeps nine digits.

A term far smaller than the normal part joins it, a term far smaller than the widest bounded one joins that.
What is left goes through a closed form where rounding allows, whole numbers where only rectangular terms
are left, and a Fourier series otherwise.
"""

from __future__ import annotations

import math

from benchcheck.metrology.kernel import (
    ClosedForm,
    ExactRectangular,
    Kernel,
    PhaseAverage,
    amplification,
    arcsine_base,
    normal_base,
    point_base,
    student_base,
)

__all__ = ["choose_kernel"]

#: rounding in a closed form may grow by this much before another way is taken.
_MOST_AMPLIFIED = 1e6
#: more terms than this make the signed sum slower than a Fourier series.
_MOST_RECTANGULAR, _MOST_EXACT = 6, 10
#: a bounded term this small beside the normal is a normal: its fourth cumulant moves no ninth digit.
_AS_NORMAL, _AS_STUDENT = 0.01, 1e-4
#: a term this small beside the widest only rounds the corners of its density.
_CORNER = 3e-8
_REACH = 6.0
_MOST_CORNERS = 6
#: Student's t then differs from the normal by one part in as many.
_AS_MANY_AS_INFINITE = 1e12
_ROOT_2, _ROOT_3 = math.sqrt(2.0), math.sqrt(3.0)

Widths = tuple[float, ...]


def choose_kernel(rectangular: Widths, u_shaped: Widths, sigma: float, degrees_of_freedom: float) -> Kernel:
    """Return the law of the sum of terms above 0: half-widths, and the scale of the normal or Student's t."""
    normal = degrees_of_freedom > _AS_MANY_AS_INFINITE
    if sigma > 0.0:
        limit = sigma * (_AS_NORMAL if normal else _AS_STUDENT)
        joined = _deviations(rectangular, u_shaped, limit)
        if joined:
            sigma = math.hypot(sigma, *joined)
            rectangular, u_shaped = _above(rectangular, limit), _above(u_shaped, limit)
    rectangular, u_shaped, sigma = _without_corners(rectangular, u_shaped, sigma)
    if sigma > 0.0 and not normal:
        return _student_kernel(rectangular, u_shaped, sigma, degrees_of_freedom)
    return _normal_kernel(rectangular, u_shaped, sigma)


def _above(widths: Widths, limit: float) -> Widths:
    return tuple(each for each in widths if each > limit)


def _deviations(rectangular: Widths, u_shaped: Widths, limit: float) -> list[float]:
    """Return the standard deviations of the terms up to a limit."""
    found = [each / _ROOT_3 for each in rectangular if each <= limit]
    return found + [each / _ROOT_2 for each in u_shaped if each <= limit]


def _without_corners(rectangular: Widths, u_shaped: Widths, sigma: float) -> tuple[Widths, Widths, float]:
    bounded = rectangular + u_shaped
    if not bounded:
        return rectangular, u_shaped, sigma
    widest = max(bounded)
    limit = widest * _CORNER
    small = _deviations(rectangular, u_shaped, limit)
    if 0.0 < sigma <= limit:
        small.append(sigma)
        sigma = 0.0
    if not small:
        return rectangular, u_shaped, sigma
    wide, curved = list(_above(rectangular, limit)), list(_above(u_shaped, limit))
    kept, root = (wide, _ROOT_3) if widest in wide else (curved, _ROOT_2)
    kept[kept.index(widest)] = math.hypot(widest, *(each * root for each in small))
    return tuple(wide), tuple(curved), sigma


def _corners(bounded: Widths) -> tuple[float, ...]:
    """Return where the density of a sum of bounded terms bends, as far as there are not too many."""
    found = {0.0}
    for each in bounded[:_MOST_CORNERS]:
        found = {place + side * each for place in found for side in (1.0, -1.0)}
    return tuple(sorted(found))


def _fits(rectangular: Widths, reach: float) -> bool:
    return len(rectangular) <= _MOST_RECTANGULAR and amplification(rectangular, reach) <= _MOST_AMPLIFIED


def _normal_kernel(rectangular: Widths, u_shaped: Widths, sigma: float) -> Kernel:
    if not u_shaped and sigma > 0.0 and _fits(rectangular, _REACH * sigma):
        return ClosedForm(normal_base(sigma, len(rectangular)), rectangular)
    if not u_shaped and sigma == 0.0:
        if _fits(rectangular, 0.0):
            return ClosedForm(point_base(len(rectangular)), rectangular)
        if len(rectangular) <= _MOST_EXACT:
            return ExactRectangular(rectangular)
    if len(u_shaped) == 1 and sigma == 0.0 and _fits(rectangular, u_shaped[0]):
        return ClosedForm(arcsine_base(u_shaped[0], len(rectangular)), rectangular)
    if sigma == 0.0 and len(u_shaped) == 2:
        narrow, wide = sorted(u_shaped)
        rest = (*rectangular, narrow)
        return PhaseAverage(choose_kernel(rectangular, (narrow,), 0.0, math.inf), wide, _corners(rest))
    import numpy as np

    from benchcheck.metrology.convolution import FourierSeries

    return FourierSeries(rectangular, u_shaped, np.array([sigma]))


def _student_kernel(rectangular: Widths, u_shaped: Widths, sigma: float, dof: float) -> Kernel:
    # an average over one more rectangular term needs whole degrees of freedom, or more of them than terms
    exists = dof == math.floor(dof) or len(rectangular) < dof
    if not u_shaped and exists and _fits(rectangular, _REACH * sigma):
        return ClosedForm(student_base(sigma, dof, len(rectangular)), rectangular)
    from benchcheck.metrology.convolution import StudentSeries

    return StudentSeries(rectangular, u_shaped, sigma, dof)
