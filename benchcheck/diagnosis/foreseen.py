"""What readings not taken yet would be under every hypothesis, given those that were.

Good parts stray, and the meter is off by the same in each of its ranges: readings taken say by how much, and what is
read between the same nets once more tells nothing new.
All errors count as normal here and lie on the designed board's straight lines (linear Gaussian prediction), for it
is only to choose what to read next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, solve_triangular

from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.likelihood import Held
from benchcheck.diagnosis.meter_strays import NOT_SHARED, meter_strays
from benchcheck.diagnosis.predicted import Predictions, place_shown
from benchcheck.diagnosis.robust import INFLATED
from benchcheck.diagnosis.shots import MeterErrors, Shot

__all__ = ["Foreseen", "beforehand", "given"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: an error of more standard deviations than this is no stray of good parts.
_FURTHEST = 3.0
#: as a logarithm: no ohms stray further than by such a factor, whatever the lines say.
_MOST_RATIO = 6.0
#: no reading is known better than this, in its unit.
_LEAST = 1e-15


@dataclass(frozen=True)
class Foreseen:
    """Readings to come (rows x shots): mean in the functions' units (NaN: overload), standard deviation, known."""

    shots: tuple[Shot, ...]
    mean: Floats
    sigma: Floats
    known: Bools

    def of(self, rows: Sequence[int]) -> Foreseen:
        """Return some hypotheses alone."""
        chosen = list(rows)
        return Foreseen(self.shots, self.mean[chosen], self.sigma[chosen], self.known[chosen])

    def at(self, columns: Sequence[int]) -> Foreseen:
        """Return some shots alone."""
        chosen = list(columns)
        shots = tuple(self.shots[at] for at in chosen)
        return Foreseen(shots, self.mean[:, chosen], self.sigma[:, chosen], self.known[:, chosen])


def beforehand(predictions: Predictions, errors: MeterErrors) -> Foreseen:
    """Return what every shot reads before any was taken."""
    return _with_spread(predictions, errors, predictions.mean, predictions.spread)


def given(predictions: Predictions, errors: MeterErrors, held: Held) -> Foreseen:
    """Return what every shot reads after some were, held against the same predictions."""
    taken = np.flatnonzero(~np.isnan(held.error[0]) & (held.scale[0] > 0.0) & (held.meter > 0.0))
    if not len(taken):
        return beforehand(predictions, errors)
    columns, meter = held.columns[taken], _by_meter(predictions, errors, held, taken)
    in_unit = np.concatenate([held.scale[0, taken], _unit(predictions, predictions.mean[:1])[0]])
    meter /= np.where(in_unit > 0.0, in_unit, np.inf)
    alone = (held.meter[taken] / held.scale[0, taken]) ** 2 - (meter[:, : len(taken)] ** 2).sum(axis=0)
    noise = np.sqrt(alone + INFLATED**2 * (predictions.own[0, columns] ** 2 + predictions.bent[0, columns] ** 2))
    slopes = np.concatenate([INFLATED * predictions.good, meter[:, len(taken) :]])
    here = np.concatenate([INFLATED * predictions.good[:, columns], meter[:, : len(taken)]])
    here /= noise  # all in deviations of what no stray explains
    spread = here.T @ here + np.eye(len(taken))
    scale = held.scale[:, taken]
    error = (
        np.where(scale > 0.0, np.nan_to_num(held.error[:, taken]) / np.where(scale > 0.0, scale, 1.0), 0.0) / noise
    )
    most = _FURTHEST * np.sqrt(np.diagonal(spread))
    lower, _ = cho_factor(spread, lower=True)
    whole = solve_triangular(lower, here.T @ slopes, lower=True)
    by_error = solve_triangular(lower, np.clip(error, -most, most).T, lower=True)
    shift = by_error.T @ whole
    before = (slopes**2).sum(axis=0)
    told = (whole**2).sum(axis=0) / np.where(before > 0.0, before, 1.0)
    left = np.clip(1.0 - told, 0.0, 1.0)
    by_ratio = predictions.mean * np.exp(np.clip(shift, -_MOST_RATIO, _MOST_RATIO))
    mean = np.where(predictions.in_ratio, by_ratio, predictions.mean + shift)
    still = np.sqrt(left * predictions.by_strays**2 + predictions.own**2 + predictions.bent**2)
    of_limit = 1.0 - (1.0 - NOT_SHARED**2) * (1.0 - left) * _in_the_good_boards_range(predictions)
    return _with_spread(predictions, errors, mean, still, np.where(meter[:, len(taken) :].any(axis=0), of_limit, 1.0))


def _by_meter(predictions: Predictions, errors: MeterErrors, held: Held, taken: Indices) -> Floats:
    """Return the meter's strays in readings taken, then in all shots where the good board reads (strays x both)."""
    mean = predictions.mean[0]
    places = place_shown(mean, predictions.held[0])
    for at in np.flatnonzero(np.isfinite(mean)):  # where two ranges read the same, the one that holds it shows it
        places[at] = max(places[at], errors.place_of(predictions.shots[at].function, float(mean[at])))
    to_come = (Seen("", shot, float(value)) for shot, value in zip(predictions.shots, mean, strict=True))
    ranges = np.concatenate([held.ranges[:, taken], np.stack([places, places])], axis=1)
    return meter_strays((*(held.seen[at] for at in taken), *to_come), ranges, errors)


def _in_the_good_boards_range(predictions: Predictions) -> Bools:
    """Return which predictions are shown in the range that the good board's is shown in."""
    places = place_shown(predictions.mean, predictions.held)
    return np.asarray(places == places[0])


def _unit(predictions: Predictions, mean: Floats) -> Floats:
    """Return what turns spreads into the functions' units: ohms spread by factors."""
    return np.asarray(np.where(predictions.in_ratio, np.abs(np.nan_to_num(mean)), 1.0))


def _with_spread(
    predictions: Predictions, errors: MeterErrors, mean: Floats, spread: Floats, of_limit: Floats | float = 1.0
) -> Foreseen:
    """Return readings that spread so; `of_limit` is what is left of the variance by the meter's limit of error."""
    by_meter = of_limit * predictions.limits(errors) ** 2 / 3.0
    sigma = np.sqrt(by_meter + (INFLATED * _unit(predictions, mean) * spread) ** 2) + _LEAST
    return Foreseen(predictions.shots, mean, np.asarray(sigma), predictions.known)
