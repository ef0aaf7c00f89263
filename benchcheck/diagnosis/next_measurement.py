"""Where the probes go next: the reading that tells most for each second it costs.

The information is a lower bound for a mixture of the leading groups' predictions (Kolchinsky and Tracey 2017, with
Bhattacharyya distances): what certainly can be learnt, in bits. Seconds are common practice without a source.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.foreseen import Foreseen
from benchcheck.diagnosis.shots import Shot

__all__ = ["LIFT_S", "PLACE_S", "STOP_AT", "Candidate", "candidates"]

Floats = NDArray[np.float64]

#: with the leading group this probable nothing more is asked for; less than this many bits is not worth a touch.
STOP_AT, LEAST_BITS = 0.95, 0.01
#: seconds: placing both tips, exchanging them, turning the dial, bringing a switch of the board over, waiting for a
#: capacitor, lifting a leg (and the pad that may come with it, as dear as the work).
PLACE_S, _SWAP_S, _TURN_S, _SWITCH_S, _WAIT_S, LIFT_S = 6.0, 3.0, 4.0, 3.0, 6.0, 600.0
_SLOW = (Function.CAPACITANCE,)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading that could be taken: its column among the predictions, what it tells in bits and costs in seconds."""

    column: int
    shot: Shot
    information_bits: float
    cost_s: float


def candidates(
    foreseen: Foreseen, share: Floats, taken: Collection[Shot], last: Shot | None = None
) -> tuple[Candidate, ...]:
    """Return readings not taken yet, the most information per second first.

    `foreseen` has one hypothesis for each likely group, `share` their probabilities: of what they lack of one nothing
    is foreseen, and nothing learnt.
    """
    left = [at for at, shot in enumerate(foreseen.shots) if shot not in taken]
    if not len(share):
        return ()
    bits = information(foreseen.at(left), share) * min(float(share.sum()), 1.0)
    found = [
        Candidate(at, foreseen.shots[at], float(told), cost_s(foreseen.shots[at], last))
        for at, told in zip(left, bits, strict=True)
        if told >= LEAST_BITS
    ]
    return tuple(sorted(found, key=lambda one: -one.information_bits / one.cost_s))


def cost_s(shot: Shot, last: Shot | None) -> float:
    """Return the seconds a reading takes after another."""
    wait = _WAIT_S if shot.function in _SLOW else 0.0
    if last is None:
        return PLACE_S + wait + (_SWITCH_S if shot.switches else 0.0)
    turn = 0.0 if shot.function is last.function else _TURN_S
    turn += 0.0 if shot.switches == last.switches else _SWITCH_S
    if {shot.red, shot.black} == {last.red, last.black} and shot.lead == last.lead:
        return (_SWAP_S if shot.red != last.red else 0.0) + max(turn, 1.0) + wait
    return PLACE_S + turn + wait


def information(foreseen: Foreseen, share: Floats) -> Floats:
    """Return what each shot tells about which of the hypotheses foreseen is true, in bits."""
    part = share / share.sum()
    mixed = np.repeat(part[:, None], len(foreseen.shots), axis=1)
    for at in range(len(part) - 1):
        alike = _overlap(foreseen, at, slice(at + 1, None))
        mixed[at] += part[at + 1 :] @ alike
        mixed[at + 1 :] += part[at] * alike
    return np.asarray(-(part[:, None] * np.log2(np.maximum(mixed, 1e-300))).sum(axis=0))


def _overlap(foreseen: Foreseen, one: int, others: slice) -> Floats:
    """Return Bhattacharyya's coefficients of readings under two hypotheses; 1 where they cannot be told apart."""
    mean, sigma, known = foreseen.mean, foreseen.sigma, foreseen.known
    overload, other_overload = np.isnan(mean[one]), np.isnan(mean[others])
    both = sigma[one] ** 2 + sigma[others] ** 2
    dense = np.exp(-((mean[one] - mean[others]) ** 2) / (4.0 * both))
    alike = np.sqrt(2.0 * sigma[one] * sigma[others] / both) * dense
    alike = np.where(overload | other_overload, overload & other_overload, alike)
    return np.asarray(np.where(known[one] & known[others], alike, 1.0))
