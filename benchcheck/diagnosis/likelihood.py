"""How likely what was read is under each hypothesis.

Each reading on its own first: Student's t around the prediction, as wide as meter, leads and good parts spread it,
mixed with a little of anything, so that one bad reading does not decide all. The hypotheses that lead are then held
against all readings together, the strays of devices (one number each, shared by all readings) found with them
(Laplace's method; weights of the t distribution by iteration, Lange et al. 1989).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.predictions import Predictions
from benchcheck.diagnosis.shots import MeterErrors
from benchcheck.diagnosis.strays import moved_spread

__all__ = ["Fit", "Held", "anything", "corrected", "hold", "joint"]

Floats = NDArray[np.float64]

#: degrees of freedom of what a reading strays by, and how much wider than stated good parts spread.
_FREEDOM = 5.0
INFLATED = 1.25
#: share of readings that are anything: a bad contact, a wrong line (common practice, no source).
_ANYTHING = 0.01
_OVERLOAD_SHARE = 0.2
_ROUNDS = 4
#: a stray that moves no reading by this share of the meter's standard deviation is left to chance.
_MATTERS = 0.3
#: readings this near each other, as a ratio, are one.
_SAME = 1e-3
_T_CONSTANT = math.lgamma((_FREEDOM + 1) / 2) - math.lgamma(_FREEDOM / 2) - 0.5 * math.log(_FREEDOM * math.pi)
#: natural logarithm of how many times the largest exceeds the smallest reading of a function.
_SPAN = {Function.CAPACITANCE: math.log(1e10), Function.ESR: math.log(1e4)}
_OHMS_SPAN = math.log(1e9)
_VOLTS = 3.0


@dataclass(frozen=True, slots=True)
class Held:
    """Readings against predictions: `terms` (rows x readings) are natural logarithms of likelihoods.

    `error` is what was read less what was predicted and the leads (NaN where either is OL), `meter` the standard
    deviation of the meter and leads, `aside` whether the range beside was the one shown, `spread` the standard
    deviation of what parts spread, `columns` where each reading's shot stands among the predictions.
    """

    seen: tuple[Seen, ...]
    columns: tuple[int, ...]
    terms: Floats
    error: Floats
    meter: Floats
    anything: Floats
    aside: NDArray[np.bool_]
    spread: Floats


def anything(function: Function, value: float, smallest: float) -> float:
    """Return the logarithm of the density of a reading that has nothing to do with the board (its share for OL)."""
    if math.isnan(value):
        return math.log(_OVERLOAD_SHARE)
    rest = math.log(1.0 - _OVERLOAD_SHARE)
    if function is Function.DIODE:
        return rest - math.log(_VOLTS)
    return rest - math.log(_SPAN.get(function, _OHMS_SPAN)) - math.log(max(abs(value), 10.0 * smallest, 1e-15))


def hold(predictions: Predictions, seen: Sequence[Seen], errors: MeterErrors, leads_ohm: float | None = None) -> Held:
    """Return every reading against every hypothesis."""
    place = {shot: at for at, shot in enumerate(predictions.shots)}
    kept = tuple(one for one in seen if one.shot in place)
    columns = [place[one.shot] for one in kept]
    mean, known = predictions.mean[:, columns], predictions.known[:, columns]
    ranges = predictions.held[:, columns]
    spread, limits = predictions.spread[:, columns].copy(), predictions.limits(errors)[:, columns]
    terms, error, meter = np.zeros_like(mean), np.full_like(mean, np.nan), np.zeros_like(mean)
    broad, aside = np.zeros(len(kept)), np.zeros(mean.shape, bool)
    for at, one in enumerate(kept):
        function = one.shot.function
        leads, leads_sd = errors.leads_ohm(function, leads_ohm)
        meter[:, at] = np.sqrt(limits[:, at] ** 2 / 3.0 + leads_sd**2 + one.resolution**2 / 12.0)
        there = _in_range_shown(one, mean[:, at], ranges[:, at], errors)
        beside = there != mean[:, at]
        beside &= ~np.isnan(there)
        spread[:, at] = np.where(beside, moved_spread(function, there, errors), spread[:, at])
        aside[:, at] = beside
        error[:, at] = one.value - there - leads
        broad[at] = anything(function, one.value, float(errors.limit_of_error(function, np.zeros(1))[0]))
        terms[:, at] = _term(one, there, np.hypot(meter[:, at], INFLATED * spread[:, at]), error[:, at], broad[at],
                             errors.overload_from(function))  # fmt: skip
        unsure = ~known[:, at]
        either = np.logaddexp(terms[:, at], broad[at]) - math.log(2.0)
        terms[unsure, at] = np.where(np.isnan(mean[unsure, at]), broad[at], either[unsure])
    return Held(kept, tuple(columns), terms, error, meter, broad, aside, spread)


def _in_range_shown(one: Seen, mean: Floats, held: Floats, errors: MeterErrors) -> Floats:
    """Return the predictions in the range the reading was shown in, where the circuit was solved for it."""
    if math.isnan(one.value) or one.shot.function not in (Function.OHMS, Function.LOW_POWER_OHMS):
        return mean
    shown = int(errors.range_of(one.shot.function, np.array([one.value]))[0])
    if shown >= held.shape[1]:
        return mean
    there = held[:, shown]
    return np.where(np.isnan(there) | (np.abs(there - mean) <= _SAME * np.abs(mean)), mean, there)


def _term(one: Seen, mean: Floats, sigma: Floats, error: Floats, broad: float, overload_from: float) -> Floats:
    """Return the logarithm of the likelihood of one reading under every hypothesis."""
    overload = np.isnan(mean)
    if math.isnan(one.value):
        beyond = 0.5 * np.array([math.erfc(x) for x in np.nan_to_num((overload_from - mean) / sigma, nan=-9.0) / 1.5])
        chance = np.where(overload, 1.0, beyond)
        return np.asarray(np.log((1.0 - _ANYTHING) * chance + _ANYTHING * math.exp(broad)))
    dense = np.where(overload, -np.inf, log_t(error, sigma))
    return np.asarray(np.logaddexp(math.log(1.0 - _ANYTHING) + dense, math.log(_ANYTHING) + broad))


def log_t(error: Floats, sigma: Floats) -> Floats:
    """Return the logarithm of Student's density at an error, `sigma` its scale."""
    far = np.log1p((error / sigma) ** 2 / _FREEDOM)
    return np.asarray(_T_CONSTANT - np.log(sigma) - 0.5 * (_FREEDOM + 1.0) * far)


@dataclass(frozen=True, slots=True)
class Fit:
    """All readings under one hypothesis: logarithm of their likelihood, each stray's likeliest value and covariance.

    `terms` are the readings' own shares, strays at their likeliest.

    Strays that move nothing are at 0 with a variance of 1.
    """

    log_likelihood: float
    stray: Floats
    covariance: Floats
    terms: Floats


def joint(predictions: Predictions, held: Held, row: int) -> Fit:
    """Return all readings held against one hypothesis at once, devices straying as they must."""
    error = held.error[row]
    count = predictions.slopes.shape[1]
    stray, covariance = np.zeros(count), np.eye(count)
    numeric = np.flatnonzero(~np.isnan(error) & predictions.known[row, held.columns])
    if not len(numeric):
        return Fit(float(held.terms[row].sum()), stray, covariance, held.terms[row])
    at = np.array(held.columns)[numeric]
    aside = held.aside[row, numeric]
    slopes = INFLATED * np.where(aside, 0.0, predictions.slopes[row][:, at])
    own = np.where(aside, held.spread[row, numeric], predictions.own[row, at])
    matters = np.flatnonzero((np.abs(slopes) > _MATTERS * held.meter[row, numeric]).any(axis=1))
    little = np.delete(slopes, matters, axis=0)
    own = np.sqrt(held.meter[row, numeric] ** 2 + (INFLATED * own) ** 2 + (little**2).sum(axis=0))
    total, found, inverse, dense = _strayed(slopes[matters], error[numeric], own, held.anything[numeric])
    stray[matters] = found
    covariance[np.ix_(matters, matters)] = inverse
    others = np.setdiff1d(np.arange(len(error)), numeric)
    terms = held.terms[row].copy()
    terms[numeric] = dense
    return Fit(float(held.terms[row, others].sum()) + total, stray, covariance, terms)


def _strayed(slopes: Floats, error: Floats, own: Floats, broad: Floats) -> tuple[float, Floats, Floats, Floats]:
    """Return the logarithm of the likelihood with the strays integrated out, those at their likeliest, and terms."""
    weight = _weights(error, np.sqrt(own**2 + (slopes**2).sum(axis=0)), broad)
    for _ in range(_ROUNDS):
        scaled = slopes * (weight / own**2)
        information = np.eye(len(slopes)) + scaled @ slopes.T
        stray = np.linalg.solve(information, scaled @ error)
        rest = error - stray @ slopes
        weight = _weights(rest, own, broad)
    _, logdet = np.linalg.slogdet(information)
    dense = np.logaddexp(math.log(1.0 - _ANYTHING) + log_t(rest, own), math.log(_ANYTHING) + broad)
    total = float(dense.sum() - 0.5 * stray @ stray - 0.5 * logdet)
    return total, np.asarray(stray), np.asarray(np.linalg.inv(information)), np.asarray(dense)


def corrected(predictions: Predictions, held: Held, fit: Fit) -> Floats:
    """Return the logarithm of the likelihood of each reading under every hypothesis, strays taken from one fit."""
    columns = np.array(held.columns, dtype=np.intp)
    rows, places = np.nonzero(predictions.moved[:, columns] | held.aside)
    good = INFLATED * predictions.slopes[0][:, columns]
    shift, left = np.repeat((fit.stray @ good)[None], len(held.error), axis=0), np.zeros_like(held.error)
    left += ((fit.covariance @ good) * good).sum(axis=0)
    slopes = INFLATED * predictions.slopes[rows, :, columns[places]]
    slopes[held.aside[rows, places]] = 0.0
    shift[rows, places], left[rows, places] = slopes @ fit.stray, (slopes**2).sum(axis=1)
    error = held.error - shift
    own = np.where(held.aside, held.spread, predictions.own[:, columns])
    sigma = np.sqrt(held.meter**2 + left + (INFLATED * own) ** 2)
    numeric = ~np.isnan(error) & predictions.known[:, columns]
    dense = np.logaddexp(
        math.log(1.0 - _ANYTHING) + log_t(np.where(numeric, error, 0.0), sigma), math.log(_ANYTHING) + held.anything
    )
    return np.asarray(np.where(numeric, dense, held.terms))


def _weights(error: Floats, sigma: Floats, broad: Floats) -> Floats:
    inlier = math.log(1.0 - _ANYTHING) + log_t(error, sigma)
    share = np.exp(inlier - np.logaddexp(inlier, math.log(_ANYTHING) + broad))
    return np.asarray(share * (_FREEDOM + 1.0) / (_FREEDOM + (error / sigma) ** 2))
