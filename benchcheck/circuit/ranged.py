"""Readings that have been shown, solved in the ranges they came from: what they would be on another board like it.

The dictionary looks for the range each reading ends in. Once a meter has shown a number it was no smaller range than
the first that holds it, and that one unless its source gives way on this board. So a board whose values have been
moved a little takes about one solution a reading, and those begin where the last board settled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, Items, Outcome
from .dictionary import Probe, given_way_v
from .driven import driven_ranges
from .faults import Edit
from .leanings import Leaning, Leanings
from .netlist import Netlist
from .physics import on_a_board
from .screening import NOTHING, Screen
from .settled import Settled
from .variants import Variants

__all__ = ["RangedReadings", "readings_in_ranges"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class RangedReadings:
    """Readings of the board (row 0) and of every edit of it, (edits + 1 x probes), each in the range it ends in.

    `latent` in the units of the probes' functions, were there no end of range or compliance; NaN where not `solved`.
    `slopes` (entries x slots) are of the logarithm of ohms, or of volts, to what readings lean on; `entry` (as
    `latent`) says which. `settled` is where the board settled, for one much like it to begin at.
    """

    latent: Floats
    solved: Bools
    slots: tuple[Leaning, ...]
    slopes: Floats
    entry: Indices
    settled: Settled | None


def readings_in_ranges(
    netlist: Netlist,
    probes: Sequence[Probe],
    places: Sequence[int],
    edits: Sequence[Edit],
    *,
    nothing: float = NOTHING,
    begin: Settled | None = None,
) -> RangedReadings:
    """Return what every probe reads, `places` naming the first range that can have shown it, counted from 0.

    `nothing` is as for `edited_readings`; `begin` where a board of the same parts settled. What the
    batch cannot do is left unsolved. The probes' functions are those of direct current.

    Raises CircuitError for nets that are not there.
    """
    for probe in probes:
        netlist.require_nets(probe.red, probe.black)
    return _Ranged(netlist, probes, places, edits).read(nothing, begin)


class _Ranged:
    """One board, its edits, and the probes with their ranges as arrays."""

    def __init__(
        self, netlist: Netlist, probes: Sequence[Probe], places: Sequence[int], edits: Sequence[Edit]
    ) -> None:
        different = {edit: row for row, edit in enumerate(dict.fromkeys(edits), 1)}
        self._row_of = np.array([0, *(different[edit] for edit in edits)], dtype=np.intp)
        self._v = Variants(netlist, tuple(different), on_a_board(None))
        self._batch, self._leanings = Batch(self._v), Leanings(self._v)
        self._red = np.array([self._v.row_of[probe.red] for probe in probes], dtype=np.intp)
        self._black = np.array([self._v.row_of[probe.black] for probe in probes], dtype=np.intp)
        self._ranges = [driven_ranges(probe.excitation)[place:] for probe, place in zip(probes, places, strict=True)]
        first = [ranges[0] for ranges in self._ranges]
        self._leads = np.array([one.leads for one in first], float)
        self._in_volt = np.array([one.in_volt for one in first], bool)

    def read(self, nothing: float, begin: Settled | None) -> RangedReadings:
        count, rows = len(self._red), len(self._v.fits)
        apart = np.flatnonzero(self._red != self._black)
        rest = Outcome.at_rest(self._batch.rows_seen, len(apart), self._v.size)
        good, slopes, latent, further, settled = self._solve(np.zeros(len(apart), np.intp), apart, rest, begin)
        table, solved = np.tile(self._leads, (rows, 1)), np.ones((rows, count), bool)
        entry = np.full((rows, count), count, np.intp)  # both tips on one net: the leads, which lean on nothing
        table[:, apart], solved[:, apart], entry[:, apart] = latent, good.solved, apart
        kept = np.zeros((count + 1, len(self._leanings.slots)))
        kept[apart] = slopes.T
        row, at = self._moved(good, apart, self._of_range("ampere", apart, further), nothing)
        found, slopes, latent, _, _ = self._solve(row, at, good.chosen(np.searchsorted(apart, at)))
        table[row, at], solved[row, at] = latent, found.solved
        entry[row, at] = count + 1 + np.arange(len(row))
        table[~solved] = np.nan
        of = self._row_of
        every = np.concatenate([kept, slopes.T])
        return RangedReadings(table[of], solved[of], self._leanings.slots, every, entry[of], settled)

    def _moved(self, good: Outcome, apart: Indices, ampere: Floats, nothing: float) -> tuple[Indices, Indices]:
        """Return rows and probes of the readings that an edit moves."""
        screen = Screen(self._v, good, ampere, nothing)
        pairs = [(row, apart[screen.moved(row)]) for row in range(1, len(self._v.fits)) if self._v.fits[row]]
        rows = [np.full(len(at), row, np.intp) for row, at in pairs]
        none = np.zeros(0, np.intp)
        return np.concatenate([none, *rows]), np.concatenate([none, *(at for _, at in pairs)])

    def _of_range(self, name: str, at: Indices, further: Indices) -> Floats:
        return np.array([getattr(self._ranges[p][f], name) for p, f in zip(at, further, strict=True)], float)

    def _solve(
        self, rows: Indices, at: Indices, found: Outcome, begin: Settled | None = None
    ) -> tuple[Outcome, Floats, Floats, Indices, Settled | None]:
        """Return outcomes, slopes (slots x items), readings, ranges of some rows and probes, and where all settled.

        Ranges are counted from the first of each probe; one whose source gives way is left for the next. They begin
        where `begin` says, else at `found`, another board's outcomes.
        """
        further = np.zeros(len(rows), np.intp)
        last = np.array([len(self._ranges[probe]) - 1 for probe in at], dtype=np.intp)
        slopes, waiting = np.zeros((len(self._leanings.slots), len(rows))), np.arange(len(rows))
        solved: list[tuple[Items, Outcome]] = []
        first, found = found, found.chosen(np.arange(len(rows)))
        while len(waiting):
            items = self._items(rows[waiting], at[waiting], further[waiting], first.chosen(waiting))
            items = items if begin is None else begin.begun(items)
            outcome = self._batch.solve(items, patient=not rows.any())
            found.replace_at(waiting, outcome)
            solved.append((items, outcome))
            ended = found.holds_current[waiting] | (further[waiting] == last[waiting]) | ~found.solved[waiting]
            here = np.flatnonzero(ended)
            slopes[:, waiting[here]] = self._batch.leanings(items.chosen(here), outcome.chosen(here), self._leanings)
            waiting = waiting[~ended]
            further[waiting] += 1
        volts, by_volt = given_way_v(found, self._of_range("ampere", at, further))
        latent = found.volt / np.maximum(found.ampere, 1e-15) + self._leads[at]
        in_volt = self._in_volt[at]
        scaled = np.nan_to_num(slopes) * np.where(in_volt, by_volt, 1.0)
        return found, scaled, np.where(in_volt, volts, latent), further, Settled.of(solved)

    def _items(self, rows: Indices, at: Indices, further: Indices, start: Outcome) -> Items:
        ampere, volt = (self._of_range(name, at, further) for name in ("ampere", "volt"))
        return Items(
            rows, self._red[at], self._black[at], ampere, volt, start.seen, start.holds_current, np.zeros(len(rows))
        )
