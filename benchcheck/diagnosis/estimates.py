"""What every hypothesis may make of readings, from one fit of the good board: who is worth a closer look.

Three ways, none of them sure: the good board's strays put on lines from the designed board; each fault taken to do to
the unit what it does to the designed board; and that with the strays found anew, all at once (least squares with the
weights of the good board's fit).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.likelihood import Fit, Held, Local, logarithmic_mean
from benchcheck.diagnosis.predicted import MODEL_RATIO, MODEL_V, Predictions
from benchcheck.diagnosis.robust import INFLATED, bending, mixed, weights

__all__ = ["beside_good", "corrected", "fitted_anew", "on_the_unit"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: of what a fault does to a reading, how much more or less it may do on a unit that strays.
_MORE_OR_LESS, _MOST_RATIO = 0.3, 20.0
#: a reading moved by less than this share of the meter's standard deviation stays where it is.
_STILL = 0.3


def corrected(predictions: Predictions, held: Held, fit: Fit) -> Floats:
    """Return the logarithm of the likelihood of each reading under every hypothesis, strays taken from one fit."""
    columns = held.columns
    entry, good = predictions.entry[:, columns], predictions.good[:, columns]
    moved = predictions.slopes @ fit.stray.astype(np.float32)
    shift = np.where(entry < 0, fit.stray @ good, np.append(moved, np.float32(0.0))[entry])
    left = np.where(entry < 0, ((fit.covariance @ good) * good).sum(axis=0), predictions.by_strays[:, columns] ** 2)
    scale = INFLATED * held.scale
    error = held.error - scale * shift
    bent = predictions.bent[:, columns] * bending(float(fit.stray[predictions.common]))
    sigma = np.sqrt(held.meter**2 + scale**2 * (left + predictions.own[:, columns] ** 2 + bent**2))
    numeric = ~np.isnan(error) & predictions.known[:, columns]
    dense = mixed(np.where(numeric, error, 0.0), sigma, held.anything)
    return np.asarray(np.where(numeric, dense, held.terms))


def beside_good(predictions: Predictions, held: Held, fit: Fit) -> Floats:
    """Return as `corrected`, every fault taken to do to the unit what it does to the designed board.

    `fit` is the good board's where the unit is. A fault moves a reading from there as far as on the board as it is
    designed (of ohms as a ratio), more or less: lines from the designed board do not reach there. What it does not
    move is as likely as under the good board.
    """
    columns = held.columns
    in_ratio = predictions.in_ratio[columns]
    value = np.array([one.value for one in held.seen])
    there = value - held.leads - fit.rest
    moved = _moved(predictions, held)
    moved_there = on_the_unit(predictions, held, there)
    scale = np.where(in_ratio, logarithmic_mean(value - held.leads, moved_there), 1.0)
    scale = np.nan_to_num(scale, posinf=0.0)
    left = np.where(predictions.entry[:, columns] < 0, 0.0, _MORE_OR_LESS * np.nan_to_num(moved))
    own = np.where(in_ratio, MODEL_RATIO, MODEL_V)
    sigma = np.sqrt(held.meter**2 + (INFLATED * scale) ** 2 * (own**2 + left**2))
    error = value - held.leads - moved_there
    far = np.where(np.isnan(there), np.abs(moved) / own, np.abs(moved_there - there) / (_STILL * held.meter))
    still = far < 1.0  # an overload has no other measure than how well the model is known
    numeric = np.isfinite(error) & predictions.known[:, columns]
    dense = mixed(np.where(numeric, error, 0.0), sigma, held.anything)
    return np.asarray(np.where(still, fit.terms, np.where(numeric, dense, held.terms)))


def _moved(predictions: Predictions, held: Held) -> Floats:
    """Return by how much each hypothesis moves each reading on the designed board, of ohms as a logarithm."""
    in_range = np.array([one.value for one in held.seen]) - held.leads - held.error
    ways = [
        _apart(each, predictions.in_ratio[held.columns]) for each in (predictions.latent[:, held.columns], in_range)
    ]
    return np.where(np.abs(ways[0]) < np.abs(np.nan_to_num(ways[1], nan=np.inf)), *ways)


def _apart(expected: Floats, in_ratio: Bools) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(in_ratio, np.log(expected / expected[0]), 0.0)
    moved = np.where(in_ratio, np.clip(ratio, -_MOST_RATIO, _MOST_RATIO), expected - expected[0])
    alike = (expected == expected[0]) | (np.isnan(expected) & np.isnan(expected[0]))
    return np.where(alike, 0.0, moved)


def on_the_unit(predictions: Predictions, held: Held, there: Floats) -> Floats:
    """Return what each hypothesis makes of readings that are `there` on the good unit."""
    moved, in_ratio = _moved(predictions, held), predictions.in_ratio[held.columns]
    return np.where(in_ratio, there * np.exp(np.where(in_ratio, moved, 0.0)), there + moved)


def fitted_anew(predictions: Predictions, held: Held, lines: Local, fit: Fit) -> Floats:
    """Return how much likelier all readings are under every hypothesis than under the good board, as the logarithm.

    `lines` are the good board's where the unit is and `fit` its fit. With errors moved by d the least sum of squares
    grows by d'Md - 2 d'Wr, with W the weights, r the residuals, S the slopes and M = W - WS'(1 + SWS')^-1 SW.
    """
    numeric = np.flatnonzero(lines.drawn & np.isfinite(fit.rest))
    there = np.array([one.value for one in held.seen]) - held.leads - fit.rest
    moved = (on_the_unit(predictions, held, there) - there)[:, numeric]
    slopes, rest = lines.slopes[:, numeric], fit.rest[numeric]
    sigma = np.hypot(held.meter[numeric], lines.own[numeric])
    weight = weights(rest, sigma, held.anything[numeric]) / sigma**2
    scaled = slopes * weight
    factor = np.linalg.cholesky(np.eye(len(slopes)) + scaled @ slopes.T)
    nowhere = ~np.isfinite(moved)  # no number is expected where one was read
    moved = np.where(nowhere, 0.0, moved)
    taken_up = np.linalg.solve(factor, scaled @ moved.T)
    grown = (moved**2) @ weight - (taken_up**2).sum(axis=0) - 2.0 * moved @ (weight * rest)
    lost = np.where(nowhere, held.terms[:, numeric] - fit.terms[numeric], 0.0).sum(axis=1)
    return np.asarray(lost - 0.5 * grown)
