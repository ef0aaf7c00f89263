"""The tables that predictions are filled into: readings, what they lean on, and how well each is known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.model import Bench
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.settled import Settled
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predicted import Positions, Predictions
from benchcheck.diagnosis.shots import MeterErrors, Shot
from benchcheck.diagnosis.strays import Strays
from benchcheck.spec.board import Board

__all__ = ["Tables"]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Bools = NDArray[np.bool_]

#: standard deviations at which a tolerance ends: a rectangular distribution's (GUM 4.3.7).
_AT_EDGE = math.sqrt(3.0)


class Tables:
    """Predictions being filled in, hypotheses by shots; arrays are named and shaped as those of `Predictions`.

    With `spread`, readings' slopes to strays are wanted too.
    """

    def __init__(
        self, board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
        *, spread: bool = True, begin: Mapping[Positions, Settled] | None = None,
    ) -> None:  # fmt: skip
        """Take the board, the bench and what is wanted; nothing is known yet.

        `begin` is where a board much like it settled, by the positions of its switches.
        """
        self.board, self.bench, self.netlist, self.hypotheses = board, bench, netlist, hypotheses
        self.shots, self.errors, self.spread = tuple(shots), MeterErrors(bench), spread
        shape = len(hypotheses), len(self.shots)
        self.mean, self.latent, self.known = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, bool)
        self.held: Floats = np.full((*shape, 1), np.nan)
        self.entry = np.full(shape, -1, np.int32)
        self.own, self.bent, self.by_lead = np.zeros(shape), np.zeros(shape), np.zeros(shape, bool)
        self.begin: Mapping[Positions, Settled] = begin or {}
        self.settled: dict[Positions, Settled] = {}
        self.strays = Strays(board, netlist)
        self.reactive = self.strays.reactive()
        self.at_edges = {by: self.strays.reactive(by) for by in (-_AT_EDGE, _AT_EDGE)}
        self._good: list[tuple[Sequence[int], Floats32]] = []
        self._leaks: list[tuple[Sequence[int], int, Floats, Bools]] = []
        self._slopes: list[Floats32] = []
        self._entries = 0

    def enter(self, slopes: Floats32) -> NDArray[np.int32]:
        """Keep slopes (entries x strays) and return their places."""
        places = self._entries + np.arange(len(slopes), dtype=np.int32)
        self._slopes.append(slopes)
        self._entries += len(slopes)
        return places

    def enter_good(self, columns: Sequence[int], slopes: Floats32) -> None:
        """Keep the slopes of the good board's readings (columns x strays)."""
        self._good.append((columns, slopes))

    def enter_leak(self, columns: Sequence[int], stray: int, off: Floats, alike: Bools) -> None:
        """Keep what a stray of a leakage moves readings by (columns), and which rows' alike (rows x columns)."""
        self._leaks.append((columns, stray, off, alike))

    def good_slopes(self, columns: Sequence[int], stray: int) -> Floats:
        """Return the good board's slopes to one stray at columns that were entered together."""
        found: Floats = np.zeros(len(columns))
        for entered, slopes in self._good:
            if list(entered) == list(columns):
                found = np.asarray(slopes[:, stray], np.float64)
        return found

    def make_room(self, ranges: int) -> None:
        """Have room for readings in so many ranges: with switches in other positions there may be more of them."""
        more = ranges - self.held.shape[2]
        if more > 0:
            self.held = np.concatenate([self.held, np.full((*self.mean.shape, more), np.nan)], axis=2)

    def result(self) -> Predictions:
        """Return what was filled in."""
        count = len(self.strays)
        good = np.zeros((len(self.shots), count))
        for columns, slopes in self._good:
            good[list(columns), : slopes.shape[1]] = slopes
        slopes = np.zeros((self._entries, count), np.float32)
        begin = 0
        for block in self._slopes:
            slopes[begin : begin + len(block), : block.shape[1]] = block
            begin += len(block)
        for columns, stray, off, alike in self._leaks:
            good[list(columns), stray] = off
            entry = np.where(alike, self.entry[:, list(columns)], -1)
            slopes[entry[entry >= 0], stray] = np.broadcast_to(off, entry.shape)[entry >= 0]
        return Predictions(
            self.shots, self.mean, self.latent, self.held, self.known, good.T.copy(), slopes, self.entry,
            self.own, self.bent, self.by_lead, self.strays, self.settled,
        )  # fmt: skip
