"""What a batch solves, one entry an item, and what comes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Items", "Outcome"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]


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

    @classmethod
    def none(cls, rows_seen: int) -> Items:
        """Return no items."""
        rows, none, nothing = np.zeros(0, np.intp), np.zeros(0, bool), np.zeros(0)
        return cls(rows, rows, rows, nothing, nothing, np.zeros((rows_seen, 0)), none, nothing)

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

    @classmethod
    def joined(cls, parts: Sequence[Outcome]) -> Outcome:
        """Return several outcomes as one."""
        return cls(*(np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in cls.__slots__))

    def chosen(self, which: Indices) -> Outcome:
        """Return the outcome of some items, repeats allowed."""
        return Outcome(*(getattr(self, name)[..., which] for name in Outcome.__slots__))

    def replace_at(self, which: Indices, other: Outcome) -> None:
        """Put another outcome in the place of some items."""
        for name in Outcome.__slots__:
            getattr(self, name)[..., which] = getattr(other, name)
