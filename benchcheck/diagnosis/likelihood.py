"""How likely what was read is under each hypothesis.

Each reading on its own first: Student's t around the prediction, as wide as meter, leads and good parts spread it,
mixed with a little of anything, so that one bad reading does not decide all. The hypotheses that lead are then held
against all readings together, the strays of devices (one number each, shared by all readings) found with them
(Laplace's method; weights of the t distribution by iteration, Lange et al. 1989). Ohms spread by factors: a stray is
straight in their logarithm, and an error counts by the logarithmic mean of what was read and what was expected.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.predicted import Predictions, in_range
from benchcheck.diagnosis.robust import (
    ANYTHING,
    BLUR,
    INFLATED,
    Ends,
    Lines,
    log_t,
    student_cumulated,
)
from benchcheck.diagnosis.shots import MeterErrors

__all__ = [
    "NEVER_BY_CONTACT", "Fit", "Held", "Local", "anything", "beyond_end", "fitted",
    "hold", "joint", "logarithmic_mean", "straight", "unexplained",
]  # fmt: skip

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: of readings that are anything, those that show overload: an open reading is proved by marks of whole leads around
#: it, or asked for twice (common practice, no source).
_OVERLOAD_SHARE = 0.1
#: logarithm of a reading's likelihood below which a hypothesis does not explain it, against anything at all.
_UNEXPLAINED = math.log(0.2)
#: of what a fault does to a reading, how much more or less it may do on a unit that strays.
_MORE_OR_LESS, _MOST_RATIO = 0.3, 20.0
#: a stray that moves no reading by this share of the meter's standard deviation is left to chance.
_MATTERS = 0.3
#: a value this many stated standard deviations off is beyond its tolerance (rectangular: at the square root of 3, and
#: a quarter more for what the fit does not know); how far beyond costs a factor e.
_TOLERANCE, _DOUBTED = 1.25 * math.sqrt(3.0), 0.7
#: a reading off by no more than so many deviations is explained.
_EXPLAINED = 5.0
#: least spread of where overload begins: a ratio of ohms, volts.
_EDGE = 0.02
#: natural logarithm of how many times the largest exceeds the smallest reading of a function.
_SPAN = {Function.CAPACITANCE: math.log(1e10), Function.ESR: math.log(1e4)}
_OHMS_SPAN = math.log(1e9)
_VOLTS = 3.0
#: by how much, as a logarithm, a reading below nothing is rarer than any other that no contact explains: it takes a
#: source, such as charge that was left (common practice, no source).
NEVER_BY_CONTACT = math.log(100.0)


@dataclass(frozen=True, slots=True)
class Held:
    """Readings against predictions: `terms` (rows x readings) are natural logarithms of likelihoods.

    `error` is what was read less what was predicted and the leads (NaN for OL), `scale` what turns slopes into the
    reading's unit, `meter` (readings) the standard deviation of meter and leads, `columns` where each reading's shot
    stands among the predictions. `leads` is what they add, `overload_from` where the last range ends, `value` what
    was read, `bounded` (strays) which of them a stated tolerance bounds.
    """

    seen: tuple[Seen, ...]
    columns: Indices
    terms: Floats
    error: Floats
    scale: Floats
    meter: Floats
    anything: Floats
    leads: Floats
    overload_from: Floats
    value: Floats
    bounded: Bools

    def without(self, places: Collection[int]) -> Held:
        """Return the readings but those at some places."""
        return _without(self, len(self.seen), places)


def anything(function: Function, value: float, smallest: float) -> float:
    """Return the logarithm of the density of a reading that has nothing to do with the board (its share for OL)."""
    if math.isnan(value):
        return math.log(_OVERLOAD_SHARE)
    rest = math.log(1.0 - _OVERLOAD_SHARE)
    if value < -10.0 * smallest:
        rest -= NEVER_BY_CONTACT
    if function is Function.DIODE:
        return rest - math.log(_VOLTS) - 2.0 * math.log(max(abs(value) / _VOLTS, 1.0))
    return rest - math.log(_SPAN.get(function, _OHMS_SPAN)) - math.log(max(abs(value), 10.0 * smallest, 1e-15))


@dataclass(frozen=True, slots=True)
class _Read:
    """Readings as arrays: value, limit of error there and at nothing, leads and their deviation, last digit, OL."""

    value: Floats
    limit: Floats
    least: Floats
    leads: Floats
    leads_sd: Floats
    digit: Floats
    overload_from: Floats


def _as_arrays(kept: Sequence[Seen], errors: MeterErrors, leads_ohm: float | None) -> _Read:
    value = np.array([one.value for one in kept], float)
    every = {one.shot.function for one in kept}
    of = {function: np.array([one.shot.function is function for one in kept]) for function in every}
    limit, least, leads, leads_sd, edge = (np.zeros(len(kept)) for _ in range(5))
    for function, which in of.items():
        limit[which] = errors.limit_of_error(function, np.nan_to_num(value[which]))
        least[which] = errors.limit_of_error(function, np.zeros(1))[0]
        leads[which], leads_sd[which] = errors.leads_ohm(function, leads_ohm)
        edge[which] = errors.overload_from(function)
    return _Read(value, limit, least, leads, leads_sd, np.array([one.resolution for one in kept]), edge)


def hold(predictions: Predictions, seen: Sequence[Seen], errors: MeterErrors, leads_ohm: float | None = None) -> Held:
    """Return every reading against every hypothesis."""
    place = {shot: at for at, shot in enumerate(predictions.shots)}
    kept = tuple(one for one in seen if one.shot in place)
    columns = np.array([place[one.shot] for one in kept], dtype=np.intp)
    read = _as_arrays(kept, errors, leads_ohm)
    there = _in_range_shown(predictions, kept, columns, errors)
    in_ratio = predictions.in_ratio[columns]
    true = read.value - read.leads
    scale = np.where(in_ratio, logarithmic_mean(true, there), 1.0)
    meter = np.sqrt(read.limit**2 / 3.0 + read.leads_sd**2 + read.digit**2 / 12.0)
    spread = predictions.spread[:, columns]
    error = true - there
    broad = np.array(
        [anything(s.shot.function, s.value, least) for s, least in zip(kept, read.least, strict=True)], float
    )
    numeric = np.logaddexp(
        math.log(1.0 - ANYTHING) + _dense(error, np.hypot(meter, INFLATED * spread * scale)),
        math.log(ANYTHING) + broad,
    )
    beyond = _beyond(there, spread, in_ratio, read)
    overload = np.log((1.0 - ANYTHING) * beyond + ANYTHING * np.exp(broad))
    terms = np.where(np.isnan(read.value), overload, numeric)
    unsure, nothing = ~predictions.known[:, columns], np.isnan(there)
    terms = np.where(unsure, np.where(nothing, broad, np.logaddexp(terms, broad) - math.log(2.0)), terms)
    return Held(
        kept,
        columns,
        terms,
        error,
        scale,
        meter,
        broad,
        read.leads,
        read.overload_from,
        read.value,
        predictions.bounded,
    )


def logarithmic_mean(read: Floats, expected: Floats) -> Floats:
    """Return (a - b) / ln(a / b) of what was read and expected; the expected one where nothing sensible was read."""
    least = np.maximum(1e-3 * np.abs(expected), 1e-12)
    a, b = np.maximum(np.nan_to_num(read), least), np.maximum(np.nan_to_num(expected), 1e-12)
    ratio = np.log(a / b)
    near = np.abs(ratio) < 1e-4
    mean = np.where(near, b, (a - b) / np.where(near, 1.0, ratio))
    return np.asarray(np.where(np.isnan(read) | np.isnan(expected), np.nan_to_num(expected), mean))


def _dense(error: Floats, sigma: Floats) -> Floats:
    """Return Student's density, nothing where a number was read and none is expected."""
    return np.asarray(np.where(np.isnan(error), -np.inf, log_t(np.nan_to_num(error), sigma)))


def _beyond(there: Floats, spread: Floats, in_ratio: Bools, read: _Read) -> Floats:
    """Return the chance that a reading is beyond the end of the last range."""
    distance, least = beyond_end(there, in_ratio, read.overload_from)
    chance = student_cumulated(distance / np.hypot(INFLATED * spread, least))
    return np.asarray(np.where(np.isnan(there), 1.0, np.where(np.isfinite(read.overload_from), chance, 0.0)))


def beyond_end(there: Floats, in_ratio: Bools, edge: Floats) -> tuple[Floats, Floats]:
    """Return how far readings lie beyond the end of the last range, of ohms as a logarithm, and how broad that is."""
    finite = np.isfinite(edge)
    by_ratio = np.log(np.maximum(np.nan_to_num(there), 1e-12) / np.where(finite, edge, 1.0))
    distance = np.where(in_ratio, by_ratio, there - edge)
    return distance, np.where(in_ratio, _EDGE, np.where(finite, _EDGE * edge, 1.0))


def _in_range_shown(predictions: Predictions, kept: Sequence[Seen], columns: Indices, errors: MeterErrors) -> Floats:
    """Return the predictions in the range each reading was shown in, where the circuit was solved for it."""
    latent, held = predictions.latent[:, columns], predictions.held
    for at, one in enumerate(kept):
        there = held[:, columns[at]]
        latent[:, at] = in_range(one.value, one.shot.function, latent[:, at], there, errors, one.resolution)
    return np.asarray(latent)


@dataclass(frozen=True, slots=True)
class Fit:
    """All readings under one hypothesis: logarithm of their likelihood, each stray's likeliest value and covariance.

    `terms` are the readings' own shares, strays at their likeliest; `rest` (readings) is what was read less what is
    expected then, NaN where no line is drawn. `moved` is how far the furthest stray is from where the lines start,
    `off_line` by how much of its deviation the reading most misjudged may be off its line there.

    Strays that move nothing are at 0 with a variance of 1.
    """

    log_likelihood: float
    stray: Floats
    covariance: Floats
    terms: Floats
    rest: Floats
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
        return _without(self, len(self.error), places)


_T = TypeVar("_T", Held, Local)
_NOT_OF_READINGS = ("seen", "at", "bounded")


def _without(whole: _T, count: int, places: Collection[int]) -> _T:
    """Return what is told of readings, the last axis of all but the strays, without those at some places."""
    kept = [at for at in range(count) if at not in places]
    arrays = {
        one.name: getattr(whole, one.name) for one in fields(whole) if one.name not in ("seen", "at", "bounded")
    }
    fewer: dict[str, Any] = {name: each[..., kept] for name, each in arrays.items() if each is not None}
    if isinstance(whole, Held):
        fewer["seen"] = tuple(whole.seen[at] for at in kept)
    return replace(whole, **fewer)


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
    numeric = np.flatnonzero(local.drawn)
    terms, rest = local.terms.copy(), np.full(len(local.terms), np.nan)
    total = 0.0
    if len(numeric):
        slopes, meter = local.slopes[:, numeric], held.meter[numeric]
        ends = _ends(local, held)
        matters = np.flatnonzero(
            (np.abs(slopes) > _MATTERS * meter).any(axis=1)
            | (np.abs(ends.slopes) > _MATTERS * ends.own).any(axis=1)
            | (local.at != 0.0)
        )
        little = np.delete(slopes, matters, axis=0)
        lines = Lines(
            slopes[matters], local.error[numeric],
            np.sqrt(meter**2 + local.own[numeric] ** 2 + (little**2).sum(axis=0)),
            held.anything[numeric], local.bent[numeric], local.at[matters],
            int(np.searchsorted(matters, common)) if common in matters else -1,
            replace(ends, slopes=ends.slopes[matters]),
        )  # fmt: skip
        total, found, inverse, dense, rest[numeric] = lines.strayed(blur)
        stray[matters] = found
        covariance[np.ix_(matters, matters)] = inverse
        terms[numeric] = dense
    move = stray - local.at
    _past_the_end(local, held, move, covariance, terms)
    others = np.setdiff1d(np.arange(len(terms)), numeric)
    moved, off = float(np.abs(move).max(initial=0.0)), _off_line(local, held, move, rest)
    total += float(terms[others].sum()) - _beyond_tolerance(stray[held.bounded])
    return Fit(total, stray, covariance, terms, rest, moved, off)


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


def unexplained(held: Held, terms: Floats) -> Bools:
    """Return which readings are hardly likelier than anything at all, by their shares of the likelihood."""
    return np.asarray(terms < math.log(ANYTHING) + held.anything - _UNEXPLAINED)
