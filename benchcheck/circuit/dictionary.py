"""The fault dictionary: what every probe pair reads under every fault.

Three ways, cheapest first. A reading in which the fault's parts carry nothing stays what it was. The others go
through the batch, starting from the good board's solution. What the batch cannot do (power on the board, a circuit
that does not arrive, capacitance and series resistance) is solved alone. How each was found is counted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .batch import Items, Outcome
from .driven import driven_ranges, range_table
from .edited import EditedReadings
from .excitation import Excitation
from .faults import Edit, FaultSizes, PartFault, edit_of
from .leanings import Leaning
from .netlist import Netlist
from .physics import Conditions, on_a_board
from .reading import solve_reading
from .screening import NOTHING, Screen
from .settled import Settled
from .sorted_variants import SortedVariants
from .variants import Variants

__all__ = ["FaultDictionary", "Probe", "edited_readings", "fault_dictionary"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Progress = Callable[[int, int], None]
_SlopesOf = Callable[[Indices], Floats]

#: a reading beyond so many times a range's end before, as the good board's is in it, needs no look at that range
_FAR = 4.0
#: volts a junction drops more for each factor e of current, beyond what diode mode could drive (common practice)
_GIVES_WAY_V = 0.05
_NO_SLOPES = np.zeros((0, 0))


@dataclass(frozen=True, slots=True)
class Probe:
    """Where the meter's leads are, and what the meter does."""

    red: str
    black: str
    excitation: Excitation


@dataclass(frozen=True, slots=True)
class FaultDictionary:
    """Readings by fault and probe, in the units of the probes' functions; NaN stands for OL.

    `good` (probes), `readings` and `solved` (faults x probes); what is not solved is NaN too and no OL.
    `counts`: how many readings were untouched, solved in the batch, solved alone, and could not be solved.
    """

    probes: tuple[Probe, ...]
    faults: tuple[PartFault, ...]
    good: Floats
    readings: Floats
    solved: Bools
    counts: dict[str, int]

    def reading(self, fault: int, probe: int) -> float | None:
        """Return one reading, None for OL; raises CircuitError where it could not be solved."""
        if not self.solved[fault, probe]:
            where = self.probes[probe]
            raise CircuitError(
                f"{self.faults[fault]}: the reading from {where.red} to {where.black} cannot be solved"
            )
        value = float(self.readings[fault, probe])
        return None if np.isnan(value) else value


def fault_dictionary(
    netlist: Netlist,
    probes: Iterable[Probe],
    faults: Iterable[PartFault],
    conditions: Conditions | None = None,
    *,
    sizes: FaultSizes | None = None,
    progress: Progress | None = None,
) -> FaultDictionary:
    """Return what every probe reads on the good board and under every fault.

    `progress` is called with readings done and readings in all. Raises CircuitError for nets and parts that are not
    there and faults a part cannot have.

    The time is: the good board once, then per moved reading about ten eliminations whose operations grow with the
    parts (not with their cube, boards being sparse), and per fault one look at all probes.
    """
    wanted, known = tuple(probes), tuple(faults)
    for probe in wanted:
        netlist.require_nets(probe.red, probe.black)
    edits = [edit_of(netlist, fault, sizes or FaultSizes()) for fault in known]
    work = _Table(netlist, wanted, edits, on_a_board(conditions), progress)
    work.fill()
    rows = work.row_of_edit
    return FaultDictionary(wanted, known, work.value[0], work.value[rows], work.solved[rows], dict(work.counts))


def edited_readings(
    netlist: Netlist,
    probes: Iterable[Probe],
    edits: Iterable[Edit],
    conditions: Conditions | None = None,
    *,
    nothing: float = NOTHING,
    alone: bool = True,
    leanings: bool = False,
    begin: Settled | None = None,
) -> EditedReadings:
    """Return what every probe reads on the board as it is and under every edit of it.

    An edit whose parts carry less than `nothing` of the test current leaves a reading where it is: about as much of
    the reading is neglected, more only behind a transistor that conducts. Without `alone`, what the batch cannot do
    is left unsolved but on the board as it is: one such reading may cost as much as a thousand others. `begin` is
    where a board much like this one settled.

    Raises CircuitError for nets that are not there.
    """
    wanted, changes = tuple(probes), list(edits)
    for probe in wanted:
        netlist.require_nets(probe.red, probe.black)
    work = _Table(netlist, wanted, changes, on_a_board(conditions), None, nothing, leanings=leanings, begin=begin)
    work.fill(alone=alone)
    return work.readings().of_rows(np.concatenate([np.zeros(1, np.intp), work.row_of_edit]))


def given_way_v(volt: Floats, delivered: Floats, holds_current: Bools, ampere: Floats) -> tuple[Floats, Floats]:
    """Return the volts diode mode would show without an end, and what turns slopes of ln(volt/ampere) into theirs.

    `ampere` is the test current; where the source gave way, and delivered less, the junction would have dropped more
    with all of it.
    """
    volts = volt + _GIVES_WAY_V * np.log(ampere / np.maximum(delivered, 1e-15))
    return volts, np.where(holds_current, volt, _GIVES_WAY_V)


class _Table:
    """The readings being filled in: row 0 the good board, then one row per different edit."""

    def __init__(
        self, netlist: Netlist, probes: Sequence[Probe], edits: Sequence[Edit], conditions: Conditions,
        progress: Progress | None, nothing: float = NOTHING, *, leanings: bool = False, begin: Settled | None = None,
    ) -> None:  # fmt: skip
        self._nothing, self._lean, self._begin = nothing, leanings, begin
        self._settled: Settled | None = None
        different = {edit: row for row, edit in enumerate(dict.fromkeys(edits), 1)}
        self.row_of_edit = np.array([different[edit] for edit in edits], dtype=np.intp)
        self._netlist, self._probes, self._conditions, self._progress = netlist, probes, conditions, progress
        self._edits = (Edit(), *different)
        shape = (len(self._edits), len(probes))
        self.value = np.full(shape, np.nan)
        self.solved = np.zeros(shape, bool)
        self._ranges = [driven_ranges(probe.excitation) for probe in probes]
        self._last = np.array([len(each) - 1 for each in self._ranges], np.intp)
        self._by = range_table(self._ranges)
        self.held = np.full((*shape, self._by["ampere"].shape[1]), np.nan)
        self._open = np.zeros(shape, bool)  # still to be read, in the next range
        self._alone = np.zeros(shape, bool)
        self._before_ohm = np.zeros(shape)  # volt by ampere in the last range tried
        self._latent = np.full(shape, np.nan)
        self._slots: tuple[Leaning, ...] = ()
        self._good_slopes = np.zeros((0, len(probes)))
        self._good_place = np.full(len(probes), -1)
        self._entry = np.full(shape, -1, np.int32)
        self._moved_slopes: list[NDArray[np.float32]] = []
        self._entries = 0
        self.counts = {"untouched": 0, "in the batch": 0, "alone": 0, "not solved": 0}
        self._done = 0

    def fill(self, *, alone: bool = True) -> None:
        """Read everything; without `alone` leave out, of edits, what the batch cannot do."""
        direct = self._last >= 0
        self._alone[:, ~direct] = True
        self._open[:, direct] = True
        if direct.any():
            self._fill_direct(alone=alone)
        if not alone:
            self._alone[1:] = False
        self._fill_alone()

    def _fill_direct(self, *, alone: bool) -> None:
        work = SortedVariants(self._netlist, self._edits[1:], self._conditions)
        variants = work.whole
        if not variants.at_rest:
            self._alone |= self._open
            return
        self._alone |= self._open & ~variants.fits[:, None]
        self._open &= variants.fits[:, None]
        if self._lean:
            self._slots = work.slots
            self._good_slopes = np.zeros((len(self._slots), len(self._probes)))
        self._fill_shorted(variants)
        self._solve_good(work, patient=alone or self._lean)
        for place in range(self.held.shape[2]):
            self._fill_range(work, place, patient=alone)

    def _fill_shorted(self, variants: Variants) -> None:
        """Read probes both of whose leads are on one net."""
        for at, probe in enumerate(self._probes):
            if self._ranges[at] and variants.row_of[probe.red] == variants.row_of[probe.black]:
                rows = np.flatnonzero(self._open[:, at])
                self._note(rows, np.full(len(rows), at), np.full(len(rows), self._ranges[at][0].leads), "untouched")
                self._open[:, at] = False

    def _solve_good(self, work: SortedVariants, *, patient: bool) -> None:
        """Solve the good board in every range of every probe at once, with slopes where they are asked for."""
        every = [
            (at, place)
            for at, ranges in enumerate(self._ranges)
            if self._open[:, at].any()
            for place in range(len(ranges))
        ]
        cols = np.array([at for at, _ in every], dtype=np.intp)
        places = np.array([place for _, place in every], dtype=np.intp)
        items = self._items(work, np.zeros(len(every), np.intp), cols, places, None)
        items = items if self._begin is None else self._begin.begun(work.whole, items)
        self._good = work.solve(items, patient=patient)
        self._settled = Settled.of(work.whole, [(items, self._good)])
        self._good_leanings = work.leanings(items, self._good) if self._lean else _NO_SLOPES
        self._good_at = {pair: at for at, pair in enumerate(every)}

    def _fill_range(self, work: SortedVariants, place: int, *, patient: bool) -> None:
        """Read what is open in the range at `place` of each probe."""
        columns = np.flatnonzero(self._open.any(axis=0) & (self._last >= place))
        if not len(columns):
            return
        which = np.array([self._good_at[int(at), place] for at in columns], dtype=np.intp)
        good = self._good.chosen(which)
        ampere = self._by["ampere"][columns, place]
        screen = Screen(work.whole, good, ampere, self._nothing)
        rows, cols = self._moved(screen, columns, good, lambda at: self._good_leanings[:, which[at]], place)
        if len(rows):
            lookup = np.full(len(self._probes), -1)
            lookup[columns] = np.arange(len(columns))
            start = good.chosen(lookup[cols])
            items = self._items(work, rows, cols, np.full(len(cols), place), start)
            found = work.solve(items, patient=patient)

            def slopes_of(which: Indices) -> Floats:
                return work.leanings(items.chosen(which), found.chosen(which))

            solved = np.flatnonzero(found.solved)
            self._take(rows[solved], cols[solved], found, slopes_of, solved, place, "in the batch")
            self._alone[rows[~found.solved], cols[~found.solved]] = True
            self._open[rows[~found.solved], cols[~found.solved]] = False

    def _moved(
        self, screen: Screen, columns: Indices, good: Outcome, slopes_of: _SlopesOf, place: int
    ) -> tuple[Indices, Indices]:
        """Settle the readings no fault moves; return rows and columns of the others."""
        waiting = self._open[:, columns] & ~self._beyond(columns, place, good)
        none = np.zeros(len(columns), bool)
        moved = np.array([screen.moved(row) if row else none for row in range(len(self._edits))]) | ~good.solved
        for rows in (slice(0, 1), slice(1, None)):  # the good board's slopes before those that are not its
            row, at = np.nonzero((waiting & ~moved)[rows])
            self._take(row + rows.start, columns[at], good, slopes_of, at, place, "untouched")
        row, at = np.nonzero(waiting & moved)
        return row, columns[at]

    def _beyond(self, columns: Indices, place: int, good: Outcome) -> Bools:
        """Return which readings lie far beyond the end of the range at `place`, their last one not.

        More current shows more ohms where a junction's leakage is all there is, fewer elsewhere: a reading far beyond
        with the current before says nothing of one where the good board's, solved in every range, is not.
        """
        ends = np.where(self._last[columns] == place, np.inf, self._by["full_scale"][columns, place])
        far = good.volt / np.maximum(good.ampere, 1e-15) > _FAR * ends
        beyond: Bools = (self._before_ohm[:, columns] > _FAR * ends) & far
        beyond[0] = False
        return beyond

    def _items(
        self, work: SortedVariants, rows: Indices, cols: Indices, places: Indices, start: Outcome | None
    ) -> Items:
        nothing, row_of = np.zeros((work.rows_seen, len(rows))), work.whole.row_of
        ends = np.array([(row_of[probe.red], row_of[probe.black]) for probe in self._probes], np.intp)
        return Items(
            variant=rows,
            red=ends[cols, 0],
            black=ends[cols, 1],
            ampere=self._by["ampere"][cols, places],
            volt=self._by["volt"][cols, places],
            start=nothing if start is None else start.seen,
            holds_current=np.zeros(len(rows), bool) if start is None else start.holds_current,
            shunt=np.zeros(len(rows)),
        )

    def _take(
        self, rows: Indices, cols: Indices, found: Outcome, slopes_of: _SlopesOf, which: Indices, place: int, how: str
    ) -> None:
        """Turn some port voltages into readings; what overloads waits for the next range, and needs no slopes."""
        if not len(rows):
            return
        volt, holds, ampere = found.volt[which], found.holds_current[which], np.maximum(found.ampere[which], 1e-15)
        self._before_ohm[rows, cols] = volt / ampere
        by = {name: table[cols, place] for name, table in self._by.items()}
        value = volt * by["factor"] + by["leads"]
        shown = holds & (value <= by["full_scale"])
        self.held[rows[holds], cols[holds], place] = value[holds]
        ended, in_volt = shown | (self._last[cols] == place), by["factor"] == 1.0
        given_way, by_volt = given_way_v(volt, ampere, holds, by["ampere"])
        self._latent[rows, cols] = np.where(in_volt, given_way, volt / ampere + by["leads"])
        if self._lean:
            other = np.flatnonzero(ended & (np.array(how != "untouched") | (self._good_place[cols] != place)))
            if len(other):
                scale = np.where(in_volt, by_volt, 1.0)[other]
                self._keep(rows[other], cols[other], slopes_of(which[other]) * scale, place)
        self._note(rows[ended], cols[ended], np.where(shown, value, np.nan)[ended], how)
        self._open[rows[ended], cols[ended]] = False

    def _keep(self, rows: Indices, cols: Indices, slopes: Floats, place: int) -> None:
        """Keep the slopes of readings that have ended: the good board's, and those that are not its."""
        if rows[0] == 0:
            self._good_slopes[:, cols], self._good_place[cols] = slopes, place
            return
        self._entry[rows, cols] = self._entries + np.arange(len(rows), dtype=np.int32)
        self._entries += len(rows)
        self._moved_slopes.append(slopes.T.astype(np.float32))

    def readings(self) -> EditedReadings:
        """Return all that was filled in, a row for the good board and each different edit."""
        none = np.zeros((0, len(self._slots)), np.float32)
        moved = np.concatenate([none, *self._moved_slopes])
        latent = np.where(np.isnan(self.value), self._latent, self.value)
        return EditedReadings(
            self.value, self.solved, self.held, latent, self._slots, self._good_slopes, moved, self._entry,
            self._settled,
        )  # fmt: skip

    def _note(self, rows: Indices, cols: Indices, values: Floats, how: str) -> None:
        self.value[rows, cols], self.solved[rows, cols] = values, True
        self.counts[how] += len(rows)
        self._tell(len(rows))

    def _tell(self, more: int) -> None:
        self._done += more
        if self._progress is not None and more:
            self._progress(self._done, self.value.size)

    def _fill_alone(self) -> None:
        """Solve what is left one by one."""
        for row in np.flatnonzero(self._alone.any(axis=1)):
            edit = self._edits[row]
            kept = (device for device in self._netlist.devices if device.designator not in edit.removed)
            variant = Netlist((*kept, *edit.added))
            for col in np.flatnonzero(self._alone[row]):
                self._read_alone(variant, int(row), int(col))

    def _read_alone(self, variant: Netlist, row: int, col: int) -> None:
        probe = self._probes[col]
        try:
            if not {probe.red, probe.black} <= variant.pins_on.keys():
                value = np.nan  # the fault took the last part off a net: nothing is there to be read
            else:
                shown = solve_reading(variant, probe.red, probe.black, probe.excitation, self._conditions).value
                value = np.nan if shown is None else shown
        except CircuitError:
            self.counts["not solved"] += 1
            self._tell(1)
            return
        self._note(np.array([row]), np.array([col]), np.array([value]), "alone")
