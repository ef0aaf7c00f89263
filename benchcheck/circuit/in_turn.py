"""Ranges in turn: every reading of a table goes through its meter's ranges until one shows it.

What no fault moves is the good board's. All else is solved in batches, readings in different ranges side by side: the
next range of one waits in the queue while others are still in their first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .first_steps import Beside, FirstSteps
from .items import Items, Outcome
from .queues import Lot
from .screening import Screen
from .settled import Settled
from .sorted_variants import Sort, SortedVariants
from .table import Table

__all__ = ["fill_in_turn"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
_Where = tuple[Indices, Indices, Indices]  # rows, columns, places of ranges

#: a reading beyond so many times a range's end before, as the good board's is in it, needs no look at that range
_FAR = 4.0
_FEW = 100  # of one sort are left to be solved with those of the others
_PAYS = 4  # unknowns for each step of rank one that is worth an inverse
_ROOM = 16_000_000  # values in all inverses together
_MANY = 3000  # are sorted; fewer take no longer in one pattern


def fill_in_turn(table: Table, nothing: float, *, patient: bool, lean: bool, begin: Settled | None) -> None:
    """Read by direct current what is open; what the batch cannot do is left to be read alone.

    `nothing` and `begin` are as in `edited_readings`; `lean` asks for slopes. Without patience little is tried.
    """
    work = SortedVariants(table.netlist, table.edits[1:], table.conditions)
    if not work.whole.at_rest:
        table.alone |= table.open
        return
    table.alone |= table.open & ~work.whole.fits[:, None]
    table.open &= work.whole.fits[:, None]
    if lean:
        table.lean_on(work.good.leanings.slots)
    for at, probe in enumerate(table.probes):
        if table.ranges[at] and work.whole.row_of[probe.red] == work.whole.row_of[probe.black]:
            table.short(at)
    _InTurn(table, work, nothing, lean=lean, patient=patient, begin=begin).fill()


class _InTurn:
    """A table, the good board in every range of every probe, and which readings each edit moves there."""

    def __init__(
        self, table: Table, work: SortedVariants, nothing: float, *, lean: bool, patient: bool, begin: Settled | None
    ) -> None:  # fmt: skip
        self._t, self._work, self.lean, self.patient = table, work, lean, patient
        row_of = work.whole.row_of
        self._red, self._black = (
            np.array([row_of[net] for net in nets], np.intp)
            for nets in ([probe.red for probe in table.probes], [probe.black for probe in table.probes])
        )
        self._begin = begin
        self._first_steps: FirstSteps | None = None
        self._moved = np.zeros((table.held.shape[2], *table.open.shape), bool)
        self._solve_good()
        for place in range(len(self._moved)):
            self._screen(place, nothing)
        self._know_first_steps()

    def _solve_good(self) -> None:
        """Solve the good board in every range of every probe at once, with slopes where they are asked for."""
        t, work, good = self._t, self._work, self._work.good
        self._good_at = np.full((len(t.last), t.held.shape[2]), -1)
        there = np.arange(t.held.shape[2]) <= t.last[:, None]
        cols, places = np.nonzero(np.atleast_2d(t.open.any(axis=0)).T & there)
        self._good_at[cols, places] = np.arange(len(cols))
        items = self._at_rest(np.zeros(len(cols), np.intp), cols, places)
        if self.lean:
            self._good, self._good_leanings = good.batch.solve_leaning(items, good.leanings)
        else:
            self._good, self._good_leanings = good.batch.solve(items, patient=self.patient), np.zeros((0, len(cols)))
        t.settled = Settled.of(work.whole, [(items, self._good)])

    def _screen(self, place: int, nothing: float) -> None:
        """Find which readings each edit moves in the range at `place`."""
        columns = np.flatnonzero(self._good_at[:, place] >= 0)
        if len(columns):  # the good board itself is moved where it is not solved yet
            good = self._good.chosen(self._good_at[columns, place])
            screen = Screen(self._work.whole, good, self._t.by["ampere"][columns, place], nothing)
            none = np.zeros(len(columns), bool)
            moved = [screen.moved(row) if row else none for row in range(len(self._t.edits))]
            self._moved[place][:, columns] = np.array(moved) | ~good.solved

    def _know_first_steps(self) -> None:
        """Work out first steps from where they are taken often, as many as there is room for."""
        places, cols = np.nonzero(self._good_at.T >= 0)
        often, size = self._moved[places, 1:, cols].sum(axis=1), self._work.whole.size
        chosen = np.argsort(-often, kind="stable")[: _ROOM // (size + 1) ** 2]
        chosen = chosen[often[chosen] >= max(1, size // _PAYS)]
        at = self._good_at[cols[chosen], places[chosen]]
        items = self._at_rest(np.zeros(len(at), np.intp), cols[chosen], places[chosen])
        self._first_steps = self._work.first_steps(items, self._good.chosen(at))
        self._first_at = np.full(len(self._good.volt), -1)
        self._first_at[at] = np.arange(len(at))

    def fill(self) -> None:
        """Read everything, the good board first."""
        row, col = np.nonzero(self._t.open[:1])
        self._solve(self.proceed(row, col, np.zeros_like(row)), self._work.good)
        row, col = np.nonzero(self._t.open[1:])
        where = self.proceed(row + 1, col, np.zeros_like(row))
        if len(where[0]) >= _MANY:
            left = [_Turn(self, self._t, sort).solve_most(where) for sort in self._work.apart]
            rows, cols, places = (np.concatenate(each) for each in zip(*left, strict=True))
            where = rows, cols, places
        self._solve(where, self._work.together)
        assert not self._t.open.any(), "every reading has been taken, or left to be read alone"

    def _solve(self, where: _Where, sort: Sort) -> None:
        if len(where[0]):
            _Turn(self, self._t, sort).solve(where)

    def proceed(self, rows: Indices, cols: Indices, places: Indices) -> _Where:
        """Read what no edit moves from these places on; return what is to be solved, and in which ranges."""
        none = np.zeros(0, np.intp)
        waiting: list[_Where] = [(none, none, none)]
        while len(rows):
            beyond = self._beyond(rows, cols, places)
            moved = self._moved[places, rows, cols] & ~beyond
            waiting.append((rows[moved], cols[moved], places[moved]))
            same = ~moved & ~beyond
            if same.any():
                self._take_good(rows[same], cols[same], places[same])
            further = self._t.open[rows, cols] & ~moved
            rows, cols, places = rows[further], cols[further], places[further] + 1
        rows, cols, places = (np.concatenate(each) for each in zip(*waiting, strict=True))
        return rows, cols, places

    def _take_good(self, rows: Indices, cols: Indices, places: Indices) -> None:
        at, slopes = self._good_at[cols, places], self._good_leanings
        self._t.take(rows, cols, places, self._good.chosen(at), lambda which: slopes[:, at[which]], "untouched")

    def _beyond(self, rows: Indices, cols: Indices, places: Indices) -> Bools:
        """Return which readings lie far beyond the ends of these ranges, their last one not.

        More current shows more ohms where a junction's leakage is all there is, fewer elsewhere: a reading far beyond
        with the current before says nothing of one where the good board's, solved in every range, is not.
        """
        if not rows.any():
            return np.zeros(len(rows), bool)
        at = self._good_at[cols, places]
        ends = np.where(self._t.last[cols] == places, np.inf, self._t.by["full_scale"][cols, places])
        far = self._good.volt[at] / np.maximum(self._good.ampere[at], 1e-15) > _FAR * ends
        return np.asarray((rows > 0) & (self._t.before_ohm[rows, cols] > _FAR * ends) & far)

    def lot(self, sort: Sort, where: _Where) -> tuple[Items, Beside | None]:
        """Return items of a sort, each begun where the good board settled in its range."""
        rows, cols, places = where
        if not rows.any():
            return self._at_rest(sort.number[rows], cols, places), None
        at = self._good_at[cols, places]
        items = self._items(sort.number[rows], cols, places, self._good.chosen(at))
        return items, None if self._first_steps is None else Beside(self._first_steps, self._first_at[at])

    def _at_rest(self, variants: Indices, cols: Indices, places: Indices) -> Items:
        """Return items that begin at rest, or where a board like this one settled."""
        rest = Outcome.at_rest(self._work.good.batch.rows_seen, len(cols))
        items = self._items(variants, cols, places, rest)
        return items if self._begin is None else self._begin.begun(self._work.whole, items)

    def _items(self, variants: Indices, cols: Indices, places: Indices, start: Outcome) -> Items:
        ampere, volt = (self._t.by[name][cols, places] for name in ("ampere", "volt"))
        return Items(
            variants, self._red[cols], self._black[cols], ampere, volt, start.seen, start.holds_current,
            np.zeros(len(cols)),
        )  # fmt: skip


class _Turn:
    """The queue of the readings of one sort."""

    grows = True

    def __init__(self, ranges: _InTurn, table: Table, sort: Sort) -> None:
        self._ranges, self._t, self._sort = ranges, table, sort
        none = np.zeros(0, np.intp)
        self._where: _Where = (none, none, none)  # of all items, those that wait last
        self._begun = 0
        self._failed: list[Indices] = []

    def add(self, where: _Where) -> None:
        """Let readings wait, those that are of the sort."""
        own = np.flatnonzero(self._sort.number[where[0]] >= 0)
        rows, cols, places = (np.concatenate([old, new[own]]) for old, new in zip(self._where, where, strict=True))
        self._where = rows, cols, places

    def solve_most(self, where: _Where) -> _Where:
        """Solve readings, and what comes of them; return the few that are left."""
        self.add(where)
        self._run(_FEW)
        return self._of(np.concatenate([self._taken_failed(), np.arange(self._begun, len(self._where[0]))]))

    def solve(self, where: _Where) -> None:
        """Solve readings, and what comes of them; what the batch cannot solve is left to be read alone."""
        self.add(where)
        batch, leanings = self._sort.batch, self._sort.leanings
        while self._begun < len(self._where[0]):
            self._run(0)
            at = self._taken_failed()
            items, _ = self._ranges.lot(self._sort, self._of(at))
            found = batch.other_ways(items, patient=self._ranges.patient)
            slopes = batch.leanings(items, found, leanings) if self._ranges.lean else np.zeros((0, len(at)))
            rows, cols, _ = self._of(at[~found.solved])
            self._t.alone[rows, cols], self._t.open[rows, cols] = True, False
            solved = np.flatnonzero(found.solved)
            self.settle(at[solved], found.chosen(solved), slopes[:, solved])

    def _run(self, leave: int) -> None:
        leanings = self._sort.leanings if self._ranges.lean else None
        self._sort.batch.run(self, patient=self._ranges.patient, leanings=leanings, leave=leave)

    def _taken_failed(self) -> Indices:
        failed, self._failed = np.concatenate([np.zeros(0, np.intp), *self._failed]), []
        return failed

    def _of(self, at: Indices | slice) -> _Where:
        rows, cols, places = self._where
        return rows[at], cols[at], places[at]

    def more(self, most: int) -> Lot | None:
        """Return the readings that have waited longest."""
        at = np.arange(self._begun, min(len(self._where[0]), self._begun + most))
        if not len(at):
            return None
        self._begun += len(at)
        return Lot(at, *self._ranges.lot(self._sort, self._of(at)))

    def leans(self, at: Indices, volt: Floats) -> Bools:
        """Return which readings end in their range."""
        _, cols, places = self._of(at)
        return np.asarray(volt <= self._t.up_to(cols, places))

    def settle(self, at: Indices, outcome: Outcome, slopes: Floats) -> None:
        """Enter readings; those that overload wait for their next range."""
        rows, cols, places = self._of(at)
        self._t.take(rows, cols, places, outcome, lambda which: slopes[:, which], "in the batch")
        further = self._t.open[rows, cols]
        self.add(self._ranges.proceed(rows[further], cols[further], places[further] + 1))

    def fail(self, at: Indices) -> None:
        """Keep what is to be tried in another way."""
        self._failed.append(at)
