"""The variants of a board sorted by the matrix entries they add, each sort solved with a pattern of its own.

Most faults leave the good board's pattern as it is; bridges and swapped pins fill it, and would make every
elimination of all the others as long as their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .batch import Batch
from .faults import Edit
from .first_steps import FirstSteps
from .items import Items, Outcome
from .leanings import Leanings
from .netlist import Netlist
from .physics import Conditions
from .variants import Variants

__all__ = ["Sort", "SortedVariants"]

Indices = NDArray[np.intp]

#: how many variants that add entries share a pattern: fewer have less fill, and more batches to go through.
_TOGETHER = 30
#: beyond so many an inverse of the whole matrix takes as long as the steps it spares
_MOST_UNKNOWNS = 100


@dataclass(frozen=True, slots=True)
class Sort:
    """Variants that share a pattern: what solves them, and the number there of each of all, -1 for others."""

    batch: Batch
    leanings: Leanings
    number: Indices


class SortedVariants:
    """The good board (0) and one variant per edit, as `whole` numbers them; rows and devices are the same in all.

    `good` solves the board alone; of the edited ones what is between the probes is found, as far as any meter shows.
    """

    def __init__(self, netlist: Netlist, edits: Sequence[Edit], conditions: Conditions) -> None:
        board = Variants(netlist, (), conditions)
        self._netlist, self._edits, self._conditions = netlist, edits, conditions
        self.whole = Variants(netlist, edits, conditions) if edits else board
        number = np.full(len(edits) + 1, -1)
        number[0] = 0
        self.good = Sort(Batch(board), Leanings(board), number)

    @cached_property
    def together(self) -> Sort:
        """All variants in one pattern, which takes the shortest to work out."""
        return _sort(self.whole, np.arange(len(self._edits) + 1))

    @cached_property
    def apart(self) -> tuple[Sort, ...]:
        """All edited variants in sorts, those that add no entry first: they take the shortest to solve."""
        return tuple(self._of_edits(chosen) for chosen in self._chosen() if len(chosen))

    def _of_edits(self, chosen: Indices) -> Sort:
        number = np.full(len(self._edits) + 1, -1)
        number[chosen] = np.arange(1, len(chosen) + 1)
        return _sort(Variants(self._netlist, [self._edits[at - 1] for at in chosen], self._conditions), number)

    def _chosen(self) -> list[Indices]:
        """Return the numbers of the variants of every sort, those that add nothing first."""
        present = self.good.batch.variants.elimination.places.keys()
        added = [sorted(entries - present) for entries in self.whole.entries]
        more = sorted((at for at, entries in enumerate(added) if entries), key=lambda at: added[at])
        same = [at for at, entries in enumerate(added) if at and not entries]
        further = np.array_split(np.array(more, np.intp), -(-len(more) // _TOGETHER)) if more else []
        return [np.array(same, np.intp), *further]

    def first_steps(self, items: Items, outcome: Outcome) -> FirstSteps | None:
        """Return the first steps from where the good board settled, None where they cannot be known or do not pay."""
        if self.whole.size > _MOST_UNKNOWNS or not len(items.variant):
            return None
        with suppress(np.linalg.LinAlgError):
            return FirstSteps(self.good.batch.variants, items, outcome)
        return None


def _sort(variants: Variants, number: Indices) -> Sort:
    return Sort(Batch(variants, port_alone=True), Leanings(variants), number)
