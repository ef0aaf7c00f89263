"""What a spec does not name: paths on nets not declared complete, which make readings lower than the circuit gives.

A part without a model, a load nobody wrote down: readings on such nets that are too low prove no fault by
themselves. Paths like that are one more hypothesis, likely beforehand and vague about what is read: a fault that
foretells several readings to the digit is far ahead of it, one that foretells none is not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Resistor
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.fits import Fit, Local, fitted
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED, Hypothesis
from benchcheck.diagnosis.likelihood import Held
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.robust import BLUR, NEARBY
from benchcheck.diagnosis.search import near_enough
from benchcheck.diagnosis.shots import DIRECT, Shot
from benchcheck.spec.board import Board

__all__ = ["least_with_paths", "lower_than_named", "worth_of_unnamed"]

Floats = NDArray[np.float64]

#: what is read through parts without a model is above the least: that is metal on metal (common practice, no source).
_LEAST_OHM, _MOST_OHM, _LEAST_V, _MOST_V = 10.0, 1e8, 0.05, 3.0
#: a reading this far below what was expected, in natural logarithm or volt, is too low.
_TOO_LOW, _FAR_LOW = 0.05, 0.25
#: read once more between the same nets, either way round, it is the same within this.
_AGAIN = 0.05
#: below so much of what is the least with all paths there may be, no path explains a reading.
_OF_LEAST, _IMPOSSIBLE = 0.7, 1e3
_JOINED_OHM = 1e-3
#: how often the strays are followed to where the other readings have them.
_FOLLOWED = 2


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
    lines: Local, held: Held, incomplete: Collection[str], *, least: Floats | None = None, by: float = _TOO_LOW
) -> list[int]:
    """Return which direct readings that touch incomplete nets are below what lines of a hypothesis start from.

    `least` (readings) is what they are at least, `by` how far below counts, as a ratio.
    """
    found = []
    for at, one in enumerate(held.seen):
        touches = one.shot.red in incomplete or one.shot.black in incomplete
        if one.shot.function not in DIRECT or not touches or math.isnan(one.value):
            continue
        if least is not None and not one.value >= _OF_LEAST * least[at]:
            continue
        if one.value < _expected(lines, held, at) * (1.0 - by):
            found.append(at)
    return found


def _expected(lines: Local, held: Held, at: int) -> float:
    """Return what lines start from, infinite for overload."""
    there = held.seen[at].value - lines.error[at]
    return math.inf if math.isnan(there) else float(there)


def worth_of_unnamed(
    lines: Local, fit: Fit, held: Held, incomplete: Collection[str], common: int, *, least: Floats | None = None,
    near: Callable[[Floats], Local] | None = None,
) -> float | None:  # fmt: skip
    """Return what unnamed paths add to the log odds of a hypothesis, their own included; None where none shows.

    `lines` are the hypothesis's, `fit` is how all readings suit it, `common` the stray of all junctions, and `near`,
    where the circuit can be solved again, gives lines around other strays. With paths the readings that are too low
    say nothing of the circuit, and are one vague guess for each two nets: those that a tolerance may explain among
    them or not, whichever does better.
    """
    lows = {tuple(lower_than_named(lines, held, incomplete, least=least, by=by)) for by in (_TOO_LOW, _FAR_LOW)}
    lows -= {()}
    if not lows:
        return None
    gained = max(_of_others(lines, near, held, low, common) + _guessed(lines, held, low) for low in lows)
    return math.log(UNNAMED.odds) + gained - fit.log_likelihood if gained > fit.log_likelihood else None


def _of_others(
    lines: Local, near: Callable[[Floats], Local] | None, held: Held, low: Sequence[int], common: int
) -> float:
    """Return how likely the other readings are, as the logarithm, strays found from them alone."""
    kept, rest = held.without(low), lines.without(low)
    ways = (fitted(rest, kept, common, blur) for blur in (BLUR, NEARBY))
    fit = max(ways, key=lambda each: each.log_likelihood)
    for _ in range(_FOLLOWED):
        if near is None or near_enough(fit):
            break
        fit = fitted(near(fit.stray).without(low), kept, common, NEARBY)
    return fit.log_likelihood


def _guessed(lines: Local, held: Held, low: Sequence[int]) -> float:
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
            total += _vague(one, _expected(lines, held, at))
        before.append(one.value)
    return total


def _vague(one: Seen, expected: float) -> float:
    if one.value <= (_LEAST_V if one.shot.function is Function.DIODE else _LEAST_OHM):
        return -_IMPOSSIBLE
    if one.shot.function is Function.DIODE:
        return -math.log(min(max(expected, 0.1), _MOST_V))
    ends = math.log(min(max(expected, 2.0 * _LEAST_OHM), _MOST_OHM) / _LEAST_OHM)
    return -math.log(one.value) - math.log(ends)
