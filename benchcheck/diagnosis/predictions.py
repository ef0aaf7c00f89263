"""What every reading is under every hypothesis: the fault dictionary, and how good parts spread it.

Direct readings come from the circuit's dictionary in one batch with their slopes to every device, capacitance and
series resistance from one matrix per fault. Where a fault leaves a reading alone it has the good board's slopes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Capacitor, Device, pins, reconnect
from benchcheck.circuit.dictionary import edited_readings
from benchcheck.circuit.edited import EditedReadings
from benchcheck.circuit.excitation import Ohms
from benchcheck.circuit.faults import PartFault
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.circuit.settled import Settled
from benchcheck.circuit.table import Probe
from benchcheck.diagnosis.at_frequency import AtFrequency
from benchcheck.diagnosis.edits import edits_of, read_edited, switched
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predicted import (
    BENT_AT,
    MODEL_RATIO,
    MODEL_V,
    Positions,
    Predictions,
    in_range,
    place_shown,
)
from benchcheck.diagnosis.shots import DIRECT, Lead, Shot, device_pin
from benchcheck.diagnosis.spread import COMMON_JUNCTION_V, shifted
from benchcheck.diagnosis.strays import OHMS, moved_spread
from benchcheck.diagnosis.tables import Tables
from benchcheck.errors import CircuitError
from benchcheck.score.model_circuit import excitation_for
from benchcheck.spec.board import Board

__all__ = ["predict", "read_under", "shown_under"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

#: how far from the end of a range a junction may yet carry a reading into the next, as a ratio.
_EARLY = 0.75
#: shifts of all junctions, in volt, at which straight lines are tried: what is off at the small one may always be
_NEAR_V, _FAR_V = 0.022, BENT_AT * COMMON_JUNCTION_V
#: a faulty reading is as bent as the good board's where it is within this factor e of it.
_ALIKE = 2.0


def predict(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
    begin: Mapping[Positions, Settled] | None = None,
) -> Predictions:  # fmt: skip
    """Return the predictions of shots under hypotheses of the board, the good board first of them.

    `begin` is where a board much like it settled (`Predictions.settled`): the same is found, sooner.
    """
    return _filled(Tables(board, bench, netlist, hypotheses, shots, begin=begin)).result()


def read_under(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
    begin: Mapping[Positions, Settled] | None = None,
) -> Floats:  # fmt: skip
    """Return what shots read on a netlist (row 0) and under each further hypothesis; NaN is OL or not solved.

    `begin` is as for `predict`.
    """
    return shown_under(board, bench, netlist, hypotheses, shots, begin)[0]


def shown_under(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
    begin: Mapping[Positions, Settled] | None = None,
) -> tuple[Floats, Indices]:  # fmt: skip
    """Return as `read_under`, and the places of the ranges of ohms they are shown in, -1 for what is in none."""
    found = _filled(Tables(board, bench, netlist, hypotheses, shots, spread=False, begin=begin)).result()
    return found.mean, place_shown(found.mean, found.held)


def _filled(tables: Tables) -> Tables:
    """Fill in direct readings and those at a frequency."""
    _Direct(tables).fill()
    AtFrequency(tables).fill()
    return tables


def _early(probe: Probe) -> Probe:
    """Return the probe with ohms ranges that end earlier than the meter's, so that both sides come to be known."""
    excitation = probe.excitation
    if not isinstance(excitation, Ohms):
        return probe
    ranges = tuple(replace(each, full_scale_ohm=each.full_scale_ohm * _EARLY) for each in excitation.ranges)
    return replace(probe, excitation=replace(excitation, ranges=ranges))


def probe_function(probe: Probe) -> Function:
    """Return ohms for a probe that has ranges of it, else diode mode."""
    return Function.OHMS if isinstance(probe.excitation, Ohms) else Function.DIODE


class _Direct:
    """Readings by direct current, positions of switches one after the other."""

    def __init__(self, tables: Tables) -> None:
        self._t = tables

    def fill(self) -> None:
        """Fill in ohms and diode mode."""
        for switches in dict.fromkeys(shot.switches for shot in self._t.shots if shot.function in DIRECT):
            columns = [
                at for at, shot in enumerate(self._t.shots) if shot.function in DIRECT and shot.switches == switches
            ]
            self._direct_in(switched(self._t.netlist, switches), columns, switches)

    def _direct_in(self, netlist: Netlist, columns: list[int], switches: Positions) -> None:
        usable = [at for at in columns if excitation_for(self._t.bench, self._t.shots[at].function) is not None]
        usable = [at for at in usable if {self._t.shots[at].red, self._t.shots[at].black} <= netlist.pins_on.keys()]
        if not usable:
            return
        probes = [self._probe(self._t.shots[at]) for at in usable]
        apart = self._leads_apart(netlist, usable)
        places = {probe: len(probes) + at for at, probe in enumerate(dict.fromkeys(probe for *_, probe in apart))}
        edits = edits_of(netlist, self._t.hypotheses)
        every = [*map(_early, probes), *places]  # what is read on a lead is not solved again where the unit is
        begin, spread = self._t.begin.get(switches), self._t.spread
        found = read_edited(netlist, every, edits, alone=not spread, leanings=spread, begin=begin)
        if found.settled is not None:
            self._t.settled[switches] = found.settled
        functions = [self._t.shots[at].function for at in usable] + [probe_function(probe) for probe in places]
        value, count = self._shown(functions, found), len(probes)
        latent = np.where(np.isnan(value), found.latent, value)
        self._t.mean[:, usable], self._t.known[:, usable] = value[:, :count], found.solved[:, :count]
        self._t.latent[:, usable] = latent[:, :count]
        self._t.make_room(ranges := found.held.shape[2])
        self._t.held[:, usable, :ranges] = found.held[:, :count]
        entry = self._lean(found, usable) if self._t.spread else found.entry
        if self._t.spread:
            self._bend(netlist, usable, probes, found.settled)
        for row, at, probe in apart:
            place = places[probe]
            self._t.mean[row, at], self._t.known[row, at] = value[row, place], found.solved[row, place]
            self._t.latent[row, at], self._t.held[row, at, :ranges] = latent[row, place], found.held[row, place]
            self._t.entry[row, at], self._t.by_lead[row, at] = entry[row, place], True
        for at in usable:
            self._lifted(netlist, at)

    def _lean(self, found: EditedReadings, usable: list[int]) -> NDArray[np.int32]:
        """Turn slopes to devices into slopes to strays; return the entries of all probes, the good board's too."""
        count, rows = len(usable), len(self._t.hypotheses)
        good = self._t.strays.slopes(found.slots, np.nan_to_num(found.good.T).astype(np.float32))
        self._t.enter_good(usable, good[:count])
        places = self._t.enter(self._t.strays.slopes(found.slots, np.nan_to_num(found.moved)))
        entry = np.where(found.entry >= 0, places[found.entry] if len(places) else -1, -1).astype(np.int32)
        self._t.entry[:, usable] = entry[:, :count]
        entry[:, count:] = np.where(entry[:, count:] < 0, self._t.enter(good[count:])[None], entry[:, count:])
        unknown = np.append(np.isnan(found.moved).any(axis=1), False)[found.entry] & (found.entry >= 0)
        for at, place in enumerate(usable):
            shot = self._t.shots[place]
            self._t.own[:, place] = MODEL_RATIO if shot.function in OHMS else MODEL_V
            if unknown[:, at].any():
                broad = moved_spread(shot.function, found.latent[:, at], self._t.errors)
                self._t.own[:, place] = np.where(unknown[:, at], broad, self._t.own[:, place])
        assert entry.shape[0] == rows
        return entry

    def _bend(self, netlist: Netlist, usable: list[int], probes: list[Probe], begin: Settled | None) -> None:
        """Find how far readings are from straight lines when all junctions are off, and allow for it.

        What a little makes is a stray of its own, for each way: where a leakage comes to carry the test current, it
        does so in all readings on its way.
        """
        slope = self._t.good_slopes(usable, self._t.strays.common) / COMMON_JUNCTION_V
        early = [_early(probe) for probe in probes]
        both = [
            [self._off_line(shifted(netlist, volts), usable, early, slope * volts, begin) for volts in (-size, size)]
            for size in (_NEAR_V, _FAR_V)
        ]
        far = np.abs(both[1]).max(axis=0)
        latent = self._t.latent[:, usable]
        in_ratio = np.array([self._t.shots[at].function in OHMS for at in usable])
        with np.errstate(divide="ignore", invalid="ignore"):
            off = np.where(
                in_ratio, np.log(np.maximum(latent, 1e-9) / np.maximum(latent[0], 1e-9)), 10.0 * (latent - latent[0])
            )
        alike = ~(np.abs(np.nan_to_num(off)) > _ALIKE)
        for name, off in zip(("down", "up"), both[0], strict=True):
            self._t.enter_leak(usable, self._t.strays.bent(name), off, alike)
        self._t.bent[:, usable] = np.where(alike, far, 0.0)

    def _off_line(
        self, netlist: Netlist, usable: list[int], probes: list[Probe], straight: Floats, begin: Settled | None
    ) -> Floats:
        """Return how far the readings of a board are from the good board's and a straight line."""
        found = edited_readings(netlist, probes, [], alone=False, begin=begin)
        functions = [self._t.shots[at].function for at in usable]
        value = self._shown(functions, found)[0]
        seen = np.where(np.isnan(value), found.latent[0], value)
        off = np.zeros(len(usable))
        for at, (column, function) in enumerate(zip(usable, functions, strict=True)):
            place, _ = self._t.errors.ranges_shown(function, value[at])
            there = in_range(place, self._t.latent[:1, column], self._t.held[:1, column])[0]
            if function not in OHMS:
                off[at] = seen[at] - there - straight[at]
            elif seen[at] > 0.0 and there > 0.0:
                off[at] = np.log(seen[at] / there) - straight[at]
        return np.nan_to_num(off)

    def _shown(self, functions: Sequence[Function], found: EditedReadings) -> Floats:
        """Return what the meter shows: the first range that holds the reading."""
        value = found.value.copy()
        for at, function in enumerate(functions):
            if function in OHMS:
                ends = np.array(self._t.errors.ceilings(function))
                held = found.held[:, at, : len(ends)]
                fits = held <= ends[: held.shape[1]]
                first = fits.argmax(axis=1)
                # what was solved by itself, out of the batch, is held in no range
                value[:, at] = np.where(fits.any(axis=1), held[np.arange(len(held)), first], value[:, at])
        return value

    def _set_moved(self, row: int, at: int, value: float) -> None:
        """Enter a reading whose slopes are not known."""
        self._t.mean[row, at] = self._t.latent[row, at] = value
        self._t.held[row, at] = np.nan
        self._t.known[row, at] = self._t.by_lead[row, at] = True
        self._t.entry[row, at] = self._t.enter(np.zeros((1, 1), np.float32))[0]
        self._t.own[row, at] = moved_spread(
            self._t.shots[at].function, self._t.mean[row : row + 1, at], self._t.errors
        )[0]

    def _probe(self, shot: Shot) -> Probe:
        excitation = excitation_for(self._t.bench, shot.function)
        assert excitation is not None
        return Probe(shot.red, shot.black, excitation)

    # a part's own lead ------------------------------------------------------------------------------------------

    def _of_lead(self, lead: Lead | None) -> list[tuple[int, PartFault]]:
        """Return the rows and faults of the part whose lead is touched, none for a tip on a net."""
        if lead is None:
            return []
        every = ((row, fault) for row, one in enumerate(self._t.hypotheses) for fault in one.part_faults)
        return [(row, fault) for row, fault in every if fault.designator == lead.designator]

    def _leads_apart(self, netlist: Netlist, columns: list[int]) -> list[tuple[int, int, Probe]]:
        """Return (row, column, probe) where a fault has the touched lead on another net than its own."""
        found = []
        for at in columns:
            shot, lead = self._t.shots[at], self._t.shots[at].lead
            for row, fault in self._of_lead(lead):
                assert lead is not None
                net = self._elsewhere(netlist.device(fault.designator), fault, lead)
                if net is not None:
                    ends = (net, shot.black) if lead.on_red else (shot.red, net)
                    found.append((row, at, self._probe(replace(shot, red=ends[0], black=ends[1]))))
        return found

    def _elsewhere(self, device: Device, fault: PartFault, lead: Lead) -> str | None:
        """Return the other net the lead is on under this fault, None where it is on its own or on none."""
        pin, connected = device_pin(self._t.board, device, lead), pins(device)
        if fault.code == "reversed":
            return next(net for name, net in connected.items() if name != pin)
        if fault.code == "swapped-pins" and pin in fault.where:
            return next(connected[name] for name in fault.where if name != pin)
        return None

    def _lifted(self, netlist: Netlist, at: int) -> None:
        """Read again where the touched lead hangs on nothing but its own part."""
        shot = self._t.shots[at]
        for row, fault in self._of_lead(shot.lead):
            assert shot.lead is not None
            device = netlist.device(fault.designator)
            pin = device_pin(self._t.board, device, shot.lead)
            if fault.code == "missing-joint" and fault.where == (pin,):
                value = None if isinstance(device, Capacitor) else self._on_lead(netlist, device, pin, shot)
                self._set_moved(row, at, np.nan if value is None else value)

    def _on_lead(self, netlist: Netlist, device: Device, pin: str, shot: Shot) -> float | None:
        """Return the reading with a tip on a lead that is joined to nothing, None for overload."""
        lead, excitation = shot.lead, excitation_for(self._t.bench, shot.function)
        assert lead is not None
        assert excitation is not None
        net = f"{lead.designator}:{lead.pin} lead"
        changed = netlist.replacing(device.designator, reconnect(device, **{pin: net}))
        ends = (net, shot.black) if lead.on_red else (shot.red, net)
        try:
            return solve_reading(changed, *ends, excitation).value
        except CircuitError:
            return None
