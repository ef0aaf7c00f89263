"""Newton's method on many variants of one board and many probe pairs at once.

Each item is one variant with the meter's source between two nets: its current, until its compliance is reached.
Items share the matrix pattern and leave the batch as they arrive: when every device's true current agrees with its
tangent's, with nothing held back, and a last step moves next to nothing. An item that does not arrive, or arrives
where no circuit can rest, is handed back unsolved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .arrivals import Arrivals, slopes_of
from .first_steps import Changes
from .items import Items, Outcome
from .leanings import Leanings
from .queues import Fixed, Lot, Queue
from .underway import Underway
from .variants import Variants

__all__ = ["Batch"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

_CHUNK_VALUES = 1_000_000  # matrix values in one chunk: on fewer an array operation is mostly the asking for it
_MOST_STEPS, _MOST_STEPS_IN_HASTE = 60, 40
_STEPS_TO_SETTLE = 12  # of changed devices, from rest among others that have settled
#: of the test current, at every device; and what one may be off its tangent by before the last step, where only the
#: probes count: far less than any meter sees
_AGREES, _NEARLY_AGREES = 1e-9, 1e-6
_STEP_V = 1e-4  # of every net, in the last step; the next would be its square
#: of the test current, where a net that wanders is of no account: nothing that anyone could measure leads to it.
_NOTHING_ASTRAY = 1e-9
_SHUNTS = (1e-2, 1e-4, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12)


def _at_rest(items: Items) -> Items:
    return replace(items, start=np.zeros_like(items.start), holds_current=np.zeros_like(items.holds_current))


class Batch:
    """Solves items of one set of variants."""

    def __init__(self, variants: Variants, *, port_alone: bool = False) -> None:
        """Take what to solve.

        With `port_alone` devices may be a little off, and a net may go on wandering that next to no current leads to:
        what is between the probes is found all the same, not how such a net charges.
        """
        self._v, self._port_alone = variants, port_alone
        self._j, self._q, self._m = len(variants.junctions), len(variants.bjts), len(variants.mosfets)
        self.chunk = int(np.clip(_CHUNK_VALUES // max(1, len(variants.elimination.places)), 64, 4096))

    @property
    def variants(self) -> Variants:
        """What is solved."""
        return self._v

    @property
    def rows_seen(self) -> int:
        """The number of voltages that devices see."""
        return self._j + 2 * self._q + 2 * self._m

    def solve(self, items: Items, *, patient: bool = True) -> Outcome:
        """Return every item's outcome: from its start, else in `other_ways`."""
        found = self._once(items, patient)
        again = np.flatnonzero(~found.solved)
        if len(again):
            found.replace_at(again, self.other_ways(items.chosen(again), patient=patient))
        return found

    def solve_leaning(self, items: Items, leanings: Leanings, *, patient: bool = True) -> tuple[Outcome, Floats]:
        """Return as `solve`, and as `leanings` every item's slopes."""
        fixed = Fixed(items, self._v.size, len(leanings.slots))
        self.run(fixed, patient=patient, leanings=leanings)
        again = np.flatnonzero(~fixed.outcome.solved)
        if len(again):
            some = items.chosen(again)
            found = self.other_ways(some, patient=patient)
            fixed.settle(again, found, self.leanings(some, found, leanings))
        return fixed.outcome, fixed.slopes

    def other_ways(self, items: Items, *, patient: bool) -> Outcome:
        """Return the outcomes of items that do not arrive from their start: from rest, else, being `patient`, eased.

        Those are led there little by little.
        """
        ways = [self._from_rest] if items.start.any() else []
        ways += [self._eased_in, self._raised] if patient else []
        found = Outcome.at_rest(self.rows_seen, len(items.variant), self._v.size)
        for attempt in ways:
            again = np.flatnonzero(~found.solved)
            if len(again):
                found.replace_at(again, attempt(items.chosen(again), patient))
        return found

    def run(self, queue: Queue, *, patient: bool = True, leanings: Leanings | None = None, leave: int = 0) -> None:
        """Solve what a queue has, once each from its start, with slopes where it asks for them.

        The last few, no more than `leave`, are given up: it takes as long to wait for one as for a thousand.
        """
        most_steps, leave = _MOST_STEPS if patient else _MOST_STEPS_IN_HASTE, min(leave, self.chunk // 8)
        work, which = Underway(self._v, Items.none(self.rows_seen)), np.zeros(0, np.intp)
        arrivals = Arrivals(queue, leanings)
        while True:
            which, more = self._refill(work, which, queue, arrivals)
            if not more and len(which) <= leave:
                if not len(which):
                    return
                queue.fail(which)
                work, which = Underway(self._v, Items.none(self.rows_seen)), which[:0]
                continue
            astray = work.evaluate()
            solved = work.step()
            finite = np.isfinite(solved.solution).all(axis=0)
            done = finite & self._arrived(work, solved.solution, astray)
            lost = ~done & (~finite | (work.steps >= most_steps))
            if done.any():
                lost[done] = solved.negative(done)
                arrivals.take(work, solved, done & ~lost, which)
            work.advance(solved.solution)
            if (done | lost).any():
                queue.fail(which[lost])
                kept = np.flatnonzero(~(done | lost))
                which = which[kept]
                work.keep(kept)

    def _refill(self, work: Underway, which: Indices, queue: Queue, arrivals: Arrivals) -> tuple[Indices, bool]:
        """Hand over what has arrived and begin what waits; return the numbers of all under way, and if more may wait.

        Where none is under way all that has arrived is handed over.
        """
        if len(which) > self.chunk // 2:
            return which, True
        if arrivals.count >= (max(1, len(which)) if queue.grows or not len(which) else self.chunk):
            arrivals.hand_over()
        lot = queue.more(self.chunk - len(which))
        if lot is None:
            return which, False
        return np.concatenate([which, self._begin(work, lot)]), True

    def _begin(self, work: Underway, lot: Lot) -> Indices:
        """Begin more items, with their first step where it is known; return their numbers as they are begun."""
        stepping = np.zeros(len(lot.at), bool)
        if lot.beside is not None:
            single = np.flatnonzero(self._changes.single[lot.items.variant])
            solution, holds = lot.beside.solution(self._changes, lot.items.variant[single], single)
            single = single[holds]
            stepped = Underway(self._v, lot.items.chosen(single))
            stepped.take(*lot.beside.tangents(single), solution[:, holds])
            work.join(stepped)
            stepping[single] = True
        plain = np.flatnonzero(~stepping)
        work.join(Underway(self._v, lot.items.chosen(plain)))
        return np.concatenate([lot.at[stepping], lot.at[plain]])

    def leanings(self, items: Items, outcome: Outcome, leanings: Leanings) -> Floats:
        """Return the slopes of ln(volt/ampere) of every item to every slot (slots x items); NaN where not found.

        Changed devices are let settle anew among the others.
        """
        found = np.full((len(leanings.slots), len(items.variant)), np.nan)
        changed = self._v.has_extras[items.variant]
        for which, steps in ((~changed, 1), (changed, _STEPS_TO_SETTLE)):
            every = np.flatnonzero(which & outcome.solved)
            for begin in range(0, len(every), self.chunk):
                at = every[begin : begin + self.chunk]
                start = replace(items, start=outcome.seen, holds_current=outcome.holds_current).chosen(at)
                found[:, at] = self._leanings_after(Underway(self._v, start), steps, leanings)
        return found

    @staticmethod
    def _leanings_after(work: Underway, steps: int, leanings: Leanings) -> Floats:
        """Return the slopes of items that have settled but for some steps; NaN where they have not after them."""
        for _ in range(steps - 1):
            work.evaluate()
            work.advance(work.step().solution)
        astray = work.evaluate()
        slopes = slopes_of(work, work.step(), leanings)
        return np.where((steps == 1) | (astray <= _NEARLY_AGREES), slopes, np.nan)

    def _from_rest(self, items: Items, patient: bool) -> Outcome:
        return self._once(_at_rest(items), patient)

    def _eased_in(self, items: Items, patient: bool) -> Outcome:
        """Take shunts from every net to the black lead away, two decades at a time."""
        easier = (replace(items, shunt=np.full(len(items.variant), shunt)) for shunt in _SHUNTS)
        return self._one_after_another((*easier, items), patient)

    def _raised(self, items: Items, patient: bool) -> Outcome:
        """Raise the test current from next to nothing, three steps a decade: a latch is followed as it closes."""
        return self._one_after_another(
            [replace(items, ampere=share * items.ampere) for share in np.geomspace(1e-3, 1.0, 10)], patient
        )

    def _one_after_another(self, ways: Sequence[Items], patient: bool) -> Outcome:
        """Return the outcome of the last of some ways to ask the same, each begun where the one before settled."""
        rest = _at_rest(ways[0])
        start, holds = rest.start, rest.holds_current
        for items in ways:
            found = self._once(replace(items, start=start, holds_current=holds), patient)
            start[:, found.solved] = found.seen[:, found.solved]
            holds[found.solved] = found.holds_current[found.solved]
        return found

    def _once(self, items: Items, patient: bool) -> Outcome:
        """Return the outcome of every item from its start."""
        fixed = Fixed(items, self._v.size)
        self.run(fixed, patient=patient)
        return fixed.outcome

    def _arrived(self, work: Underway, solution: Floats, astray: Floats) -> Bools:
        """Return which items agree, and have moved next to nothing in their last step.

        At its compliance a source delivers leakages, which are small beside the test current: all is to agree then.
        """
        anywhere, between = work.last_step(solution)
        arrived = (astray <= _AGREES) & (anywhere <= _STEP_V)
        if self._port_alone:
            settled = (anywhere <= _STEP_V) | ((between <= _STEP_V) & (astray <= _NOTHING_ASTRAY))
            arrived |= (astray <= _NEARLY_AGREES) & settled & work.holds_current
        return arrived

    @cached_property
    def _changes(self) -> Changes:
        return Changes(self._v)
