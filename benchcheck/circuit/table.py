"""The readings of a board and of edits of it, being filled in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .driven import driven_ranges, range_table
from .edited import EditedReadings
from .excitation import Excitation
from .faults import Edit
from .items import Outcome
from .leanings import Leaning
from .netlist import Netlist
from .physics import Conditions
from .reading import solve_reading
from .settled import Settled

__all__ = ["Probe", "Progress", "SlopesOf", "Table", "given_way_v"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Progress = Callable[[int, int], None]
SlopesOf = Callable[[Indices], Floats]

#: volts a junction drops more for each factor e of current, beyond what diode mode could drive (common practice)
_GIVES_WAY_V = 0.05
_A_LITTLE_MORE = 1.0 + 1e-9  # than an end: what rounding may add


@dataclass(frozen=True, slots=True)
class Probe:
    """Where the meter's leads are, and what the meter does."""

    red: str
    black: str
    excitation: Excitation


def given_way_v(volt: Floats, delivered: Floats, holds_current: Bools, ampere: Floats) -> tuple[Floats, Floats]:
    """Return the volts diode mode would show without an end, and what turns slopes of ln(volt/ampere) into theirs.

    `ampere` is the test current; where the source gave way, and delivered less, the junction would have dropped more
    with all of it.
    """
    volts = volt + _GIVES_WAY_V * np.log(ampere / np.maximum(delivered, 1e-15))
    return volts, np.where(holds_current, volt, _GIVES_WAY_V)


class Table:
    """The readings being filled in: row 0 the good board, then one row per different edit.

    `ranges` are each probe's, `last` the place of its last one, `by` their numbers (probes x ranges). `open` (rows x
    probes) is what is still to be read, `alone` what takes a solution of its own. `before_ohm` is volt by ampere in
    the last range tried.
    """

    def __init__(
        self, netlist: Netlist, probes: Sequence[Probe], edits: Sequence[Edit], conditions: Conditions,
        progress: Progress | None = None,
    ) -> None:  # fmt: skip
        different = {edit: row for row, edit in enumerate(dict.fromkeys(edits), 1)}
        self.row_of_edit = np.array([different[edit] for edit in edits], dtype=np.intp)
        self.netlist, self.probes, self.conditions, self._progress = netlist, probes, conditions, progress
        self.edits = (Edit(), *different)
        shape = (len(self.edits), len(probes))
        self.value = np.full(shape, np.nan)
        self.solved = np.zeros(shape, bool)
        self.ranges = [driven_ranges(probe.excitation) for probe in probes]
        self.last = np.array([len(each) - 1 for each in self.ranges], np.intp)
        self.by = range_table(self.ranges)
        self.held = np.full((*shape, self.by["ampere"].shape[1]), np.nan)
        self.open, self.alone = np.zeros((2, *shape), bool)
        self.before_ohm = np.zeros(shape)
        self._latent = np.full(shape, np.nan)
        self.slots: tuple[Leaning, ...] = ()
        self._good_slopes = np.zeros((0, len(probes)))
        self._good_place = np.full(len(probes), -1)
        self._entry = np.full(shape, -1, np.int32)
        self._moved_slopes: list[NDArray[np.float32]] = []
        self._entries = 0
        self.settled: Settled | None = None
        self.counts = {"untouched": 0, "in the batch": 0, "alone": 0, "not solved": 0}
        self._done = 0

    def lean_on(self, slots: Sequence[Leaning]) -> None:
        """Keep slopes to these slots."""
        self.slots = tuple(slots)
        self._good_slopes = np.zeros((len(self.slots), len(self.probes)))

    def up_to(self, cols: Indices, places: Indices) -> Floats:
        """Return the volts between the probes up to which readings end in these ranges."""
        by = {name: table[cols, places] for name, table in self.by.items()}
        ends = (by["full_scale"] - by["leads"]) / by["factor"]
        return np.where(self.last[cols] == places, np.inf, ends * _A_LITTLE_MORE)

    def take(
        self, rows: Indices, cols: Indices, places: Indices, found: Outcome, slopes_of: SlopesOf, how: str
    ) -> None:
        """Turn port voltages into readings; what overloads waits for the next range, and needs no slopes.

        `slopes_of` are those of ln(volt/ampere) of some of them; the good board's are taken before those of others.
        """
        volt, holds, ampere = found.volt, found.holds_current, np.maximum(found.ampere, 1e-15)
        self.before_ohm[rows, cols] = volt / ampere
        by = {name: table[cols, places] for name, table in self.by.items()}
        value = volt * by["factor"] + by["leads"]
        shown = holds & (value <= by["full_scale"])
        ended, in_volt = shown | (self.last[cols] == places), by["factor"] == 1.0
        self.held[rows[holds], cols[holds], places[holds]] = value[holds]
        given_way, by_volt = given_way_v(volt, ampere, holds, by["ampere"])
        self._latent[rows, cols] = np.where(in_volt, given_way, volt / ampere + by["leads"])
        if self.slots:
            other = np.flatnonzero(ended & (np.array(how != "untouched") | (self._good_place[cols] != places)))
            if len(other):
                scale = np.where(in_volt, by_volt, 1.0)[other]
                self._keep(rows[other], cols[other], slopes_of(other) * scale, places[other])
        self._note(rows[ended], cols[ended], np.where(shown, value, np.nan)[ended], how)

    def _keep(self, rows: Indices, cols: Indices, slopes: Floats, places: Indices) -> None:
        """Keep the slopes of readings that have ended: the good board's, and those that are not its."""
        if rows[0] == 0:
            self._good_slopes[:, cols], self._good_place[cols] = slopes, places
            return
        self._entry[rows, cols] = self._entries + np.arange(len(rows), dtype=np.int32)
        self._entries += len(rows)
        self._moved_slopes.append(slopes.T.astype(np.float32))

    def short(self, at: int) -> None:
        """Read a probe both of whose leads are on one net."""
        rows = np.flatnonzero(self.open[:, at])
        self._note(rows, np.full(len(rows), at), np.full(len(rows), self.ranges[at][0].leads), "untouched")

    def readings(self) -> EditedReadings:
        """Return all that was filled in, a row for the good board and each different edit."""
        none = np.zeros((0, len(self.slots)), np.float32)
        moved = np.concatenate([none, *self._moved_slopes])
        latent = np.where(np.isnan(self.value), self._latent, self.value)
        return EditedReadings(
            self.value, self.solved, self.held, latent, self.slots, self._good_slopes, moved, self._entry,
            self.settled,
        )  # fmt: skip

    def _note(self, rows: Indices, cols: Indices, values: Floats, how: str) -> None:
        self.value[rows, cols], self.solved[rows, cols], self.open[rows, cols] = values, True, False
        self.counts[how] += len(rows)
        self._tell(len(rows))

    def _tell(self, more: int) -> None:
        self._done += more
        if self._progress is not None and more:
            self._progress(self._done, self.value.size)

    def fill_alone(self) -> None:
        """Solve what is left one by one."""
        for row in np.flatnonzero(self.alone.any(axis=1)):
            edit = self.edits[row]
            kept = (device for device in self.netlist.devices if device.designator not in edit.removed)
            variant = Netlist((*kept, *edit.added))
            for col in np.flatnonzero(self.alone[row]):
                self._read_alone(variant, int(row), int(col))

    def _read_alone(self, variant: Netlist, row: int, col: int) -> None:
        probe = self.probes[col]
        try:
            if not {probe.red, probe.black} <= variant.pins_on.keys():
                value = np.nan  # the fault took the last part off a net: nothing is there to be read
            else:
                shown = solve_reading(variant, probe.red, probe.black, probe.excitation, self.conditions).value
                value = np.nan if shown is None else shown
        except CircuitError:
            self.counts["not solved"] += 1
            self._tell(1)
            return
        self._note(np.array([row]), np.array([col]), np.array([value]), "alone")
