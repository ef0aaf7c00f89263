"""Where a board settled, probe by probe and range by range: where one much like it begins.

Newton's method takes as many steps as the start is far away, and a board that latches may not be solved from rest at
all. Boards with the same parts on the same nets share the layout, so what devices saw on one serves the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .batch import Items, Outcome

__all__ = ["Settled"]

Indices = NDArray[np.intp]
Key = tuple[int, int, float, float]


@dataclass(frozen=True, slots=True)
class Settled:
    """Outcomes of a board without faults, and which of them is at which probe: (rows of the tips, ampere, volt)."""

    outcome: Outcome
    places: dict[Key, int]

    @classmethod
    def of(cls, solved: Sequence[tuple[Items, Outcome]]) -> Settled | None:
        """Return what was solved of these, the later of two that are one; None where nothing was."""
        known = [(items, outcome) for items, outcome in solved if outcome.solved.any()]
        if not known:
            return None
        whole = Outcome(*(np.concatenate([getattr(one, n) for _, one in known], axis=-1) for n in Outcome.__slots__))
        keys = [key for items, _ in known for key in _keys(items)]
        return cls(whole, {key: at for at, key in enumerate(keys) if whole.solved[at]})

    def begun(self, items: Items) -> Items:
        """Return the items begun where this board settled; those that it was not solved for, as they were."""
        at = np.array([self.places.get(key, -1) for key in _keys(items)], dtype=np.intp)
        known = at >= 0
        if not known.any() or len(items.start) != len(self.outcome.seen):
            return items
        start = np.where(known, self.outcome.seen[:, at], items.start)
        return replace(
            items, start=start, holds_current=np.where(known, self.outcome.holds_current[at], items.holds_current)
        )


def _keys(items: Items) -> list[Key]:
    return list(
        zip(items.red.tolist(), items.black.tolist(), items.ampere.tolist(), items.volt.tolist(), strict=True)
    )
