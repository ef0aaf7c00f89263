"""Readings that have been shown, solved in the ranges they came from: what they would be on another board like it.

The dictionary looks for the range each reading ends in. Once a meter has shown a number it was no smaller range than
the first that holds it, and that one unless it overloads there: what leaks backwards reads less at a smaller current.
So a board whose values have been moved a little takes about one solution a reading, and those begin where the last
board settled. A board that overloads where the meter did not is off by what its source gives at its compliance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .batch import Batch
from .driven import range_table, ranges_from
from .faults import Edit
from .items import Items, Outcome
from .leanings import Leaning, Leanings
from .netlist import Netlist
from .physics import on_a_board
from .screening import NOTHING, Screen
from .settled import Settled
from .table import Probe, given_way_v
from .variants import Variants

__all__ = ["RangedReadings", "Source", "readings_in_ranges"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
_Where = Indices | slice | int | tuple[Indices | slice | int, ...]

#: how far from what was read, in natural logarithm, a reading is for a further range to be tried, and of how many.
_LIKE, _MOST_FURTHER = 0.7, 3
#: by how much less a reading may be and yet be no less, as a ratio: a meter's error.
_NO_LESS = 0.02
#: by how little, in natural logarithm, readings of two ranges differ where both give way to one leakage.
_SAME = 1e-3
_LEAST_OHM = 1e-3


@dataclass(frozen=True, slots=True)
class Source:
    """What readings of ohms were driven with, and how near the edge of a leakage (any shape, all the same).

    `ampere` is the test current, `edge` the ohms from which its source gives way, NaN where it did not; both NaN for
    what is not ohms or not solved. Of the junction that moves a reading most, NaN where it is not driven backwards:
    `backwards` is by how many volts the reading moves with a volt of its forward drop (NaN where the source gave
    way), `slope_v` its n Vt.
    """

    ampere: Floats
    edge: Floats
    backwards: Floats
    slope_v: Floats

    @classmethod
    def unknown(cls, *shape: int) -> Source:
        """Return what nothing is known of."""
        return cls(*np.full((4, *shape), np.nan))

    def put(self, where: _Where, other: Source) -> None:
        """Enter what other readings were driven with."""
        for name in Source.__slots__:
            getattr(self, name)[where] = getattr(other, name)

    def of(self, where: _Where) -> Source:
        """Return what some readings were driven with."""
        return Source(*(getattr(self, name)[where] for name in Source.__slots__))


@dataclass(frozen=True, slots=True)
class RangedReadings:
    """Readings of the board (row 0) and of every edit of it, (edits + 1 x probes), each in the range it ends in.

    `latent` in the units of the probes' functions, were there no end of range or compliance; NaN where not `solved`.
    `source` is what they were driven with.
    `slopes` (entries x slots) are of the logarithm of ohms, or of volts, to what readings lean on; `entry` (as
    `latent`) says which. `settled` is where the board settled, for one much like it to begin at; `tried` (probes) how
    many ranges any of the boards took.
    """

    latent: Floats
    solved: Bools
    source: Source
    slots: tuple[Leaning, ...]
    slopes: Floats
    entry: Indices
    settled: Settled | None
    tried: Indices


def readings_in_ranges(
    netlist: Netlist,
    probes: Sequence[Probe],
    places: Sequence[int],
    edits: Sequence[Edit],
    *,
    read: Sequence[float] = (),
    last: Sequence[int] = (),
    nothing: float = NOTHING,
    begin: Settled | None = None,
    together: Sequence[int] | Indices = (),
) -> RangedReadings:
    """Return what every probe reads, `places` naming the first range that can have shown it, counted from 0.

    `read` is what was read, in ohm: a further range counts where it shows what is nearer, one beyond `last` (counted
    as `places`, the last that can have shown it by its digits) only what is no less. `nothing` is as for
    `edited_readings`; `begin` where a board much like it settled; `together` (probes) how many ranges to solve at
    once, where a board like it took as many. What the
    batch cannot do is left unsolved. The probes' functions are those of direct current.

    Raises CircuitError for nets that are not there.
    """
    for probe in probes:
        netlist.require_nets(probe.red, probe.black)
    work = _Ranged(netlist, probes, places, edits, read or [np.nan] * len(probes), last, together)
    return work.read(nothing, begin)


class _Ranged:
    """One board, its edits, and the probes with their ranges as arrays."""

    def __init__(
        self, netlist: Netlist, probes: Sequence[Probe], places: Sequence[int], edits: Sequence[Edit],
        read: Sequence[float], last: Sequence[int], together: Sequence[int] | Indices,
    ) -> None:  # fmt: skip
        different = {edit: row for row, edit in enumerate(dict.fromkeys(edits), 1)}
        self._row_of = np.array([0, *(different[edit] for edit in edits)], dtype=np.intp)
        self._v = Variants(netlist, tuple(different), on_a_board(None))
        self._batch, self._leanings = Batch(self._v, port_alone=True), Leanings(self._v)
        self._red = np.array([self._v.row_of[probe.red] for probe in probes], dtype=np.intp)
        self._black = np.array([self._v.row_of[probe.black] for probe in probes], dtype=np.intp)
        ranges = ranges_from([probe.excitation for probe in probes], places)
        self._read = np.maximum(np.array(read, float), _LEAST_OHM)  # leads taken off may leave less than nothing
        self._by = range_table(ranges)
        self._last = np.array([len(each) - 1 for each in ranges], dtype=np.intp)
        self._shown = np.array(last, np.intp) - np.array(places, np.intp) if last else self._last
        self._leads, self._in_volt = self._by["leads"][:, 0], self._by["factor"][:, 0] == 1.0
        self._together = np.array(together, np.intp) if len(together) else np.ones(len(probes), np.intp)
        self._tried = np.ones(len(probes), np.intp)

    def read(self, nothing: float, begin: Settled | None) -> RangedReadings:
        count, rows = len(self._red), len(self._v.fits)
        apart = np.flatnonzero(self._red != self._black)
        rest = Outcome.at_rest(self._batch.rows_seen, len(apart), self._v.size)
        good, slopes, latent, further, settled = self._solve(np.zeros(len(apart), np.intp), apart, rest, begin)
        table, solved = np.tile(self._leads, (rows, 1)), np.ones((rows, count), bool)
        source = Source.unknown(rows, count)
        entry = np.full((rows, count), count, np.intp)  # both tips on one net: the leads, which lean on nothing
        table[:, apart], solved[:, apart], entry[:, apart] = latent, good.solved, apart
        source.put((slice(None), apart), self._source(good, apart, further, slopes))
        kept = np.zeros((count + 1, len(self._leanings.slots)))
        kept[apart] = slopes.T
        row, at = self._moved(good, apart, self._of_range("ampere", apart, further), nothing)
        found, slopes, latent, further, _ = self._solve(row, at, good.chosen(np.searchsorted(apart, at)))
        table[row, at], solved[row, at] = latent, found.solved
        source.put((row, at), self._source(found, at, further, slopes))
        entry[row, at] = count + 1 + np.arange(len(row))
        table[~solved] = np.nan
        of = self._row_of
        every = np.concatenate([kept, slopes.T])
        return RangedReadings(
            table[of], solved[of], source.of(of), self._leanings.slots, every, entry[of], settled, self._tried
        )

    def _source(self, found: Outcome, at: Indices, further: Indices, slopes: Floats) -> Source:
        """Return what readings were driven with; `slopes` (slots x items) are theirs."""
        ampere = np.where(self._in_volt[at], np.nan, self._of_range("ampere", at, further))
        edge = self._of_range("volt", at, further) / ampere + self._leads[at]
        edge = np.where(found.holds_current | ~found.solved, np.nan, edge)
        ampere = np.where(found.solved, ampere, np.nan)
        drops = slopes[self._leanings.drops]
        if not drops.size:
            return replace(Source.unknown(len(at)), ampere=ampere, edge=edge)
        item, most = np.arange(len(at)), np.abs(drops).argmax(axis=0)
        driven_back = (found.seen[most, item] < 0.0) & (drops[most, item] != 0.0) & ~self._in_volt[at]
        by_drop = np.where(driven_back & found.holds_current, drops[most, item] * found.volt, np.nan)
        return Source(ampere, edge, by_drop, np.where(driven_back, self._v.junction_arrays.slope_v[most], np.nan))

    def _moved(self, good: Outcome, apart: Indices, ampere: Floats, nothing: float) -> tuple[Indices, Indices]:
        """Return rows and probes of the readings that an edit moves."""
        screen = Screen(self._v, good, ampere, nothing)
        pairs = [(row, apart[screen.moved(row)]) for row in range(1, len(self._v.fits)) if self._v.fits[row]]
        rows = [np.full(len(at), row, np.intp) for row, at in pairs]
        none = np.zeros(0, np.intp)
        return np.concatenate([none, *rows]), np.concatenate([none, *(at for _, at in pairs)])

    def _of_range(self, name: str, at: Indices, further: Indices) -> Floats:
        return self._by[name][at, further]

    def _solve(
        self, rows: Indices, at: Indices, found: Outcome, begin: Settled | None = None
    ) -> tuple[Outcome, Floats, Floats, Indices, Settled | None]:
        """Return outcomes, slopes (slots x items), readings, ranges of some rows and probes, and where all settled.

        Ranges are counted from the first of each probe. They begin where `begin` says, else at `found`, another
        board's outcomes.
        """
        first, found = found, found.chosen(np.arange(len(rows)))
        latent, further = np.full(len(rows), np.nan), np.zeros(len(rows), np.intp)
        waiting, step = np.arange(len(rows)), 0
        solved: list[tuple[Items, Outcome]] = []
        slopes = np.full((len(self._leanings.slots), len(rows)), np.nan)
        whole, whole_slopes, early = self._at_once(rows, at, first, begin, solved)
        while len(waiting):
            known = early[step, waiting] if step < len(early) else np.full(len(waiting), -1)
            outcome, leaning, rest = whole.chosen(known), whole_slopes[:, known], np.flatnonzero(known < 0)
            if len(rest):
                these, ranges = waiting[rest], np.full(len(rest), step)
                own, leaning[:, rest] = self._outcome(
                    rows[these], at[these], ranges, first.chosen(these), begin, solved
                )
                outcome.replace_at(rest, own)
            shown = outcome.volt / np.maximum(outcome.ampere, 1e-15) + self._leads[at[waiting]]
            taken = np.flatnonzero(self._nearer(at[waiting], shown, latent[waiting], step)) if step else slice(None)
            kept = waiting[taken]
            latent[kept], further[kept] = shown[taken], step
            found.replace_at(kept, outcome.chosen(np.arange(len(waiting))[taken]))
            slopes[:, kept] = leaning[:, taken]
            ended = self._ended(at[waiting], outcome, shown, latent[waiting], step)
            waiting, step = waiting[~ended], step + 1
            self._tried[at[waiting]] = np.maximum(self._tried[at[waiting]], step + 1)
        volts, by_volt = given_way_v(
            found.volt, found.ampere, found.holds_current, self._of_range("ampere", at, further)
        )
        in_volt = self._in_volt[at]
        scaled = np.nan_to_num(slopes) * np.where(in_volt, by_volt, 1.0)
        return found, scaled, np.where(in_volt, volts, latent), further, Settled.of(self._v, solved)

    def _ended(self, at: Indices, outcome: Outcome, shown: Floats, latent: Floats, step: int) -> Bools:
        """Return which readings need no further range than the one at `step`, where they show so much."""
        ends = self._of_range("full_scale", at, np.full(len(at), step))
        ended = outcome.holds_current & (shown <= ends) & ~self._unlike(at, latent)
        ended |= (self._last[at] == step) | ~outcome.solved
        return np.asarray(ended | (~np.isnan(self._read[at]) & (step == _MOST_FURTHER)))

    def _at_once(
        self, rows: Indices, at: Indices, start: Outcome, begin: Settled | None, solved: list[tuple[Items, Outcome]]
    ) -> tuple[Outcome, Floats, Indices]:
        """Solve the ranges that boards like this one took; return where each is too (ranges x rows), -1 where not."""
        count = np.minimum(self._together[at], self._last[at] + 1)
        early = np.full((max(count, default=0), len(rows)), -1)
        early[np.arange(len(early))[:, None] < count] = np.arange(count.sum())
        ranges, which = np.nonzero(early >= 0)
        return *self._outcome(rows[which], at[which], ranges, start.chosen(which), begin, solved), early

    def _outcome(
        self, rows: Indices, at: Indices, ranges: Indices, start: Outcome, begin: Settled | None,
        solved: list[tuple[Items, Outcome]],
    ) -> tuple[Outcome, Floats]:  # fmt: skip
        """Solve some rows and probes in some ranges, with slopes (slots x items), and add them to `solved`."""
        items = self._items(rows, at, ranges, start)
        items = items if begin is None else begin.begun(self._v, items)
        outcome, slopes = self._batch.solve_leaning(items, self._leanings, patient=not rows.any())
        solved.append((items, outcome))
        return outcome, slopes

    def _unlike(self, at: Indices, ohm: Floats) -> Bools:
        """Return which readings are nothing like what was read, if anything was: a further range may be."""
        with np.errstate(invalid="ignore"):
            return np.asarray(np.abs(np.log(ohm / self._read[at])) > _LIKE)

    def _nearer(self, at: Indices, ohm: Floats, before: Floats, further: int) -> Bools:
        """Return which readings of a further range are nearer to what was read, if anything was.

        In a range that cannot have shown it what reads less leads astray: there the leakage seems too large that the
        range before finds too small. Where both give way the same, the further one counts, up to the last that can
        have shown it: its current is what the leakage falls short of.
        """
        with np.errstate(invalid="ignore"):
            distance = np.abs(np.log(ohm / self._read[at]))
            alike = np.where(further <= self._shown[at], _SAME, -_SAME)
            nearer = distance < np.abs(np.log(before / self._read[at])) + alike
        astray = (further > self._shown[at]) & (ohm < (1.0 - _NO_LESS) * self._read[at])
        return np.asarray((nearer & ~astray) | np.isnan(self._read[at]))

    def _items(self, rows: Indices, at: Indices, further: Indices, start: Outcome) -> Items:
        ampere, volt = (self._of_range(name, at, further) for name in ("ampere", "volt"))
        return Items(
            rows, self._red[at], self._black[at], ampere, volt, start.seen, start.holds_current, np.zeros(len(rows))
        )
