"""Straight lines fitted to readings of which a few may be anything: Student's t, mixed with a little of anything.

Lines give the strays that suit all readings best and how likely the readings are, strays integrated out (Laplace's
method; weights of the t distribution by iteration, Lange et al. 1989).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from benchcheck.diagnosis.predicted import BENT_AT

__all__ = [
    "ANYTHING",
    "BLUR",
    "INFLATED",
    "NEARBY",
    "STAYING",
    "Lines",
    "bending",
    "log_t",
    "mixed",
    "student_cumulated",
    "weights",
]

Floats = NDArray[np.float64]

#: degrees of freedom of what a reading strays by, and how much wider than stated good parts spread.
_FREEDOM = 5.0
INFLATED = 1.25
#: share of readings that are anything: a bad contact, a wrong line (common practice, no source).
ANYTHING = 0.003
#: rounds of a fit: the first as wide as good parts spread, the last with nothing but what is left over.
BLUR = (1.0, 0.3, 0.1, 0.03, 0.0, 0.0, 0.0)
#: rounds that look for what is likelier nearby and nowhere else, and none, which stays where it is.
NEARBY, STAYING = (0.0, 0.0, 0.0), ()
_T_CONSTANT = math.lgamma((_FREEDOM + 1) / 2) - math.lgamma(_FREEDOM / 2) - 0.5 * math.log(_FREEDOM * math.pi)


def log_t(error: Floats, sigma: Floats) -> Floats:
    """Return the logarithm of Student's density at an error, `sigma` its scale."""
    far = np.log1p((error / sigma) ** 2 / _FREEDOM)
    return np.asarray(_T_CONSTANT - np.log(sigma) - 0.5 * (_FREEDOM + 1.0) * far)


def mixed(error: Floats, sigma: Floats, broad: Floats) -> Floats:
    """Return the logarithm of a reading's density: Student's t, mixed with a little of anything (`broad`)."""
    return np.asarray(np.logaddexp(math.log(1.0 - ANYTHING) + log_t(error, sigma), math.log(ANYTHING) + broad))


def student_cumulated(z: Floats) -> Floats:
    """Return the distribution function of Student's t with five degrees of freedom (closed form for odd numbers)."""
    angle = np.arctan(z / math.sqrt(_FREEDOM))
    cosine = np.cos(angle)
    return np.asarray(0.5 + (angle + np.sin(angle) * (cosine + 2.0 / 3.0 * cosine**3)) / math.pi)


def weights(error: Floats, sigma: Floats, broad: Floats) -> Floats:
    """Return what each error counts in a fit, of what it would were all of them normal (Lange et al. 1989)."""
    inlier = math.log(1.0 - ANYTHING) + log_t(error, sigma)
    share = np.exp(inlier - np.logaddexp(inlier, math.log(ANYTHING) + broad))
    return np.asarray(share * (_FREEDOM + 1.0) / (_FREEDOM + (error / sigma) ** 2))


def bending(common: float) -> float:
    """Return the share of what is bent at a shift of all junctions of so many inflated standard deviations."""
    return min((INFLATED * common / BENT_AT) ** 2, 1.0)


@dataclass(frozen=True, slots=True)
class Ends:
    """Readings beyond the end of the last range: how far what is expected lies beyond it (less than 0: short of it).

    `slopes` (strays x readings), `own` and `broad` are as those of `Lines`, in the unit of `beyond`.
    """

    beyond: Floats
    slopes: Floats
    own: Floats
    broad: Floats


@dataclass(frozen=True, slots=True)
class Lines:
    """Straight lines to fit: slopes (strays x readings), errors, their deviations, where the strays are now.

    The last strays, so many as are `everywhere`, are straight wherever the others are: those of the meter.
    """

    slopes: Floats
    error: Floats
    straight: Floats
    broad: Floats
    bent: Floats
    at: Floats
    common: int
    ends: Ends
    everywhere: int = 0

    def strayed(self, blur: Sequence[float]) -> tuple[float, Floats, Floats, Floats, Floats]:
        """Return the likelihood's logarithm with the strays integrated out, those at their likeliest, terms and rest.

        `bent` is added to `straight` as the square of how far all junctions are off the point. With no round the
        strays stay where they are, but for the meter's.
        """
        slopes, error, spread = self.slopes, self.error, np.sqrt((self.slopes**2).sum(axis=0))
        rest, moved, own = error, 0.0, np.hypot(self.straight, self.bent) if blur else self.straight
        move = np.zeros_like(self.at)
        if not blur:
            move = self._of_meter()
            rest = error - move @ slopes
            factor, _ = self._towards(move, rest, own, 0.0)
        for width in blur:
            factor, move = self._towards(move, rest, np.hypot(own, width * spread), width)
            rest = error - move @ slopes
            moved = move[self.common] if self.common >= 0 else 0.0
            own = np.hypot(self.straight, self.bent * bending(moved))
        stray = self.at + move
        logdet = 2.0 * float(np.log(np.diagonal(factor)).sum())
        dense = mixed(rest, own, self.broad)
        total = float(dense.sum() - 0.5 * stray @ stray - 0.5 * logdet)
        inverse = _inverse(factor)
        return total, np.asarray(stray), np.asarray(inverse), np.asarray(dense), np.asarray(rest)

    def _of_meter(self) -> Floats:
        """Return the move that suits errors best with none but the meter's strays moved."""
        move, kept = np.zeros_like(self.at), len(self.at) - self.everywhere
        if self.everywhere:
            none = np.zeros(0)
            ends = Ends(none, np.zeros((self.everywhere, 0)), none, none)
            alone = replace(self, slopes=self.slopes[kept:], at=self.at[kept:], common=-1, ends=ends, everywhere=0)
            move[kept:] = alone.strayed(NEARBY)[1] - self.at[kept:]
        return move

    def _towards(self, move: Floats, rest: Floats, blurred: Floats, width: float) -> tuple[Floats, Floats]:
        """Return the factor of the information, and the move that suits errors weighed by what is left of them.

        What falls short of an end it was read beyond draws there as any error does; what is beyond draws no more.
        """
        share = np.sqrt(weights(rest, blurred, self.broad)) / blurred
        scaled = self.slopes * share  # by its own transpose: half the work of any other product
        information = scaled @ scaled.T
        information.flat[:: len(information) + 1] += 1.0
        right = scaled @ (share * self.error) - self.at
        ends = self.ends
        short = -(ends.beyond + move @ ends.slopes)
        drawing = np.flatnonzero(short > 0.0)
        if len(drawing):
            slopes = ends.slopes[:, drawing]
            wide = np.hypot(ends.own[drawing], width * np.sqrt((slopes**2).sum(axis=0)))
            share = np.sqrt(weights(short[drawing], wide, ends.broad[drawing])) / wide
            scaled = slopes * share
            information += scaled @ scaled.T
            right += scaled @ (share * -ends.beyond[drawing])
        return _cholesky(information, right)


def _cholesky(matrix: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Return a positive definite matrix's lower factor and the solution."""
    if not len(right):
        return matrix, right
    factor, solution, _ = lapack.dposv(matrix, right, lower=1)
    return np.asarray(factor), np.asarray(solution)


def _inverse(factor: Floats) -> Floats:
    """Return the inverse of the matrix whose lower factor this is."""
    if not len(factor):
        return factor
    lower = np.tril(lapack.dpotri(factor, lower=1)[0])
    return np.asarray(lower + np.tril(lower, -1).T)
