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

from .batch import Batch, Items, Outcome
from .excitation import DiodeTest, Excitation, Ohms
from .faults import Edit, FaultSizes, PartFault, edit_of
from .netlist import Netlist
from .physics import Conditions, on_a_board
from .reading import solve_reading
from .screening import NOTHING, Screen
from .variants import Variants

__all__ = ["EditedReadings", "FaultDictionary", "Probe", "edited_readings", "fault_dictionary"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Progress = Callable[[int, int], None]


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


@dataclass(frozen=True, slots=True)
class EditedReadings:
    """Readings of the board as it is (row 0) and of every edit of it; all arrays are (edits + 1 x probes).

    `value` in the units of the probes' functions, NaN for OL and for what is not `solved`. `held` (edits + 1 x probes
    x ranges) is what each range tried shows, beyond its full scale or not; NaN where its source was at its
    compliance, and for ranges not tried or solved alone.
    """

    value: Floats
    solved: Bools
    held: Floats


def edited_readings(
    netlist: Netlist,
    probes: Iterable[Probe],
    edits: Iterable[Edit],
    conditions: Conditions | None = None,
    *,
    nothing: float = NOTHING,
    alone: bool = True,
) -> EditedReadings:
    """Return what every probe reads on the board as it is and under every edit of it.

    An edit whose parts carry less than `nothing` of the test current leaves a reading where it is: about as much of
    the reading is neglected, more only behind a transistor that conducts. Without `alone`, what the batch cannot do
    is left unsolved but on the board as it is: one such reading may cost as much as a thousand others.

    Raises CircuitError for nets that are not there.
    """
    wanted, changes = tuple(probes), list(edits)
    for probe in wanted:
        netlist.require_nets(probe.red, probe.black)
    work = _Table(netlist, wanted, changes, on_a_board(conditions), None, nothing)
    work.fill(alone=alone)
    rows = np.concatenate([np.zeros(1, np.intp), work.row_of_edit])
    return EditedReadings(work.value[rows], work.solved[rows], work.held[rows])


@dataclass(frozen=True, slots=True)
class _Range:
    """One range of one probe: A, V, what turns volt into the reading and what the leads add, full scale."""

    ampere: float
    volt: float
    factor: float
    leads: float
    full_scale: float


def _ranges(excitation: Excitation) -> tuple[_Range, ...]:
    """Return the direct-current ranges of an excitation; none for the others."""
    match excitation:
        case Ohms(ranges=ranges, lead_resistance_ohm=leads):
            return tuple(
                _Range(
                    r.test_current_a, r.compliance_v - leads * r.test_current_a, 1.0 / r.test_current_a, leads,
                    r.full_scale_ohm,
                )
                for r in ranges
            )  # fmt: skip
        case DiodeTest(ampere, volt, full_scale):
            return (_Range(ampere, volt, 1.0, 0.0, full_scale),)
        case _:
            return ()


class _Table:
    """The readings being filled in: row 0 the good board, then one row per different edit."""

    def __init__(
        self, netlist: Netlist, probes: Sequence[Probe], edits: Sequence[Edit], conditions: Conditions,
        progress: Progress | None, nothing: float = NOTHING,
    ) -> None:  # fmt: skip
        self._nothing = nothing
        different = {edit: row for row, edit in enumerate(dict.fromkeys(edits), 1)}
        self.row_of_edit = np.array([different[edit] for edit in edits], dtype=np.intp)
        self._netlist, self._probes, self._conditions, self._progress = netlist, probes, conditions, progress
        self._edits = (Edit(), *different)
        shape = (len(self._edits), len(probes))
        self.value = np.full(shape, np.nan)
        self.solved = np.zeros(shape, bool)
        self._ranges = [_ranges(probe.excitation) for probe in probes]
        self.held = np.full((*shape, max((len(each) for each in self._ranges), default=0)), np.nan)
        self._open = np.zeros(shape, bool)  # still to be read, in the next range
        self._alone = np.zeros(shape, bool)
        self.counts = {"untouched": 0, "in the batch": 0, "alone": 0, "not solved": 0}
        self._done = 0

    def fill(self, *, alone: bool = True) -> None:
        """Read everything; without `alone` leave out, of edits, what the batch cannot do."""
        direct = np.array([bool(ranges) for ranges in self._ranges], bool)
        self._alone[:, ~direct] = True
        self._open[:, direct] = True
        if direct.any():
            self._fill_direct()
        if not alone:
            self._alone[1:] = False
        self._fill_alone()

    def _fill_direct(self) -> None:
        variants = Variants(self._netlist, self._edits[1:], self._conditions)
        if not variants.at_rest:
            self._alone |= self._open
            return
        self._alone |= self._open & ~variants.fits[:, None]
        self._open &= variants.fits[:, None]
        batch = Batch(variants)
        self._fill_shorted(variants)
        for place in range(max(len(ranges) for ranges in self._ranges)):
            self._fill_range(variants, batch, place)

    def _fill_shorted(self, variants: Variants) -> None:
        """Read probes both of whose leads are on one net."""
        for at, probe in enumerate(self._probes):
            if self._ranges[at] and variants.row_of[probe.red] == variants.row_of[probe.black]:
                rows = np.flatnonzero(self._open[:, at])
                self._note(rows, np.full(len(rows), at), np.full(len(rows), self._ranges[at][0].leads), "untouched")
                self._open[:, at] = False

    def _fill_range(self, variants: Variants, batch: Batch, place: int) -> None:
        """Read what is open in the range at `place` of each probe."""
        columns = np.flatnonzero(self._open.any(axis=0) & np.array([len(r) > place for r in self._ranges]))
        if not len(columns):
            return
        good = batch.solve(self._items(variants, batch, np.zeros(len(columns), np.intp), columns, place, None))
        ampere = np.array([self._ranges[at][place].ampere for at in columns])
        screen = Screen(variants, good, ampere, self._nothing)
        rows, cols = self._moved(screen, columns, good, place)
        if len(rows):
            lookup = np.full(len(self._probes), -1)
            lookup[columns] = np.arange(len(columns))
            start = Outcome(
                good.volt[lookup[cols]], good.holds_current[lookup[cols]], good.seen[:, lookup[cols]],
                good.unknowns[:, :0], good.solved[lookup[cols]],
            )  # fmt: skip
            found = batch.solve(self._items(variants, batch, rows, cols, place, start))
            self._take(rows[found.solved], cols[found.solved], found.volt[found.solved],
                       found.holds_current[found.solved], place, "in the batch")  # fmt: skip
            self._alone[rows[~found.solved], cols[~found.solved]] = True
            self._open[rows[~found.solved], cols[~found.solved]] = False

    def _moved(self, screen: Screen, columns: Indices, good: Outcome, place: int) -> tuple[Indices, Indices]:
        """Settle the readings no fault moves; return rows and columns of the others."""
        rows, cols = [], []
        for row in range(len(self._edits)):
            waiting = self._open[row, columns]
            moved = (screen.moved(row) | ~good.solved) & waiting if row else waiting & ~good.solved
            still = waiting & ~moved
            self._take(np.full(still.sum(), row), columns[still], good.volt[still], good.holds_current[still], place,
                       "untouched")  # fmt: skip
            rows.append(np.full(moved.sum(), row))
            cols.append(columns[moved])
        return np.concatenate(rows), np.concatenate(cols)

    def _items(
        self, variants: Variants, batch: Batch, rows: Indices, cols: Indices, place: int, start: Outcome | None
    ) -> Items:
        chosen = [self._ranges[at][place] for at in cols]
        nothing = np.zeros((batch.rows_seen, len(rows)))
        return Items(
            variant=rows,
            red=np.array([variants.row_of[self._probes[at].red] for at in cols], dtype=np.intp),
            black=np.array([variants.row_of[self._probes[at].black] for at in cols], dtype=np.intp),
            ampere=np.array([r.ampere for r in chosen]),
            volt=np.array([r.volt for r in chosen]),
            start=nothing if start is None else start.seen,
            holds_current=np.zeros(len(rows), bool) if start is None else start.holds_current,
            shunt=np.zeros(len(rows)),
        )

    def _take(self, rows: Indices, cols: Indices, volt: Floats, holds: Bools, place: int, how: str) -> None:
        """Turn port voltages into readings; what overloads waits for the next range."""
        if not len(rows):
            return
        chosen = [self._ranges[at][place] for at in cols]
        last = np.array([len(self._ranges[at]) == place + 1 for at in cols])
        value = volt * np.array([r.factor for r in chosen]) + np.array([r.leads for r in chosen])
        shown = holds & (value <= np.array([r.full_scale for r in chosen]))
        self.held[rows[holds], cols[holds], place] = value[holds]
        ended = shown | last
        self._note(rows[ended], cols[ended], np.where(shown, value, np.nan)[ended], how)
        self._open[rows[ended], cols[ended]] = False

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
