"""Items on their way through Newton's method: what their devices see, their tangents, their next step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .elimination import Solved
from .extras import ExtraBjts, ExtraJunctions, ExtraMosfets
from .items import Items
from .tangents import BjtTangent, Limits, MosfetTangent, junction_tangent
from .variants import Variants

__all__ = ["STIFF_S", "Underway"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

STIFF_S = 1e3  # the black lead's tie to the reference, and the source at its compliance
_BY_ITEM = ("seen", "holds_current", "steps", "_held_back", "_predicted", "_nets")
_OF_LAST_STEP = ("slopes", "offsets", "values")


class Underway:
    """The items still on their way: what their devices see, their tangents, their next step."""

    def __init__(self, variants: Variants, items: Items) -> None:
        """Begin some items, each at its start."""
        self._v, self.items = variants, replace(items, start=items.start[:0])  # what is seen moves on from there
        self._j, self._q, self._m = len(variants.junctions), len(variants.bjts), len(variants.mosfets)
        self._limits = Limits(variants.junction_arrays, variants.bjt_arrays, variants.mosfet_arrays)
        self._own = variants.places[np.arange(variants.nets), np.arange(variants.nets)]
        self.seen, self.holds_current, count = items.start, items.holds_current, len(items.variant)
        self.steps = np.zeros(count, np.intp)
        self._held_back = np.ones(count, bool)
        self._predicted = np.zeros((len(self.seen) + 1, count))
        self._nets = np.full((variants.nets, count), np.inf)
        self.slopes = self.offsets = self.values = np.zeros((0, count))
        self.extras: tuple[ExtraJunctions, ExtraBjts, ExtraMosfets] = (
            ExtraJunctions(variants), ExtraBjts(variants), ExtraMosfets(variants),
        )  # fmt: skip
        for extra in self.extras:
            extra.begin(items.variant)

    @property
    def variants(self) -> Variants:
        """What the items are variants of."""
        return self._v

    def join(self, other: Underway) -> None:
        """Take in the items of another, behind these."""
        self._join([self, other], _BY_ITEM, settled=False)

    @classmethod
    def joined(cls, parts: Sequence[Underway]) -> Underway:
        """Return the settled items of several as one."""
        whole = parts[0].settled(np.arange(len(parts[0].steps)))
        whole._join(parts, (*_BY_ITEM, *_OF_LAST_STEP), settled=True)
        return whole

    def _join(self, parts: Sequence[Underway], names: Sequence[str], *, settled: bool) -> None:
        """Be the items of all parts, one after the other."""
        junctions, bjts, mosfets = self.extras
        junctions.join([part.extras[0] for part in parts], settled=settled)
        bjts.join([part.extras[1] for part in parts], settled=settled)
        mosfets.join([part.extras[2] for part in parts], settled=settled)
        every = [part.items for part in parts]
        self.items = Items(*(np.concatenate([getattr(one, f) for one in every], axis=-1) for f in Items.__slots__))
        for name in names:
            setattr(self, name, np.concatenate([getattr(part, name) for part in parts], axis=-1))

    @property
    def _changed(self) -> Iterator[ExtraJunctions | ExtraBjts | ExtraMosfets]:
        """The changed devices, sorts of which no item has any left out."""
        return (extra for extra in self.extras if extra.count)

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
        self.slopes = np.concatenate([slope, *flat, none])
        self.offsets = np.concatenate([offset, bjt.offsets.reshape(2 * self._q, count), mosfet.offset, idle])
        current = np.concatenate([current, bjt.current.reshape(2 * self._q, count), mosfet.current, idle])
        self._switch_off(self.offsets, current)
        astray = np.abs(current - self._predicted).max(axis=0, initial=0.0)
        for extra in self._changed:
            extra.evaluate(astray)
        self.steps += 1
        return np.where(self._held_back, 1.0, astray / self.items.ampere)

    def _switch_off(self, *currents: Floats) -> None:
        """Let devices that variants lack lead nothing: no slope, and none of these rows of currents or offsets."""
        v, each = self._v, np.arange(len(self.items.variant))
        if v.off_seen.shape[1]:
            self.slopes[v.off_slopes[self.items.variant].T, each] = 0.0
            for array in currents:
                array[v.off_seen[self.items.variant].T, each] = 0.0

    def step(self) -> Solved:
        """Solve the items' equations."""
        self.values, right = self.equations()
        return self._v.elimination.solve(self.values, right)

    def take(self, slopes: Floats, offsets: Floats, solution: Floats) -> None:
        """Take a step whose solution is known, these being the tangents of the devices that all variants share."""
        self.slopes, self.offsets = slopes, offsets
        self._switch_off(self.offsets)
        self.steps += 1
        self.last_step(solution)
        self.advance(solution)

    def equations(self) -> tuple[Floats, Floats]:
        """Return the values (places x items) and the right sides of the items' equations."""
        v, items = self._v, self.items
        each = np.arange(len(items.variant))
        values = np.take(v.constant, items.variant, axis=1)
        values += v.stamp @ self.slopes[:-1]
        right = v.feed @ self.offsets[: v.feed.shape[1]]
        for extra in self._changed:
            extra.add_to(values, right)
        if items.shunt.any():
            values[self._own] += items.shunt
        values[v.places[items.black, items.black], each] += STIFF_S
        values[v.places[items.red, items.red], each] += np.where(self.holds_current, 0.0, STIFF_S)
        right[items.red, each] += np.where(self.holds_current, items.ampere, STIFF_S * items.volt)
        return values, right

    def last_step(self, solution: Floats) -> tuple[Floats, Floats]:
        """Return how far the net that moved most moved in this step, and the probes' voltage, per item, in volt.

        The nets are remembered for the next step.
        """
        nets, each = solution[: self._v.nets], np.arange(solution.shape[1])
        with np.errstate(invalid="ignore"):  # what ran off to infinity twice did not arrive
            moved = nets - self._nets
            anywhere: Floats = np.abs(moved).max(axis=0, initial=0.0)
            between = np.abs(moved[self.items.red, each] - moved[self.items.black, each])
        self._nets = nets
        return anywhere, between

    def port(self, solution: Floats) -> Floats:
        """Return the voltage between the probes of every item."""
        each = np.arange(solution.shape[1])
        across: Floats = solution[self.items.red, each] - solution[self.items.black, each]
        return across

    def delivered(self, solution: Floats) -> Floats:
        """Return the current of every item's source, in ampere."""
        at_red = solution[self.items.red, np.arange(solution.shape[1])]
        return np.where(self.holds_current, self.items.ampere, STIFF_S * (self.items.volt - at_red))

    def advance(self, solution: Floats) -> None:
        """Move every device to what it sees at the solution, held back where it must be."""
        v, j, q = self._v, self._j, self._q
        outer = v.controls @ solution
        outer_j, outer_q, outer_m = self._parts(outer)
        slopes, offsets, count = self.slopes, self.offsets, solution.shape[1]
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
        if not self._v.off_seen.shape[1]:
            self._held_back = np.asarray(changed.any(axis=0))
        elif changed.any():
            padded = np.concatenate([changed, np.zeros_like(changed[:1])])
            padded[self._v.off_seen[self.items.variant].T, np.arange(new.shape[1])] = False
            self._held_back = np.asarray(padded.any(axis=0))
        else:
            self._held_back = np.zeros(new.shape[1], bool)
        self.seen = kept[:-1]

    def _change_modes(self, solution: Floats) -> None:
        """Let each source hold its current or its compliance: the side of the corner that is nearer."""
        items, volt = self.items, self.port(solution)
        spare_v = (items.volt - volt) * items.ampere
        spare_a = (items.ampere - self.delivered(solution)) * items.volt
        modes = np.less(spare_a, spare_v)
        self._held_back |= modes != self.holds_current
        self.holds_current = np.asarray(modes, dtype=bool)

    def keep(self, which: Indices) -> None:
        """Go on with some of the items."""
        self.items = self.items.chosen(which)
        for name in _BY_ITEM:
            setattr(self, name, getattr(self, name)[..., which])
        for extra in self.extras:
            extra.keep(which)

    def settled(self, which: Indices) -> Underway:
        """Return some of the items, with the tangents and the matrix values of the step they took last."""
        some = copy(self)
        junctions, bjts, mosfets = self.extras
        some.extras = copy(junctions), copy(bjts), copy(mosfets)
        some.keep(which)
        for name in _OF_LAST_STEP:
            setattr(some, name, getattr(self, name)[:, which])
        return some
