"""Predictions as a table: what every reading is under every hypothesis, and what it leans on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.settled import Settled
from benchcheck.diagnosis.shots import MeterErrors, Shot
from benchcheck.diagnosis.strays import OHMS, Strays

__all__ = [
    "BENT_AT",
    "MODEL_RATIO",
    "MODEL_V",
    "Positions",
    "Predictions",
    "in_range",
    "not_known_there",
    "place_shown",
]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Positions = tuple[tuple[str, str], ...]

#: shift of all junctions, in standard deviations, at which readings are tried for how far they are off straight lines
BENT_AT = 1.6
#: what the model itself is worth: a ratio of ohms, volts of diode mode.
MODEL_RATIO, MODEL_V = 0.003, 0.002
#: readings this near each other, as a ratio, are one.
_SAME = 1e-3
#: what is next to a reading: within this factor e.
_NEXT_TO = 0.7


@dataclass
class Predictions:
    """Readings by hypothesis and shot (rows x shots), in the functions' units; NaN is OL where they are `known`.

    `latent`: the reading were there no end to ranges and compliance (NaN: none at all); `held` (rows x shots x
    ranges): what each range of ohms would show where it was tried. Slopes to strays of one standard deviation, of
    ohms as logarithms: `good` (strays x shots) of the good board, `slopes` (entries x strays) where a hypothesis
    moves the reading; `entry` (rows x shots) says which, -1 for the good board's. `own` (rows x shots) is the
    standard deviation of what no stray explains, `bent` what is added to it where all junctions (the stray `common`)
    are off by `BENT_AT` standard deviations: leakages that take over from one range to the next are no straight
    line. `by_lead` (rows x shots) are read on a part's own lead, elsewhere than on its net. The good board is row 0;
    `settled` is where it settled, by the positions of its switches.
    """

    shots: tuple[Shot, ...]
    mean: Floats
    latent: Floats
    held: Floats
    known: Bools
    good: Floats
    slopes: Floats32
    entry: NDArray[np.int32]
    own: Floats
    bent: Floats
    by_lead: Bools
    strays: Strays
    settled: Mapping[Positions, Settled]
    _limits: Floats | None = None

    @property
    def common(self) -> int:
        """The stray of all junctions at once."""
        return self.strays.common

    @cached_property
    def bounded(self) -> Bools:
        """Which strays are of values whose tolerance is stated."""
        return self.strays.bounded(len(self.good))

    @cached_property
    def in_ratio(self) -> Bools:
        """Which shots spread by ratio: ohms."""
        return np.array([shot.function in OHMS for shot in self.shots], bool)

    @cached_property
    def by_strays(self) -> Floats:
        """The standard deviation of each reading by strays alone (rows x shots)."""
        of_good = np.sqrt((self.good**2).sum(axis=0))
        of_moved = np.append(np.sqrt((self.slopes**2).sum(axis=1)), 0.0)
        return np.where(self.entry < 0, of_good, of_moved[self.entry])

    @cached_property
    def spread(self) -> Floats:
        """The standard deviation of each reading among units with the same fault: of ohms as a ratio."""
        return np.sqrt(self.by_strays**2 + self.own**2 + self.bent**2)

    def limits(self, errors: MeterErrors) -> Floats:
        """Return the meter's limit of error at every prediction (rows x shots)."""
        if self._limits is None:
            columns = [
                errors.limit_of_error(shot.function, np.nan_to_num(self.mean[:, at]))
                for at, shot in enumerate(self.shots)
            ]
            self._limits = np.stack(columns, axis=1)
        return self._limits

    def slopes_of(self, row: int, columns: Indices) -> Floats:
        """Return the slopes of some readings under one hypothesis (strays x columns)."""
        found = self.good[:, columns].copy()
        entry = self.entry[row, columns]
        moved = np.flatnonzero(entry >= 0)
        found[:, moved] = self.slopes[entry[moved]].T
        return found

    def only_good(self) -> Predictions:
        """Return the good board's predictions."""
        one = slice(0, 1)
        return replace(
            self, mean=self.mean[one], latent=self.latent[one], held=self.held[one], known=self.known[one],
            entry=self.entry[one], own=self.own[one], bent=self.bent[one],
            by_lead=self.by_lead[one], _limits=None,
        )  # fmt: skip


def place_shown(mean: Floats, held: Floats) -> Indices:
    """Return the place of the range of ohms that predictions are shown in, -1 for none (`held`: one axis more)."""
    shown = held == mean[..., None]
    return np.asarray(np.where(shown.any(axis=-1), shown.argmax(axis=-1), -1))


def in_range(place: int, latent: Floats, held: Floats) -> Floats:
    """Return predictions in the range at a place, where the circuit was solved for it, else `latent`.

    `latent` (rows), `held` (rows x ranges); no range is at a place below 0.
    """
    if not 0 <= place < held.shape[1]:
        return latent
    there = held[:, place]
    return np.where(np.isnan(there) | (np.abs(there - latent) <= _SAME * np.abs(latent)), latent, there)


def not_known_there(place: int, function: Function, latent: Floats, held: Floats, errors: MeterErrors) -> Bools:
    """Return which predictions (rows) say nothing of the range at a place; arguments as of `in_range`.

    They end in a smaller range, or the source gives way next to where the good board's reading is. One that ends far
    beyond says that the range shown overloads.
    """
    if not 0 <= place < held.shape[1]:
        return np.zeros(len(held), bool)
    smaller = errors.range_of(function, np.nan_to_num(latent, nan=np.inf)) < place
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.abs(np.log(latent / latent[0])) < _NEXT_TO
    return np.asarray(np.isnan(held[:, place]) & (smaller | near))
