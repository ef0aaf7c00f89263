"""The variants of a board sorted by the matrix entries they add, each sort solved with a pattern of its own.

Most faults leave the good board's pattern as it is; bridges and swapped pins fill it, and would make every
elimination of all the others as long as their own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, Items, Outcome
from .faults import Edit
from .leanings import Leanings
from .netlist import Netlist
from .physics import Conditions
from .variants import Variants

__all__ = ["SortedVariants"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

#: how many variants that add entries share a pattern: fewer have less fill, and more batches to go through.
_TOGETHER = 30


class SortedVariants:
    """The good board (0) and one variant per edit, as `whole` numbers them; rows and devices are the same in all.

    `batches` solve a sort each, the first those that add no entry.
    """

    def __init__(self, netlist: Netlist, edits: Sequence[Edit], conditions: Conditions) -> None:
        good = Variants(netlist, (), conditions)
        self.whole = Variants(netlist, edits, conditions) if edits else good
        self._sort, self._number = np.zeros((2, len(edits) + 1), np.intp)
        self.batches: list[Batch] = []
        self._leanings: list[Leanings] = []
        for sort, chosen in enumerate(self._sorts(good)):
            variants = Variants(netlist, [edits[at - 1] for at in chosen], conditions) if len(chosen) else good
            self._sort[chosen], self._number[chosen] = sort, np.arange(1, len(chosen) + 1)
            self.batches.append(Batch(variants))
            self._leanings.append(Leanings(variants))
        self._sort[0] = self._number[0] = 0
        self.slots = self._leanings[0].slots

    def _sorts(self, good: Variants) -> list[Indices]:
        """Return the numbers of the variants of every sort, those that add nothing first."""
        added = [sorted(entries - good.elimination.places.keys()) for entries in self.whole.entries]
        more = sorted((at for at, entries in enumerate(added) if entries), key=lambda at: added[at])
        same = [at for at, entries in enumerate(added) if at and not entries]
        further = np.array_split(np.array(more, np.intp), -(-len(more) // _TOGETHER)) if more else []
        return [np.array(same, np.intp), *further]

    @property
    def rows_seen(self) -> int:
        """The number of voltages that devices see."""
        return self.batches[0].rows_seen

    def solve(self, items: Items, *, patient: bool) -> Outcome:
        """Return the outcome of every item, as `Batch.solve`."""
        found = Outcome.at_rest(self.rows_seen, len(items.variant), self.whole.size)
        for sort, batch in enumerate(self.batches):
            at, chosen = self._of_sort(items, sort)
            if len(at):
                found.replace_at(at, batch.solve(chosen, patient=patient))
        return found

    def leanings(self, items: Items, outcome: Outcome) -> Floats:
        """Return the slopes of every item to every slot (slots x items), as `Batch.leanings`."""
        found = np.full((len(self.slots), len(items.variant)), np.nan)
        for sort, (batch, leanings) in enumerate(zip(self.batches, self._leanings, strict=True)):
            at, chosen = self._of_sort(items, sort)
            if len(at):
                found[:, at] = batch.leanings(chosen, outcome.chosen(at), leanings)
        return found

    def _of_sort(self, items: Items, sort: int) -> tuple[Indices, Items]:
        """Return which items are of a sort, and those numbered as that sort's variants are."""
        at = np.flatnonzero(self._sort[items.variant] == sort)
        chosen = items.chosen(at)
        chosen.variant[:] = self._number[chosen.variant]
        return at, chosen
