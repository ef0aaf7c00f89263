"""What a spec does not name: paths on nets not declared complete, which make readings lower than the circuit gives.

A part without a model, a load nobody wrote down: readings on such nets that are too low prove no fault by
themselves. Paths like that are one more hypothesis, likely beforehand and vague about what is read: a fault that
foretells several readings to the digit is far ahead of it, one that foretells none is not.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Resistor
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.hypotheses import GOOD, Hypothesis
from benchcheck.diagnosis.likelihood import Held, joint
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.shots import DIRECT, Shot
from benchcheck.spec.board import Board

__all__ = ["UNNAMED", "least_with_paths", "lower_than_named", "worth_of_unnamed"]

Floats = NDArray[np.float64]

UNNAMED = Hypothesis(
    "",
    "paths the spec does not name",
    0.1,
    "common practice, no source: parts without a model draw current unpowered",
)
#: what is read through parts without a model is above the least: that is metal on metal (common practice, no source).
_LEAST_OHM, _MOST_OHM, _LEAST_V, _MOST_V = 10.0, 1e8, 0.05, 3.0
#: a reading this far below what was expected, in natural logarithm or volt, is too low.
_TOO_LOW, _FAR_LOW = 0.05, 0.25
#: read once more between the same nets, either way round, it is the same within this.
_AGAIN = 0.05
#: below so much of what is the least with all paths there may be, no path explains a reading.
_OF_LEAST, _IMPOSSIBLE = 0.7, 1e3
_JOINED_OHM = 1e-3


def least_with_paths(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
    incomplete: Collection[str],
) -> Floats:  # fmt: skip
    """Return what each shot reads at least under each hypothesis (rows x shots), whatever lies on incomplete nets.

    That is with all of them joined: a net that is declared complete keeps the parts it has.
    """
    nets = sorted(set(incomplete) & netlist.pins_on.keys())
    joined = netlist.adding(*(Resistor(f"path{at}", nets[0], net, _JOINED_OHM) for at, net in enumerate(nets) if at))
    return read_under(board, bench, joined, [GOOD, *hypotheses], shots)[1:]


def lower_than_named(
    predictions: Predictions, held: Held, incomplete: Collection[str], row: int = 0, *,
    least: Floats | None = None, by: float = _TOO_LOW,
) -> list[int]:  # fmt: skip
    """Return which direct readings that touch incomplete nets are below a hypothesis's.

    `least` (readings) is what they are at least, `by` how far below counts, as a ratio.
    """
    found = []
    for at, one in enumerate(held.seen):
        touches = one.shot.red in incomplete or one.shot.black in incomplete
        if one.shot.function not in DIRECT or not touches or math.isnan(one.value):
            continue
        if least is not None and not one.value >= _OF_LEAST * least[at]:
            continue
        expected = float(predictions.latent[row, held.columns[at]])
        if math.isnan(expected) or one.value < expected * (1.0 - by):
            found.append(at)
    return found


def worth_of_unnamed(
    predictions: Predictions, held: Held, incomplete: Collection[str], row: int = 0, *, least: Floats | None = None
) -> float | None:
    """Return what unnamed paths add to the log odds of a hypothesis, their own included; None where none shows.

    With them the readings that are too low say nothing of the circuit, and are one vague guess for each two nets:
    those that a tolerance may explain among them or not, whichever does better.
    """
    lows = {
        tuple(lower_than_named(predictions, held, incomplete, row, least=least, by=by)) for by in (_TOO_LOW, _FAR_LOW)
    } - {()}
    if not lows:
        return None
    without = joint(predictions, held, row).log_likelihood
    gained = max(
        joint(predictions, _left(held, low), row).log_likelihood + _guessed(predictions, held, row, low)
        for low in lows
    )
    return math.log(UNNAMED.odds) + gained - without if gained > without else None


def _left(held: Held, low: Sequence[int]) -> Held:
    """Return the readings but these."""
    kept = [at for at in range(len(held.seen)) if at not in set(low)]
    arrays = {one.name: getattr(held, one.name)[..., kept] for one in fields(held) if one.name != "seen"}
    return replace(held, seen=tuple(held.seen[at] for at in kept), **arrays)


def _guessed(predictions: Predictions, held: Held, row: int, low: Sequence[int]) -> float:
    """Return how likely unnamed paths make these readings, as the logarithm: anything below what is expected.

    What reads the same two nets once more reads much the same.
    """
    earlier: dict[tuple[frozenset[str], Function], list[float]] = {}
    total = 0.0
    for at in low:
        one = held.seen[at]
        before = earlier.setdefault((frozenset((one.shot.red, one.shot.black)), one.shot.function), [])
        if any(math.isclose(one.value, other, rel_tol=_AGAIN) for other in before):
            total -= math.log(2.0 * _AGAIN * max(one.value, 1e-3))
        else:
            total += _vague(one, float(predictions.latent[row, held.columns[at]]))
        before.append(one.value)
    return total


def _vague(one: Seen, latent: float) -> float:
    expected = math.inf if math.isnan(latent) else latent
    if one.value <= (_LEAST_V if one.shot.function is Function.DIODE else _LEAST_OHM):
        return -_IMPOSSIBLE
    if one.shot.function is Function.DIODE:
        return -math.log(min(max(expected, 0.1), _MOST_V))
    ends = math.log(min(max(expected, 2.0 * _LEAST_OHM), _MOST_OHM) / _LEAST_OHM)
    return -math.log(one.value) - math.log(ends)
