"""Where the probes go next: the reading that tells most for each second it costs.

The information is a lower bound for a mixture of the leading groups' predictions (Kolchinsky and Tracey 2017, with
Bhattacharyya distances): what certainly can be learnt, in bits. Seconds are common practice without a source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.robust import INFLATED
from benchcheck.diagnosis.shots import MeterErrors, Shot

__all__ = ["LIFT_S", "PLACE_S", "STOP_AT", "Candidate", "candidates"]

Floats = NDArray[np.float64]

#: with the leading group this probable nothing more is asked for; less than this many bits is not worth a touch.
STOP_AT, LEAST_BITS = 0.95, 0.01
#: seconds: placing both tips, exchanging them, turning the switch, waiting for a capacitor, lifting a leg (and the
#: pad that may come with it, as dear as the work).
PLACE_S, _SWAP_S, _TURN_S, _WAIT_S, LIFT_S = 6.0, 3.0, 4.0, 6.0, 600.0
_SLOW = (Function.CAPACITANCE,)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading that could be taken: its column among the predictions, what it tells in bits and costs in seconds."""

    column: int
    shot: Shot
    information_bits: float
    cost_s: float


def candidates(
    predictions: Predictions,
    errors: MeterErrors,
    rows: Sequence[int],
    share: Floats,
    taken: Collection[Shot],
    last: Shot | None = None,
) -> tuple[Candidate, ...]:
    """Return readings not taken yet, the most information per second first.

    `rows` are one hypothesis for each leading group, `share` their probabilities (they need not add up to one).
    """  # fmt: skip
    bits = information(predictions, errors, rows, share)
    found = [
        Candidate(at, shot, float(bits[at]), cost_s(shot, last))
        for at, shot in enumerate(predictions.shots)
        if shot not in taken and bits[at] >= LEAST_BITS
    ]
    return tuple(sorted(found, key=lambda one: -one.information_bits / one.cost_s))


def cost_s(shot: Shot, last: Shot | None) -> float:
    """Return the seconds a reading takes after another."""
    wait = _WAIT_S if shot.function in _SLOW else 0.0
    if last is None:
        return PLACE_S + wait
    turn = 0.0 if shot.function is last.function else _TURN_S
    if {shot.red, shot.black} == {last.red, last.black}:
        return (_SWAP_S if shot.red != last.red else 0.0) + max(turn, 1.0) + wait
    return PLACE_S + turn + wait


def information(predictions: Predictions, errors: MeterErrors, rows: Sequence[int], share: Floats) -> Floats:
    """Return what each shot tells about which of the rows is true, in bits."""
    chosen = list(rows)
    part = share / share.sum()
    mean, known = predictions.mean[chosen], predictions.known[chosen]
    sigma = _sigma(predictions, errors, chosen)
    mixed = np.zeros_like(mean)
    for at in range(len(chosen)):
        mixed += part[at] * _overlap(mean, mean[at], sigma, sigma[at], known & known[at])
    return np.asarray(-(part[:, None] * np.log2(np.maximum(mixed, 1e-300))).sum(axis=0))


def _sigma(predictions: Predictions, errors: MeterErrors, rows: list[int]) -> Floats:
    spread = predictions.spread[rows]
    unit = np.where(predictions.in_ratio, np.abs(np.nan_to_num(predictions.mean[rows])), 1.0)
    limits = predictions.limits(errors)[rows]
    return np.asarray(np.sqrt(limits**2 / 3.0 + (INFLATED * unit * spread) ** 2) + 1e-15)


def _overlap(mean: Floats, other: Floats, sigma: Floats, other_sigma: Floats, known: NDArray[np.bool_]) -> Floats:
    """Return Bhattacharyya's coefficient of readings under two hypotheses; 1 where they cannot be told apart."""
    overload, other_overload = np.isnan(mean), np.isnan(other)
    both = sigma**2 + other_sigma**2
    distance = (mean - other) ** 2 / (4.0 * both) + 0.5 * np.log(both / (2.0 * sigma * other_sigma))
    alike = np.where(overload | other_overload, np.where(overload & other_overload, 1.0, 0.0), np.exp(-distance))
    return np.asarray(np.where(known, np.nan_to_num(alike), 1.0))
