"""How likely all readings together are under one hypothesis, the strays of devices found with them.

One number each, shared by all readings (Laplace's method; weights of the t distribution by iteration, Lange et al.
1989). A stray is straight in the logarithm of ohms.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.likelihood import Held, without
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.robust import ANYTHING, BLUR, INFLATED, Ends, Lines, student_cumulated

__all__ = ["Fit", "Local", "fitted", "joint", "straight"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: a stray that moves no reading by this share of the meter's standard deviation is left to chance.
_MATTERS = 0.3
#: a value this many stated standard deviations off is beyond its tolerance (rectangular: at the square root of 3, and
#: a quarter more for what the fit does not know); how far beyond costs a factor e.
_TOLERANCE, _DOUBTED = 1.25 * math.sqrt(3.0), 0.7
#: a reading off by no more than so many deviations is explained.
_EXPLAINED = 5.0


@dataclass(frozen=True, slots=True)
class Fit:
    """All readings under one hypothesis: logarithm of their likelihood, each stray's likeliest value and covariance.

    `terms` are the readings' own shares, strays at their likeliest; `rest` (readings) is what was read less what is
    expected then, NaN where no line is drawn. `of_meter` are the meter's strays, `meter_left` (readings) is what is
    left unknown of them, as a standard deviation, and `with_meter` (strays x readings) its covariance with the other
    strays. `moved` is how far the furthest stray is from where the lines start, `off_line` by how much of its
    deviation the reading most misjudged may be off its line there.

    Strays that move nothing are at 0 with a variance of 1.
    """

    log_likelihood: float
    stray: Floats
    covariance: Floats
    terms: Floats
    rest: Floats
    of_meter: Floats
    meter_left: Floats
    with_meter: Floats
    moved: float
    off_line: float


@dataclass(frozen=True, slots=True)
class Local:
    """All readings under one hypothesis near one point of the strays: what straight lines start from.

    `error` (readings) is what was read less what is predicted at the point `at` (strays), NaN for OL; `slopes`
    (strays x readings), `own` and `bent` are in the readings' units, inflated. `terms` are the readings' shares where
    no line is drawn; `beyond` (readings) is how far what is predicted lies beyond the end of the last range, in the
    unit of `beyond_slopes` (strays x readings), NaN where `terms` stand. `scale` turns a ratio, or volts, into a
    reading's unit. `towards` (readings) is the error
    to take for a way to go where a line from here does not lead to what was read, else `error`.
    """

    at: Floats
    error: Floats
    slopes: Floats
    own: Floats
    bent: Floats
    terms: Floats
    drawn: Bools
    scale: Floats
    beyond: Floats | None = None
    beyond_slopes: Floats | None = None
    beyond_own: Floats | None = None
    towards: Floats | None = None

    @property
    def leads_there(self) -> bool:
        """Whether every line leads to what was read."""
        return self.towards is None or bool(np.array_equal(self.towards, self.error, equal_nan=True))

    @property
    def aiming(self) -> Local:
        """The lines with what they are to aim at in place of what is read."""
        return self if self.towards is None else replace(self, error=self.towards)

    def without(self, places: Collection[int]) -> Local:
        """Return the lines of the readings but those at some places."""
        return without(self, len(self.error), places)


def joint(predictions: Predictions, held: Held, row: int) -> Fit:
    """Return all readings held against one hypothesis at once, devices straying as they must."""
    return fitted(straight(predictions, held, row), held, predictions.common)


def straight(predictions: Predictions, held: Held, row: int) -> Local:
    """Return straight lines from the board as it is designed."""
    at, error = held.columns, held.error[row]
    scale = INFLATED * held.scale[row]
    return Local(
        np.zeros(len(predictions.good)),
        error,
        scale * predictions.slopes_of(row, at),
        scale * predictions.own[row, at],
        scale * predictions.bent[row, at],
        held.terms[row],
        ~np.isnan(error) & predictions.known[row, at],
        held.scale[row],
    )


def fitted(local: Local, held: Held, common: int, blur: Sequence[float] = BLUR) -> Fit:
    """Return the fit that straight lines give; `common` is the stray of all junctions.

    Each of `blur` is a round at which readings are taken to be uncertain by that share of what strays make of them:
    wide at first, so that many readings which one stray moves together are not all taken for bad ones (graduated
    non-convexity, Blake and Zisserman 1987).
    """
    stray, covariance = local.at.copy(), np.eye(len(local.at))
    of_meter, meter_left = np.zeros(len(held.shared)), np.sqrt((held.shared**2).sum(axis=0))
    with_meter = np.zeros((len(stray), len(local.terms)))
    numeric = np.flatnonzero(local.drawn)
    terms, rest = local.terms.copy(), np.full(len(local.terms), np.nan)
    total = 0.0
    if len(numeric):
        matters, lines = _lines(local, held, numeric, common)
        total, found, inverse, dense, rest[numeric] = lines.strayed(blur)
        count = len(matters)
        stray[matters], of_meter = found[:count], found[count:]
        covariance[np.ix_(matters, matters)] = inverse[:count, :count]
        meter_left = np.sqrt(((inverse[count:, count:] @ held.shared) * held.shared).sum(axis=0).clip(min=0.0))
        with_meter[matters] = inverse[:count, count:] @ held.shared
        terms[numeric] = dense
    move = stray - local.at
    _past_the_end(local, held, move, covariance, terms)
    others = np.setdiff1d(np.arange(len(terms)), numeric)
    moved, off = float(np.abs(move).max(initial=0.0)), _off_line(local, held, move, rest)
    total += float(terms[others].sum()) - _beyond_tolerance(stray[held.bounded])
    return Fit(total, stray, covariance, terms, rest, of_meter, meter_left, with_meter, moved, off)


def _lines(local: Local, held: Held, numeric: Indices, common: int) -> tuple[Indices, Lines]:
    """Return the strays that move any reading, and the lines to fit: those strays, then the meter's."""
    slopes, meter, ends = local.slopes[:, numeric], held.alone[numeric], _ends(local, held)
    matters = np.flatnonzero(
        (np.abs(slopes) > _MATTERS * meter).any(axis=1)
        | (np.abs(ends.slopes) > _MATTERS * ends.own).any(axis=1)
        | (local.at != 0.0)
    )
    little, shared = np.delete(slopes, matters, axis=0), held.shared[:, numeric]
    nothing = np.zeros((len(shared), ends.slopes.shape[1]))
    return matters, Lines(
        np.concatenate([slopes[matters], shared]), local.error[numeric],
        np.sqrt(meter**2 + local.own[numeric] ** 2 + (little**2).sum(axis=0)),
        held.anything[numeric], local.bent[numeric], np.concatenate([local.at[matters], np.zeros(len(shared))]),
        int(np.searchsorted(matters, common)) if common in matters else -1,
        replace(ends, slopes=np.concatenate([ends.slopes[matters], nothing])), len(shared),
    )  # fmt: skip


def _beyond_tolerance(stray: Floats) -> float:
    """Return what values beyond their stated tolerances cost: no good part has one, so such a fit is doubted."""
    beyond = (np.abs(stray) * INFLATED - _TOLERANCE).clip(min=0.0)
    return float(((beyond / _DOUBTED) ** 2).sum())


def _past_the_end(local: Local, held: Held, move: Floats, covariance: Floats, terms: Floats) -> None:
    """Enter how likely overloads are, as logarithms, with the strays moved so."""
    if local.beyond is None or local.beyond_slopes is None or local.beyond_own is None:
        return
    over = np.flatnonzero(~np.isnan(local.beyond))
    by = local.beyond_slopes[:, over]
    sigma = np.sqrt(np.maximum(((covariance @ by) * by).sum(axis=0), 0.0) + local.beyond_own[over] ** 2)
    chance = student_cumulated((local.beyond[over] + move @ by) / sigma)
    terms[over] = np.log((1.0 - ANYTHING) * chance + ANYTHING * np.exp(held.anything[over]))


def _off_line(local: Local, held: Held, move: Floats, rest: Floats) -> float:
    """Return by how much of its deviation a reading may be off its line, at most, those that are not explained apart.

    Where a junction only leaks, ohms run off to infinity as the leakage falls to the test current: a line that moves
    by a small ratio d is off by about its square (the second derivative of ln(-ln(1 - x)) by ln x).
    """
    sigma = np.hypot(held.meter, local.own)
    near = np.abs(np.nan_to_num(rest, nan=np.inf)) < _EXPLAINED * sigma
    size = np.maximum(np.abs(held.value[near]), sigma[near])
    swing = (move @ local.slopes)[near] / np.maximum(local.scale[near], sigma[near])
    return float((swing**2 * size / sigma[near]).max(initial=0.0))


def _ends(local: Local, held: Held) -> Ends:
    """Return the readings beyond the end of the last range, none where no line is drawn to them."""
    if local.beyond is None or local.beyond_slopes is None or local.beyond_own is None:
        none = np.zeros(0)
        return Ends(none, np.zeros((len(local.at), 0)), none, none)
    over = np.flatnonzero(~np.isnan(local.beyond))
    return Ends(local.beyond[over], local.beyond_slopes[:, over], local.beyond_own[over], held.anything[over])
