"""What every hypothesis may make of readings, from one fit of the good board: who is worth a closer look.

Three ways, none of them sure: the good board's strays put on lines from the designed board; each fault taken to do to
the unit what it does to the designed board; and that with the strays found anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.fits import Fit, Local
from benchcheck.diagnosis.likelihood import Held, logarithmic_mean
from benchcheck.diagnosis.predicted import MODEL_RATIO, MODEL_V, Predictions
from benchcheck.diagnosis.robust import INFLATED, bending, mixed, weights

__all__ = ["beside_good", "corrected", "fitted_anew", "on_the_unit"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: of what a fault does to a reading, how much more or less it may do on a unit that strays.
_MORE_OR_LESS, _MOST_RATIO = 0.3, 20.0
#: a reading moved by less than this share of the meter's standard deviation stays where it is.
_STILL = 0.3
#: rounds in which strays are found again, as those of a fit.
_ROUNDS = (0.3, 0.03, 0.0)
#: steps in which they are found at most, and how near a row's must be for fewer, as a ratio of where they began.
_MOST_STEPS, _FOUND = 16, 1e-4


def corrected(predictions: Predictions, held: Held, fit: Fit) -> Floats:
    """Return the logarithm of the likelihood of each reading under every hypothesis, strays taken from one fit."""
    columns = held.columns
    entry, good = predictions.entry[:, columns], predictions.good[:, columns]
    moved = predictions.slopes @ fit.stray.astype(np.float32)
    shift = np.where(entry < 0, fit.stray @ good, np.append(moved, np.float32(0.0))[entry])
    left = np.where(entry < 0, ((fit.covariance @ good) * good).sum(axis=0), predictions.by_strays[:, columns] ** 2)
    together = np.where(entry < 0, (fit.with_meter * good).sum(axis=0), 0.0)
    scale = INFLATED * held.scale
    error = held.error - scale * shift - fit.of_meter @ held.shared
    bent = predictions.bent[:, columns] * bending(float(fit.stray[predictions.common]))
    strays = (scale**2 * left + fit.meter_left**2 + 2.0 * scale * together).clip(min=0.0)
    sigma = np.sqrt(held.alone**2 + strays + scale**2 * (predictions.own[:, columns] ** 2 + bent**2))
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
    sigma = np.sqrt(held.alone**2 + (INFLATED * scale) ** 2 * (own**2 + left**2))
    error = value - held.leads - moved_there
    far = np.where(np.isnan(there), np.abs(moved) / own, np.abs(moved_there - there) / (_STILL * held.alone))
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


def fitted_anew(predictions: Predictions, held: Held, lines: Local, fit: Fit, rows: Indices) -> Floats:
    """Return how much likelier all readings are under some hypotheses than under the good board, as the logarithm.

    `lines` are the good board's where the unit is and `fit` its fit. What a fault moves readings by is taken to be no
    error, and the strays are found again, each reading counting for as much as it agrees (Lange et al. 1989): what a
    fault does next to where a junction ceases to leak is known poorly, and is not to decide all.
    """
    numeric = np.flatnonzero(lines.drawn & np.isfinite(fit.rest))
    there = np.array([one.value for one in held.seen]) - held.leads - fit.rest
    moved = on_the_unit(predictions, held, there) - there
    moved[held.elsewhere | held.elsewhere[0]] = 0.0  # what it does there is not known
    moved = moved[np.ix_(rows, numeric)]
    sigma = np.hypot(held.alone[numeric], lines.own[numeric])
    slopes = lines.slopes[:, numeric]
    matters = (np.abs(slopes) > _STILL * held.alone[numeric]).any(axis=1)
    every = np.concatenate([slopes[matters], held.shared[:, numeric]])
    again = _Again(every, sigma, held.anything[numeric], np.concatenate([fit.stray[matters], fit.of_meter]))
    good = again.likelihood(fit.rest[None, numeric], np.zeros((1, len(numeric))))[0]
    nothing = held.terms[np.ix_(rows, numeric)]
    return np.asarray(again.likelihood(fit.rest[numeric] - moved, nothing) - good)


@dataclass(frozen=True, slots=True)
class _Again:
    """Strays found again, for many hypotheses at once: slopes (strays x readings), deviations, where strays are."""

    slopes: Floats
    sigma: Floats
    broad: Floats
    at: Floats

    def likelihood(self, error: Floats, nothing: Floats) -> Floats:
        """Return the logarithms of likelihoods of errors (rows x readings), `nothing` where no number is expected."""
        expected = np.isfinite(error)
        error = np.where(expected, error, 0.0)
        spread = np.sqrt((self.slopes**2).sum(axis=0))
        rest, move = error, np.zeros((len(error), len(self.at)))
        for width in _ROUNDS if len(self.at) else ():
            wide = np.hypot(self.sigma, width * spread)
            weight = np.where(expected, weights(rest, wide, self.broad) / wide**2, 0.0)
            move = self._moved(weight, error, move)
            rest = error - move @ self.slopes
        terms = np.where(expected, mixed(rest, self.sigma, self.broad), nothing)
        return np.asarray(terms.sum(axis=1) - 0.5 * ((self.at + move) ** 2).sum(axis=1))

    def _moved(self, weight: Floats, error: Floats, move: Floats) -> Floats:
        """Return the moves (rows x strays) that suit errors by their weights best, found from where they are.

        By conjugate gradients, all rows abreast until each has come out, preconditioned with the information that
        the middle weights give (Hestenes and Stiefel 1952): rows differ in the few readings a fault moves.
        """
        slopes, move = self.slopes, move.copy()

        def information(by: Floats, weight: Floats) -> Floats:
            return np.asarray(by + ((by @ slopes) * weight) @ slopes.T)

        usual = np.linalg.inv(np.eye(len(slopes)) + (slopes * np.median(weight, axis=0)) @ slopes.T)
        left = (weight * error) @ slopes.T - self.at - information(move, weight)
        way = near = left @ usual
        size = begun = (left * near).sum(axis=1)
        rows = np.arange(len(move))
        for _ in range(_MOST_STEPS):
            going = size > _FOUND**2 * begun
            if not going.any():
                break
            rows, weight, left, way, size, begun = (each[going] for each in (rows, weight, left, way, size, begun))
            ahead = information(way, weight)
            step = _ratio(size, (way * ahead).sum(axis=1))
            move[rows] += step * way
            left = left - step * ahead
            near, before = left @ usual, size
            size = (left * near).sum(axis=1)
            way = near + _ratio(size, before) * way
        return move


def _ratio(one: Floats, other: Floats) -> Floats:
    """Return ratios, as a column; 0 where there is nothing left to share."""
    return np.where(other > 0.0, one / np.where(other > 0.0, other, 1.0), 0.0)[:, None]
