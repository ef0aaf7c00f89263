"""The items that arrive in a batch, put by until they are handed over: outcomes, and what their readings lean on.

A matrix has been factored to find its last solution; the transposed equations take the same factors.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .elimination import Solved
from .items import Outcome
from .leanings import Leanings
from .queues import Queue
from .underway import STIFF_S, Underway

__all__ = ["Arrivals", "slopes_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

_LEAST_V, _LEAST_A = 1e-12, 1e-15


def slopes_of(work: Underway, solved: Solved, leanings: Leanings) -> Floats:
    """Return the slopes of ln(volt/ampere) of items to every slot (slots x items), from the step they took last."""
    items, solution, elimination = work.items, solved.solution, work.variants.elimination
    if not solved.factored:
        elimination.eliminate(work.values, np.zeros_like(solution))
    right, each = np.zeros_like(solution), np.arange(solution.shape[1])
    right[items.red, each] += 1.0
    right[items.black, each] -= 1.0
    adjoint = elimination.solve_transposed(work.values, right)
    junctions, bjts, _ = work.extras
    moved = leanings.of(items.variant, solution, adjoint, (work.slopes, work.offsets), (junctions, bjts))
    # at its compliance the source is as stiff as the black lead's tie: half of what the voltage seems to rise
    ampere, volt = work.delivered(solution), work.port(solution)
    share = np.where(work.holds_current, 1.0 / np.maximum(np.abs(volt), _LEAST_V), 0.0)
    share += np.where(work.holds_current, 0.0, STIFF_S / 2.0 / np.maximum(np.abs(ampere), _LEAST_A))
    return np.asarray(np.where(np.isfinite(solution).all(axis=0), moved * share, np.nan))


class Arrivals:
    """Items that have arrived, for a queue; `count` of them wait to be handed over."""

    def __init__(self, queue: Queue, leanings: Leanings | None) -> None:
        self._queue, self._leanings = queue, leanings
        self._begin()

    def _begin(self) -> None:
        self.count = 0
        self._at: list[Indices] = []
        self._outcomes: list[Outcome] = []
        self._leaning: dict[bool, list[tuple[Indices, Underway, Solved]]] = {True: [], False: []}

    def take(self, work: Underway, solved: Solved, done: Bools, at: Indices) -> None:
        """Take the items that are done in this step; `at` are the queue's numbers of all that are in it."""
        volt, at = work.port(solved.solution)[done], at[done]
        self._outcomes.append(
            Outcome(
                volt, work.delivered(solved.solution)[done], work.holds_current[done], work.seen[:, done],
                solved.solution[:, done], np.ones(len(at), bool),
            )
        )  # fmt: skip
        self._at.append(at)
        if self._leanings is not None:
            leans = self._queue.leans(at, volt)
            if leans.any():
                which, places = np.flatnonzero(done)[leans], self.count + np.flatnonzero(leans)
                own = replace(solved, solution=solved.solution[:, which])
                self._leaning[solved.factored].append((places, work.settled(which), own))
        self.count += len(at)

    def hand_over(self) -> None:
        """Give the queue what has arrived."""
        if self.count:
            at, outcome, slopes = np.concatenate(self._at), Outcome.joined(self._outcomes), self._slopes()
            self._begin()
            self._queue.settle(at, outcome, slopes)

    def _slopes(self) -> Floats:
        """Return the slopes of all that have arrived (slots x items), NaN where they were not asked for."""
        if self._leanings is None:
            return np.zeros((0, self.count))
        found = np.full((len(self._leanings.slots), self.count), np.nan)
        for parts in filter(None, self._leaning.values()):
            places, works, solved = zip(*parts, strict=True)
            whole = replace(solved[0], solution=np.concatenate([one.solution for one in solved], axis=1))
            found[:, np.concatenate(places)] = slopes_of(Underway.joined(works), whole, self._leanings)
        return found
