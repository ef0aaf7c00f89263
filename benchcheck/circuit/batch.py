"""Newton's method on many variants of one board and many probe pairs at once.

Each item is one variant with the meter's source between two nets: its current, until its compliance is reached.
Items share the matrix pattern and leave the batch as they arrive: when every device's true current agrees with its
tangent's, with nothing held back, and one more step has been taken. An item that does not arrive, or arrives where
no circuit can rest, is handed back unsolved.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .elimination import Signs
from .extras import ExtraBjts, ExtraJunctions, ExtraMosfets
from .leanings import Leanings
from .tangents import BjtTangent, Limits, MosfetTangent, junction_tangent
from .variants import Variants

__all__ = ["Batch", "Items", "Outcome"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

_CHUNK_VALUES = 600_000  # matrix values in one chunk: what the processor's second cache holds
_MOST_STEPS, _MOST_STEPS_IN_HASTE = 60, 40
_STEPS_TO_SETTLE = 12  # of changed devices, from rest among others that have settled
AGREES = 1e-9  # of the test current, at every device
_STEP_V = 1e-4  # of every net, in the last step; the next would be its square
#: of the test current, where a net that wanders is of no account: nothing that anyone could measure leads to it.
_NOTHING_ASTRAY = 1e-9
_SHUNTS = (1e-2, 1e-4, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12)
_LEAST_V, _LEAST_A = 1e-12, 1e-15
_STIFF_S = 1e3  # the black lead's tie to the reference, and the source at its compliance


@dataclass(frozen=True, slots=True)
class Items:
    """What to solve, one entry an item: variant, rows of the probes, test current in ampere, compliance in volt.

    `start` (what devices see x items) and `holds_current` are where to begin; a column of zeros is rest. `shunt`, in
    siemens, joins every net to the black lead: what eases an item in.
    """

    variant: Indices
    red: Indices
    black: Indices
    ampere: Floats
    volt: Floats
    start: Floats
    holds_current: Bools
    shunt: Floats

    def chosen(self, which: Indices | slice) -> Items:
        """Return some of the items."""
        return Items(
            self.variant[which], self.red[which], self.black[which], self.ampere[which], self.volt[which],
            self.start[:, which], self.holds_current[which], self.shunt[which],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came out: volt between the probes, whether the source holds its current, whether it is solved.

    `ampere` is what the source delivers: its current, or less at its compliance. `seen` (what devices see x items)
    and `unknowns` (net voltages, branch currents x items) serve further items.
    """

    volt: Floats
    ampere: Floats
    holds_current: Bools
    seen: Floats
    unknowns: Floats
    solved: Bools

    @classmethod
    def at_rest(cls, rows_seen: int, count: int, size: int = 0) -> Outcome:
        """Return nothing solved yet, every device at rest."""
        return cls(
            np.full(count, np.nan), np.zeros(count), np.zeros(count, bool), np.zeros((rows_seen, count)),
            np.zeros((size, count)), np.zeros(count, bool),
        )  # fmt: skip

    def chosen(self, which: Indices) -> Outcome:
        """Return the outcome of some items, repeats allowed."""
        return Outcome(*(getattr(self, name)[..., which] for name in Outcome.__slots__))

    def replace_at(self, which: Indices, other: Outcome) -> None:
        """Put another outcome in the place of some items."""
        for name in Outcome.__slots__:
            getattr(self, name)[..., which] = getattr(other, name)


def _at_rest(items: Items) -> Items:
    return replace(items, start=np.zeros_like(items.start), holds_current=np.zeros_like(items.holds_current))


class Batch:
    """Solves items of one set of variants."""

    def __init__(self, variants: Variants, agrees: float = AGREES, *, port_alone: bool = False) -> None:
        """Take what to solve, and what share of the test current a device may be off its tangent by.

        With `port_alone` a net may go on wandering that next to no current leads to: what is between the probes is
        found all the same, not how such a net charges.
        """
        self._v, self._agrees, self._port_alone = variants, agrees, port_alone
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
        """Return every item's outcome: from its start, else from rest, else, being `patient`, little by little."""
        most = _MOST_STEPS if patient else _MOST_STEPS_IN_HASTE
        found = self._once(items, most)
        more = [self._from_rest] if items.start.any() else []
        more += [self._eased_in, self._raised] if patient else []
        for attempt in more:
            again = np.flatnonzero(~found.solved)
            if len(again):
                found.replace_at(again, attempt(items.chosen(again), most))
        return found

    def leanings(self, items: Items, outcome: Outcome, leanings: Leanings) -> Floats:
        """Return the slopes of ln(volt/ampere) of every item to every slot (slots x items); NaN where not found."""
        found = np.full((len(leanings.slots), len(items.variant)), np.nan)
        changed = self._v.has_extras[items.variant]
        for which, steps in ((~changed, 1), (changed, _STEPS_TO_SETTLE)):
            every = np.flatnonzero(which & outcome.solved)
            for begin in range(0, len(every), self.chunk):
                at = every[begin : begin + self.chunk]
                start = replace(items, start=outcome.seen, holds_current=outcome.holds_current).chosen(at)
                work = _Work(self._v, items.chosen(slice(0, 0)))
                work.begin(start)
                found[:, at] = work.leanings(leanings, steps)
        return found

    def _from_rest(self, items: Items, most_steps: int) -> Outcome:
        return self._once(_at_rest(items), most_steps)

    def _eased_in(self, items: Items, most_steps: int) -> Outcome:
        """Take shunts from every net to the black lead away, two decades at a time."""
        easier = (replace(items, shunt=np.full(len(items.variant), shunt)) for shunt in _SHUNTS)
        return self._one_after_another((*easier, items), most_steps)

    def _raised(self, items: Items, most_steps: int) -> Outcome:
        """Raise the test current from next to nothing, three steps a decade: a latch is followed as it closes."""
        return self._one_after_another(
            [replace(items, ampere=share * items.ampere) for share in np.geomspace(1e-3, 1.0, 10)], most_steps
        )

    def _one_after_another(self, ways: Sequence[Items], most_steps: int) -> Outcome:
        """Return the outcome of the last of some ways to ask the same, each begun where the one before settled."""
        rest = _at_rest(ways[0])
        start, holds = rest.start, rest.holds_current
        for items in ways:
            found = self._once(replace(items, start=start, holds_current=holds), most_steps)
            start[:, found.solved] = found.seen[:, found.solved]
            holds[found.solved] = found.holds_current[found.solved]
        return found

    def _once(self, items: Items, most_steps: int) -> Outcome:
        """Return the outcome of every item from its start."""
        count = len(items.variant)
        outcome = Outcome.at_rest(self.rows_seen, count, self._v.size)
        work, which, begun = _Work(self._v, items.chosen(slice(0, 0))), np.zeros(0, np.intp), 0
        while begun < count or len(which):
            if begun < count and len(which) <= self.chunk // 2:
                more = np.arange(begun, min(count, begun + self.chunk - len(which)))
                work.begin(items.chosen(more))
                which, begun = np.concatenate([which, more]), int(more[-1]) + 1
            astray = work.evaluate()
            solution, negative = work.step()
            finite = np.isfinite(solution).all(axis=0)
            anywhere, between = work.last_step(solution)
            stays = anywhere <= _STEP_V
            if self._port_alone:
                stays |= (between <= _STEP_V) & (astray <= _NOTHING_ASTRAY)
            done = (astray <= self._agrees) & finite & stays
            if done.any():
                self._record(work, solution, done, which[done], outcome)
                outcome.solved[which[done]] = ~negative(done)
            keep = ~done & finite & (work.steps < most_steps)
            work.advance(solution)
            if not keep.all():
                which = which[keep]
                work.keep(keep)
        return outcome

    def _record(self, work: _Work, solution: Floats, done: Bools, at: Indices, outcome: Outcome) -> None:
        outcome.volt[at] = work.port(solution)[done]
        outcome.ampere[at] = work.delivered(solution)[done]
        outcome.holds_current[at] = work.holds_current[done]
        outcome.seen[:, at] = work.seen[:, done]
        outcome.unknowns[:, at] = solution[:, done]


class _Work:
    """The items still on their way: what their devices see, their tangents, their next step."""

    def __init__(self, variants: Variants, nothing: Items) -> None:
        self._v, self._items = variants, nothing
        self._j, self._q, self._m = len(variants.junctions), len(variants.bjts), len(variants.mosfets)
        self.seen, self.holds_current = nothing.start, nothing.holds_current
        self._limits = Limits(variants.junction_arrays, variants.bjt_arrays, variants.mosfet_arrays)
        self.steps = np.zeros(0, np.intp)
        self._held_back = np.zeros(0, bool)
        self._predicted = np.zeros((len(self.seen) + 1, 0))
        self._nets = np.zeros((variants.nets, 0))
        self._own = variants.places[np.arange(variants.nets), np.arange(variants.nets)]
        self._extras = (ExtraJunctions(variants), ExtraBjts(variants), ExtraMosfets(variants))

    def begin(self, items: Items) -> None:
        """Take more items in."""
        joined = [np.concatenate([getattr(self._items, f), getattr(items, f)], axis=-1) for f in Items.__slots__]
        self._items = Items(*joined)
        count = len(items.variant)
        self.seen = np.concatenate([self.seen, items.start], axis=1)
        self.holds_current = np.concatenate([self.holds_current, items.holds_current])
        self.steps = np.concatenate([self.steps, np.zeros(count, np.intp)])
        self._held_back = np.concatenate([self._held_back, np.ones(count, bool)])
        self._predicted = np.concatenate([self._predicted, np.zeros((len(self.seen) + 1, count))], axis=1)
        self._nets = np.concatenate([self._nets, np.full((self._v.nets, count), np.inf)], axis=1)
        for extra in self._extras:
            extra.begin(items.variant)

    @property
    def _changed(self) -> Iterator[ExtraJunctions | ExtraBjts | ExtraMosfets]:
        """The changed devices, sorts of which no item has any left out."""
        return (extra for extra in self._extras if extra.count)

    def _parts(self, seen: Floats) -> tuple[Floats, Floats, Floats]:
        """Return what junctions, transistors (2 x ...) and channels (2 x ...) see, as views."""
        j, q, count = self._j, self._q, seen.shape[1]
        bjt = seen[j : j + 2 * q].reshape(2, q, count)
        return seen[:j], bjt, seen[j + 2 * q : j + 2 * q + 2 * self._m].reshape(2, self._m, count)

    def evaluate(self) -> Floats:
        """Take every device's tangent; return how far items are off, as a share of their current; 1 if held back."""
        v, (seen_j, seen_q, seen_m) = self._v, self._parts(self.seen)
        slope, offset, current = junction_tangent(v.junction_arrays, seen_j)
        bjt = BjtTangent.at(v.bjt_arrays, seen_q)
        mosfet = MosfetTangent.at(v.mosfet_arrays, seen_m)
        count = self.seen.shape[1]
        none, idle = np.zeros((1, count)), np.zeros((self._m + 1, count))
        flat = bjt.slopes.reshape(4 * self._q, count), mosfet.slopes.reshape(2 * self._m, count)
        self._slopes = np.concatenate([slope, *flat, none])
        self._offsets = np.concatenate([offset, bjt.offsets.reshape(2 * self._q, count), mosfet.offset, idle])
        current = np.concatenate([current, bjt.current.reshape(2 * self._q, count), mosfet.current, idle])
        each = np.arange(count)
        if v.off_seen.shape[1]:
            self._slopes[v.off_slopes[self._items.variant].T, each] = 0.0
            for array in (self._offsets, current):
                array[v.off_seen[self._items.variant].T, each] = 0.0
        astray = np.abs(current - self._predicted).max(axis=0, initial=0.0)
        for extra in self._changed:
            extra.evaluate(astray)
        self.steps += 1
        return np.where(self._held_back, 1.0, astray / self._items.ampere)

    def step(self) -> tuple[Floats, Signs]:
        """Return the solution of the items' equations (unknowns x items) and whose determinants are negative."""
        return self._v.elimination.solve(*self._equations())

    def _equations(self) -> tuple[Floats, Floats]:
        """Return the values (places x items) and the right sides of the items' equations."""
        v, items = self._v, self._items
        each = np.arange(len(items.variant))
        values = np.take(v.constant, items.variant, axis=1)
        values += v.stamp @ self._slopes[:-1]
        right = v.feed @ self._offsets[: v.feed.shape[1]]
        for extra in self._changed:
            extra.add_to(values, right)
        if items.shunt.any():
            values[self._own] += items.shunt
        values[v.places[items.black, items.black], each] += _STIFF_S
        values[v.places[items.red, items.red], each] += np.where(self.holds_current, 0.0, _STIFF_S)
        right[items.red, each] += np.where(self.holds_current, items.ampere, _STIFF_S * items.volt)
        return values, right

    def leanings(self, leanings: Leanings, steps: int) -> Floats:
        """Return the slopes of ln(volt/ampere) of items that have settled but for `steps` steps; NaN where not."""
        for _ in range(steps - 1):
            self.evaluate()
            self.advance(self.step()[0])
        self.evaluate()
        eliminated, right = self._equations()
        solution, _ = self._v.elimination.eliminate(eliminated, right)
        right, each = np.zeros_like(solution), np.arange(solution.shape[1])
        right[self._items.red, each] += 1.0
        right[self._items.black, each] -= 1.0
        adjoint = self._v.elimination.solve_transposed(eliminated, right)
        junctions, bjts, _ = self._extras
        moved = leanings.of(self._items.variant, solution, adjoint, (self._slopes, self._offsets), (junctions, bjts))
        # at its compliance the source is as stiff as the black lead's tie: half of what the voltage seems to rise
        ampere, volt = self.delivered(solution), self.port(solution)
        share = np.where(self.holds_current, 1.0 / np.maximum(np.abs(volt), _LEAST_V), 0.0)
        share += np.where(self.holds_current, 0.0, _STIFF_S / 2.0 / np.maximum(np.abs(ampere), _LEAST_A))
        settled = np.isfinite(solution).all(axis=0) & ((steps == 1) | ~self._held_back)
        return np.asarray(np.where(settled, moved * share, np.nan))

    def last_step(self, solution: Floats) -> tuple[Floats, Floats]:
        """Return how far the net that moved most moved in this step, and the probes' voltage, per item, in volt.

        The nets are remembered for the next step.
        """
        nets, each = solution[: self._v.nets], np.arange(solution.shape[1])
        with np.errstate(invalid="ignore"):  # what ran off to infinity twice did not arrive
            moved = nets - self._nets
            anywhere: Floats = np.abs(moved).max(axis=0, initial=0.0)
            between = np.abs(moved[self._items.red, each] - moved[self._items.black, each])
        self._nets = nets
        return anywhere, between

    def port(self, solution: Floats) -> Floats:
        """Return the voltage between the probes of every item."""
        each = np.arange(solution.shape[1])
        across: Floats = solution[self._items.red, each] - solution[self._items.black, each]
        return across

    def delivered(self, solution: Floats) -> Floats:
        """Return the current of every item's source, in ampere."""
        at_red = solution[self._items.red, np.arange(solution.shape[1])]
        return np.where(self.holds_current, self._items.ampere, _STIFF_S * (self._items.volt - at_red))

    def advance(self, solution: Floats) -> None:
        """Move every device to what it sees at the solution, held back where it must be."""
        v, j, q = self._v, self._j, self._q
        outer = v.controls @ solution
        outer_j, outer_q, outer_m = self._parts(outer)
        slopes, offsets, count = self._slopes, self._offsets, solution.shape[1]
        current_j = slopes[:j] * outer_j + offsets[:j]
        by = slopes[j : j + 4 * q].reshape(2, 2, q, count)
        current_q = (by * outer_q).sum(axis=1) + offsets[j : j + 2 * q].reshape(2, q, count)
        by_m = slopes[j + 4 * q : -1].reshape(2, self._m, count)
        current_m = (by_m * outer_m).sum(axis=0) + offsets[j + 2 * q : j + 2 * q + self._m]
        idle = np.zeros((self._m + 1, count))
        self._predicted = np.concatenate([current_j, current_q.reshape(2 * q, count), current_m, idle])
        outer[:j] -= v.junction_arrays.series[:, None] * current_j
        self._hold_back(outer)
        self._change_modes(solution)
        for extra in self._changed:
            extra.advance(solution, self._held_back)

    def _hold_back(self, new: Floats) -> None:
        """Limit the steps of the shared devices, and note which items had one limited."""
        (new_j, new_q, new_m), (old_j, old_q, old_m) = self._parts(new), self._parts(self.seen)
        kept = np.concatenate(
            [
                self._limits.junction(new_j, old_j),
                self._limits.bjt(new_q, old_q).reshape(2 * self._q, new.shape[1]),
                self._limits.mosfet(new_m, old_m).reshape(2 * self._m, new.shape[1]),
                np.zeros((1, new.shape[1])),
            ]
        )
        changed = kept[:-1] != new
        if changed.any():
            padded = np.concatenate([changed, np.zeros_like(changed[:1])])
            padded[self._v.off_seen[self._items.variant].T, np.arange(new.shape[1])] = False
            self._held_back = np.asarray(padded.any(axis=0))
        else:
            self._held_back = np.zeros(new.shape[1], bool)
        self.seen = kept[:-1]

    def _change_modes(self, solution: Floats) -> None:
        """Let each source hold its current or its compliance: the side of the corner that is nearer."""
        items, volt = self._items, self.port(solution)
        spare_v = (items.volt - volt) * items.ampere
        spare_a = (items.ampere - self.delivered(solution)) * items.volt
        modes = np.less(spare_a, spare_v)
        self._held_back |= modes != self.holds_current
        self.holds_current = np.asarray(modes, dtype=bool)

    def keep(self, which: Bools) -> None:
        """Go on with some of the items."""
        self._items = self._items.chosen(np.flatnonzero(which))
        self.seen, self.holds_current = self.seen[:, which], self.holds_current[which]
        self._held_back = self._held_back[which]
        self._predicted, self.steps = self._predicted[:, which], self.steps[which]
        self._nets = self._nets[:, which]
        for extra in self._extras:
            extra.keep(which)
