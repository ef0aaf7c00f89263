"""What a spec does not name: paths on nets not declared complete, which make readings lower than the circuit gives.

A part without a model, a load nobody wrote down: readings on such nets that are too low prove no fault by
themselves. Paths like that are one more hypothesis, likely beforehand and vague about what is read: a fault that
foretells several readings to the digit is far ahead of it, one that foretells none is not.
"""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.likelihood import Held
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.shots import DIRECT

__all__ = ["UNNAMED", "lower_than_named", "worth_of_unnamed"]

UNNAMED = Hypothesis(
    "",
    "paths the spec does not name",
    0.1,
    "common practice, no source: parts without a model draw current unpowered",
)
_LEAST_OHM, _MOST_OHM, _MOST_V = 10.0, 1e8, 3.0
#: a reading this far below what was expected, in natural logarithm or volt, is too low.
_TOO_LOW = 0.05


def lower_than_named(predictions: Predictions, held: Held, incomplete: Collection[str], row: int = 0) -> list[int]:
    """Return which direct readings that touch incomplete nets are below a hypothesis's."""
    found = []
    for at, one in enumerate(held.seen):
        touches = one.shot.red in incomplete or one.shot.black in incomplete
        if one.shot.function not in DIRECT or not touches or math.isnan(one.value):
            continue
        expected = float(predictions.latent[row, held.columns[at]])
        if math.isnan(expected) or one.value < expected * (1.0 - _TOO_LOW):
            found.append(at)
    return found


def worth_of_unnamed(
    predictions: Predictions, held: Held, terms: NDArray[np.float64], incomplete: Collection[str], row: int = 0
) -> float | None:
    """Return what unnamed paths add to the log odds of a hypothesis, their own included; None where none shows.

    `terms` are the readings' own logarithms of likelihoods under it.
    """
    gained = 0.0
    for at in lower_than_named(predictions, held, incomplete, row):
        one = held.seen[at]
        expected = float(np.nan_to_num(predictions.latent[row, held.columns[at]], nan=math.inf))
        if one.shot.function is Function.DIODE:
            vague = -math.log(min(max(expected, 0.1), _MOST_V))
        else:
            ends = math.log(min(max(expected, 2.0 * _LEAST_OHM), _MOST_OHM) / _LEAST_OHM)
            vague = -math.log(max(one.value, 1e-3)) - math.log(ends) if one.value > _LEAST_OHM else -math.inf
        gained += max(0.0, vague - float(terms[at]))
    return math.log(UNNAMED.odds) + gained if gained > 0.0 else None
