"""What a batch solves: items in lots, and what is done with them once they have settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .first_steps import Beside
from .items import Items, Outcome

__all__ = ["Fixed", "Lot", "Queue"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Lot:
    """Items that begin together, the queue's own numbers for them, and beside what, where first steps are known."""

    at: Indices
    items: Items
    beside: Beside | None


class Queue(Protocol):
    """Items that wait to be solved; more may come as others settle, if it `grows`."""

    grows: bool

    def more(self, most: int) -> Lot | None:
        """Return further items, at most so many, None where none waits."""

    def leans(self, at: Indices, volt: Floats) -> Bools:
        """Return of which items that show these volts slopes are asked for."""

    def settle(self, at: Indices, outcome: Outcome, slopes: Floats) -> None:
        """Take what came of some items; `slopes` (slots x items, or none at all) are NaN where not asked for."""

    def fail(self, at: Indices) -> None:
        """Learn of items that did not settle."""


class Fixed:
    """Items that are all known beforehand; `outcome` and `slopes` (slots x items) are what came of them."""

    grows = False

    def __init__(self, items: Items, size: int, slots: int = 0) -> None:
        """Take the items, the number of unknowns, and how many slots slopes are asked for to."""
        self._items, self._begun = items, 0
        self.outcome = Outcome.at_rest(len(items.start), len(items.variant), size)
        self.slopes = np.full((slots, len(items.variant)), np.nan)

    def more(self, most: int) -> Lot | None:
        """Return the next items, in their order."""
        at = np.arange(self._begun, min(len(self._items.variant), self._begun + most))
        if not len(at):
            return None
        self._begun += len(at)
        return Lot(at, self._items.chosen(at), None)

    def leans(self, at: Indices, volt: Floats) -> Bools:
        """Return that all slopes are asked for."""
        return np.ones(len(at), bool)

    def settle(self, at: Indices, outcome: Outcome, slopes: Floats) -> None:
        """Enter what came of some items."""
        self.outcome.replace_at(at, outcome)
        self.slopes[:, at] = slopes

    def fail(self, at: Indices) -> None:
        """Leave them unsolved."""
