"""What probes read on a board and under edits of it: the tables a dictionary of faults is filled into."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .leanings import Leaning
from .settled import Settled

__all__ = ["EditedReadings"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class EditedReadings:
    """Readings of the board as it is (row 0) and of every edit of it; all arrays are (edits + 1 x probes).

    `value` in the units of the probes' functions, NaN for OL and for what is not `solved`. `held` (edits + 1 x probes
    x ranges) is what each range tried shows, beyond its full scale or not; NaN where its source was at its
    compliance, and for ranges not tried or solved alone. `latent` is the reading without an end of range or
    compliance: ohms as voltage over current wherever the source gave way.

    `slots` (where asked for) are what readings lean on: the logarithm of ohms and the volts of diode mode by each,
    `good` (slots x probes) on the board as it is and `moved` (entries x slots) where an edit makes a difference;
    `entry` (as `value`) says which of them, -1 for the board's. `settled` is where the board as it is settled.
    """

    value: Floats
    solved: Bools
    held: Floats
    latent: Floats
    slots: tuple[Leaning, ...]
    good: Floats
    moved: NDArray[np.float32]
    entry: NDArray[np.int32]
    settled: Settled | None = None

    def of_rows(self, rows: Indices) -> EditedReadings:
        """Return some rows, repeats allowed."""
        return replace(
            self, value=self.value[rows], solved=self.solved[rows], held=self.held[rows], latent=self.latent[rows],
            entry=self.entry[rows],
        )  # fmt: skip
