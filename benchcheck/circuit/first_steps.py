"""The first step of Newton's method from where another board settled, one device away from it.

A variant that begins where the good board settled has the good board's equations but for what it changes. Where that
is one conductance, its first solution is the good board's moved by one column of the inverse (Sherman and Morrison
1950): no tangent is taken and nothing eliminated. It is the step that would have been taken, by another way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .items import Items, Outcome
from .underway import Underway
from .variants import OPEN_OHM, Variants

__all__ = ["Beside", "Changes", "FirstSteps"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: what is left of one where a change takes away next to all that joins two nets: rounding would decide
_LEAST_LEFT = 1e-6


class Changes:
    """What each of some variants changes, where that is a single conductance (arrays, one entry a variant).

    `plus` and `minus` are the rows it is between, `minus` one beyond the last where it is on the diagonal alone;
    `siemens` how much more it is; `junction` the shared junction that is out, -1 for none.
    """

    def __init__(self, variants: Variants) -> None:
        count = len(variants.fits)
        self.single = np.zeros(count, bool)
        self.plus, self.minus = np.zeros((2, count), np.intp)
        self.siemens, self.junction = np.zeros(count), np.full(count, -1, np.intp)
        beyond = variants.size
        ohmic: dict[str, list[tuple[int, int, float]]] = {}
        for name, a, b, siemens in variants.conductances:
            ohmic.setdefault(name, []).append((a, b, -siemens))
        for at, branch in enumerate(variants.branches, variants.nets):
            ohmic.setdefault(branch.designator, []).append((at, beyond, branch.resistance_ohm - OPEN_OHM))
        others: dict[str, list[int]] = {}
        for at, junction in enumerate(variants.junctions):
            others.setdefault(junction.designator, []).append(at)
        never = {bjt.designator for bjt, _ in variants.bjts} | {mosfet.designator for mosfet, _ in variants.mosfets}
        for variant in range(1, count):
            removed = variants.removed[variant]
            out = [at for name in removed for at in others.get(name, ())]
            if variants.has_extras[variant] or removed & never or len(out) > 1 or variants.ties_moved[variant]:
                continue
            added = [(a, b, 1.0 / ohm) for a, b, ohm in variants.added_ohmic[variant]]
            every = [one for name in removed for one in ohmic.get(name, ())] + added
            pairs = {(min(a, b), max(a, b)) for a, b, _ in every}
            ends = [(variants.junctions[at].plus, variants.junctions[at].minus) for at in out]
            if len(pairs | {(min(pair), max(pair)) for pair in ends}) > 1:
                continue
            self.single[variant] = True
            self.plus[variant], self.minus[variant] = [*ends, *pairs, (0, 0)][0]
            self.siemens[variant] = sum(siemens for *_, siemens in every)
            self.junction[variant] = out[0] if out else -1


class FirstSteps:
    """First steps from where some items of the good board settled."""

    def __init__(self, variants: Variants, items: Items, outcome: Outcome) -> None:
        """Take the items, all of variant 0, and what came of them; raises LinAlgError where one is singular."""
        work = Underway(variants, replace(items, start=outcome.seen, holds_current=outcome.holds_current))
        work.evaluate()
        values, _ = work.equations()
        self._inverse = np.zeros((len(items.variant), variants.size + 1, variants.size + 1))
        # of the transposed, so that what is wanted together lies together
        self._inverse[:, :-1, :-1] = np.linalg.inv(variants.elimination.dense(values).transpose(0, 2, 1))
        self._unknowns = np.concatenate([outcome.unknowns, np.zeros((1, len(items.variant)))])
        self._slopes, self._offsets, self._known = work.slopes, work.offsets, outcome.solved

    def tangents(self, at: Indices) -> tuple[Floats, Floats]:
        """Return the slopes and offsets of the devices in some of the items, in arrays of their own."""
        return np.take(self._slopes, at, axis=1), np.take(self._offsets, at, axis=1)

    def solution(self, changes: Changes, variant: Indices, at: Indices) -> tuple[Floats, Bools]:
        """Return the solutions (unknowns x items) of variants that begin at some of the items, and which hold.

        Of an item at -1 nothing is known.
        """
        plus, minus, junction = changes.plus[variant], changes.minus[variant], changes.junction[variant]
        column = self._inverse[at, plus] - self._inverse[at, minus]
        across = self._unknowns[plus, at] - self._unknowns[minus, at]
        # the last rows are of no junction, and nothing
        siemens = changes.siemens[variant] - self._slopes[junction, at]
        current = siemens * across - self._offsets[junction, at]
        each = np.arange(len(at))
        left = 1.0 + siemens * (column[each, plus] - column[each, minus])
        with np.errstate(all="ignore"):
            found = np.take(self._unknowns, at, axis=1) - column.T * (current / left)
        return found[:-1], (at >= 0) & self._known[at] & (np.abs(left) > _LEAST_LEFT) & np.isfinite(found).all(axis=0)


@dataclass(frozen=True, slots=True)
class Beside:
    """Where items begin: at which of the items that first steps are known from."""

    steps: FirstSteps
    at: Indices

    def tangents(self, which: Indices) -> tuple[Floats, Floats]:
        """Return as `FirstSteps.tangents` of some of the items."""
        return self.steps.tangents(self.at[which])

    def solution(self, changes: Changes, variant: Indices, which: Indices) -> tuple[Floats, Bools]:
        """Return as `FirstSteps.solution` of some of the items."""
        return self.steps.solution(changes, variant, self.at[which])
