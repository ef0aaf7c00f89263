"""Where a board settled, probe by probe and range by range: where one much like it begins.

Newton's method takes as many steps as the start is far away, and a board that latches may not be solved from rest at
all. Boards with the same parts on the same nets share the layout, so what devices saw on one serves the other; to a
board with other parts the voltages of the nets serve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .items import Items, Outcome
from .variants import Variants

__all__ = ["Settled"]

Indices = NDArray[np.intp]
Key = tuple[int, int, float, float]
Layout = tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, slots=True)
class Settled:
    """Outcomes of a board without faults, and which of them is at which probe: (rows of the tips, ampere, volt).

    `row_of` says which net is in which row, `layout` between which rows every device is.
    """

    outcome: Outcome
    places: dict[Key, int]
    row_of: dict[str, int]
    layout: Layout

    @classmethod
    def of(cls, variants: Variants, solved: Sequence[tuple[Items, Outcome]]) -> Settled | None:
        """Return what was solved of these, the later of two that are one; None where nothing was."""
        known = [(items, outcome) for items, outcome in solved if outcome.solved.any()]
        if not known:
            return None
        whole = Outcome.joined([outcome for _, outcome in known])
        keys = [key for items, _ in known for key in _keys(items.red, items.black, items)]
        places = {key: at for at, key in enumerate(keys) if whole.solved[at]}
        return cls(whole, places, variants.row_of, _layout(variants))

    def begun(self, variants: Variants, items: Items) -> Items:
        """Return the items begun where this board settled; those that it was not solved for, as they were."""
        rows = self._rows_in(variants)
        at = np.array([self.places.get(k, -1) for k in _keys(rows[items.red], rows[items.black], items)], np.intp)
        known = at >= 0
        if not known.any():
            return items
        alike = self.row_of == variants.row_of and self.layout == _layout(variants)
        seen = self.outcome.seen[:, at] if alike else variants.controls @ self._voltages(variants, rows, at)
        return replace(
            items,
            start=np.where(known, seen, items.start),
            holds_current=np.where(known, self.outcome.holds_current[at], items.holds_current),
        )

    def _rows_in(self, variants: Variants) -> Indices:
        """Return the row here of every row of a board, -1 for a net that is not here."""
        rows = np.full(variants.nets, -1, np.intp)
        for net, row in variants.row_of.items():
            rows[row] = max(rows[row], self.row_of.get(net, -1))
        return rows

    def _voltages(self, variants: Variants, rows: Indices, at: Indices) -> NDArray[np.float64]:
        """Return the unknowns of another board (size x items) as far as its nets are here."""
        found = np.zeros((variants.size, len(at)))
        found[: variants.nets] = np.where(rows[:, None] >= 0, self.outcome.unknowns[np.ix_(rows, at)], 0.0)
        return found


def _layout(variants: Variants) -> Layout:
    junctions = ((each.designator, (each.plus, each.minus)) for each in variants.junctions)
    bjts = ((bjt.designator, rows) for bjt, rows in variants.bjts)
    return (*junctions, *bjts, *((mosfet.designator, rows) for mosfet, rows in variants.mosfets))


def _keys(red: Indices, black: Indices, items: Items) -> list[Key]:
    return list(zip(red.tolist(), black.tolist(), items.ampere.tolist(), items.volt.tolist(), strict=True))
