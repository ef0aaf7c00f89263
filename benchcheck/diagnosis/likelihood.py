"""How likely each reading is under each hypothesis, on its own.

Student's t around the prediction, as wide as meter, leads and good parts spread it, mixed with a little of anything,
so that one bad reading does not decide all. Ohms spread by factors: an error counts by the logarithmic mean of what
was read and what was expected.
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
from benchcheck.diagnosis.meter_strays import NOT_SHARED, meter_strays
from benchcheck.diagnosis.predicted import Predictions, in_range, not_known_there, place_shown
from benchcheck.diagnosis.robust import (
    ANYTHING,
    INFLATED,
    log_t,
    student_cumulated,
)
from benchcheck.diagnosis.shots import MeterErrors

__all__ = [
    "NEVER_BY_CONTACT", "Held", "anything", "beyond_end", "hold", "logarithmic_mean", "unexplained", "without",
]  # fmt: skip

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: of readings that are anything, those that show overload: an open reading is proved by marks of whole leads around
#: it, or asked for twice (common practice, no source).
_OVERLOAD_SHARE = 0.1
#: logarithm of a reading's likelihood below which a hypothesis does not explain it, against anything at all.
_UNEXPLAINED = math.log(0.2)
#: what good boards, one leaking as others do not, may read of one another, as a logarithm.
_ABOUT = math.log(12.0)
#: least spread of where overload begins: a ratio of ohms, volts.
_EDGE = 0.02
#: natural logarithm of how many times the largest exceeds the smallest reading of a function.
_SPAN = {Function.CAPACITANCE: math.log(1e10), Function.ESR: math.log(1e4)}
_OHMS_SPAN = math.log(1e9)
_VOLTS = 3.0
#: what is told of strays, or of all readings in one.
_NOT_OF_READINGS = ("seen", "at", "bounded")
#: by how much, as a logarithm, a reading below nothing is rarer than any other that no contact explains: it takes a
#: source, such as charge that was left (common practice, no source).
NEVER_BY_CONTACT = math.log(100.0)


@dataclass(frozen=True, slots=True)
class Held:
    """Readings against predictions: `terms` (rows x readings) are natural logarithms of likelihoods.

    `error` is what was read less what was predicted and the leads (NaN for OL), `scale` what turns slopes into the
    reading's unit, `meter` (readings) the standard deviation of meter and leads, `columns` where each reading's shot
    stands among the predictions. Of what the meter makes `shared` (strays x readings) is one standard deviation of
    each gain and offset, `alone` (readings) what no other reading has. `leads` is what they add, `overload_from`
    where the last range ends, `value` what was read, `bounded` (strays) which of them a stated tolerance bounds;
    `elsewhere` (rows x readings) says which predictions say nothing of the range that was shown. `ranges` (2 x
    readings) are the places of the first and the last range that can have shown a reading, -1 for what is not ohms
    or no number.
    """

    seen: tuple[Seen, ...]
    columns: Indices
    terms: Floats
    error: Floats
    scale: Floats
    meter: Floats
    shared: Floats
    alone: Floats
    anything: Floats
    leads: Floats
    overload_from: Floats
    value: Floats
    bounded: Bools
    elsewhere: Bools
    ranges: Indices

    def without(self, places: Collection[int]) -> Held:
        """Return the readings but those at some places."""
        return without(self, len(self.seen), places)


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


def _as_arrays(kept: Sequence[Seen], errors: MeterErrors, leads_ohm: float | None, places: Indices) -> _Read:
    value = np.array([one.value for one in kept], float)
    every = {one.shot.function for one in kept}
    of = {function: np.array([one.shot.function is function for one in kept]) for function in every}
    limit, least, leads, leads_sd, edge = (np.zeros(len(kept)) for _ in range(5))
    for function, which in of.items():
        limit[which] = errors.limit_of_error(function, np.nan_to_num(value[which]), places[which])
        least[which] = errors.limit_of_error(function, np.zeros(1))[0]
        leads[which], leads_sd[which] = errors.leads_ohm(function, leads_ohm)
        edge[which] = errors.overload_from(function)
    return _Read(value, limit, least, leads, leads_sd, np.array([one.resolution for one in kept]), edge)


def hold(predictions: Predictions, seen: Sequence[Seen], errors: MeterErrors, leads_ohm: float | None = None) -> Held:
    """Return every reading against every hypothesis."""
    place = {shot: at for at, shot in enumerate(predictions.shots)}
    kept = tuple(one for one in seen if one.shot in place)
    columns = np.array([place[one.shot] for one in kept], dtype=np.intp)
    ranges = _ranges(predictions, kept, columns, errors)
    read = _as_arrays(kept, errors, leads_ohm, ranges[0])
    there = _in_range_shown(predictions, columns, ranges[0])
    in_ratio = predictions.in_ratio[columns]
    true = read.value - read.leads
    scale = np.where(in_ratio, logarithmic_mean(true, there), 1.0)
    meter = np.sqrt(read.limit**2 / 3.0 + read.leads_sd**2 + read.digit**2 / 12.0)
    shared = meter_strays(kept, ranges, errors)
    own = np.where(shared.any(axis=0), NOT_SHARED, 1.0) * read.limit
    alone = np.sqrt(own**2 / 3.0 + read.leads_sd**2 + read.digit**2 / 12.0)
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
    elsewhere = _elsewhere(predictions, kept, columns, ranges[0], errors)
    return Held(
        kept, columns, terms, error, scale, meter, shared, alone, broad, read.leads, read.overload_from, read.value,
        predictions.bounded, elsewhere, ranges,
    )  # fmt: skip


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


def _ranges(predictions: Predictions, kept: Sequence[Seen], columns: Indices, errors: MeterErrors) -> Indices:
    """Return the first and the last range (2 x readings) that can have shown each reading, -1 for no range.

    Of several that have its digits the first is the one where the good board as designed shows about that number.
    """
    found = np.full((2, len(kept)), -1, np.intp)
    for at, (one, column) in enumerate(zip(kept, columns, strict=True)):
        digit = one.resolution if one.by_digits else 0.0
        first, last = errors.ranges_shown(one.shot.function, one.value, digit, one.meter_range)
        if digit and first < last and _near(predictions.mean[0, column], one.value):
            designed = int(place_shown(predictions.mean[0, column], predictions.held[0, column]))
            first = designed if first < designed <= last else first
        found[:, at] = first, last
    return found


def _near(expected: float, read: float) -> bool:
    return expected > 0.0 and read > 0.0 and abs(math.log(read / expected)) < _ABOUT


def _in_range_shown(predictions: Predictions, columns: Indices, places: Indices) -> Floats:
    """Return the predictions in the range each reading was shown in, where the circuit was solved for it."""
    latent, held = predictions.latent[:, columns], predictions.held
    for at, (column, place) in enumerate(zip(columns, places, strict=True)):
        latent[:, at] = in_range(int(place), latent[:, at], held[:, column])
    return np.asarray(latent)


def _elsewhere(
    predictions: Predictions, kept: Sequence[Seen], columns: Indices, places: Indices, errors: MeterErrors
) -> Bools:
    """Return which predictions say nothing of the range each reading was shown in."""
    found = []
    for one, column, place in zip(kept, columns, places, strict=True):
        latent, tried = predictions.latent[:, column], predictions.held[:, column]
        found.append(not_known_there(int(place), one.shot.function, latent, tried, errors))
    return np.stack(found, axis=1) if found else np.zeros((len(predictions.mean), 0), bool)


_T = TypeVar("_T")


def without(whole: _T, count: int, places: Collection[int]) -> _T:
    """Return what is told of readings, the last axis of all but what is of strays, without those at some places."""
    kept = [at for at in range(count) if at not in places]
    every = {one.name: getattr(whole, one.name) for one in fields(whole)}  # type: ignore[arg-type]
    fewer: dict[str, Any] = {
        name: each[..., kept] for name, each in every.items() if name not in _NOT_OF_READINGS and each is not None
    }
    if "seen" in every:
        fewer["seen"] = tuple(every["seen"][at] for at in kept)
    return replace(whole, **fewer)  # type: ignore[type-var]


def unexplained(held: Held, terms: Floats) -> Bools:
    """Return which readings are hardly likelier than anything at all, by their shares of the likelihood."""
    return np.asarray(terms < math.log(ANYTHING) + held.anything - _UNEXPLAINED)
