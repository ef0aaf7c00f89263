"""What every reading is under every hypothesis: the fault dictionary, and how good parts spread it.

Direct readings come from the circuit's dictionary in one batch with their slopes to every device, capacitance and
series resistance from one matrix per fault. Where a fault leaves a reading alone it has the good board's slopes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Capacitor, Device, pins, reconnect
from benchcheck.circuit.dictionary import Probe, edited_readings
from benchcheck.circuit.edited import EditedReadings
from benchcheck.circuit.excitation import CapacitanceAtFrequency, CapacitanceByCharging, Esr, Ohms
from benchcheck.circuit.faults import PartFault
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.circuit.settled import Settled
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.diagnosis.capacitance import Capacitances, capacitances
from benchcheck.diagnosis.edits import edits_of, read_edited, switched
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predicted import BENT_AT, MODEL_RATIO, MODEL_V, Positions, Predictions, in_range
from benchcheck.diagnosis.shots import ALTERNATING, DIRECT, Lead, MeterErrors, Shot, device_pin
from benchcheck.diagnosis.spread import COMMON_JUNCTION_V, leaking, shifted
from benchcheck.diagnosis.strays import OHMS, Strays, moved_spread
from benchcheck.errors import CircuitError
from benchcheck.score.model_circuit import excitation_for
from benchcheck.spec.board import Board

__all__ = ["predict", "read_under"]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: how far from the end of a range a junction may yet carry a reading into the next, as a ratio.
_EARLY = 0.75
#: a fault that moves a reading at a frequency by less than this share has the good board's slopes
_SAME = 1e-3
#: shifts of all junctions, in volt, at which straight lines are tried: what is off at the small one may always be
_NEAR_V, _FAR_V = 0.022, BENT_AT * COMMON_JUNCTION_V
#: a faulty reading is as bent as the good board's where it is within this factor e of it.
_ALIKE = 2.0
#: of full scale and of the impedance, where series resistance may or may not be shown, and how broad that edge is.
_SERIES_EDGE, _SERIES_BROAD = 0.5, 0.1


def predict(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot]
) -> Predictions:
    """Return the predictions of shots under hypotheses of the board, the good board first of them."""
    work = _Work(board, bench, netlist, hypotheses, tuple(shots))
    work.direct()
    work.alternating()
    return work.result()


def read_under(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot]
) -> Floats:
    """Return what shots read on a netlist (row 0) and under each further hypothesis; NaN is OL or not solved."""
    work = _Work(board, bench, netlist, hypotheses, tuple(shots), spread=False)
    work.direct()
    work.alternating()
    return work.result().mean


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


class _Work:
    """The tables being filled in, positions of switches one after the other."""

    def __init__(
        self, board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: tuple[Shot, ...],
        *, spread: bool = True,
    ) -> None:  # fmt: skip
        self._board, self._bench, self._netlist, self._hypotheses = board, bench, netlist, hypotheses
        self._shots, self._errors, self._spread = shots, MeterErrors(bench), spread
        shape = len(hypotheses), len(shots)
        self._mean, self._latent, self._known = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, bool)
        self._strays = Strays(board, netlist)
        self._reactive = self._strays.reactive()
        self._held: Floats = np.full((*shape, 1), np.nan)
        self._good: list[tuple[Sequence[int], Floats32]] = []  # columns, slopes (columns x strays)
        self._leaks: list[tuple[list[int], int, Floats, Bools]] = []  # columns, stray, slopes, which rows have them
        self._slopes: list[Floats32] = []
        self._entries = 0
        self._settled: dict[Positions, Settled] = {}
        self._entry = np.full(shape, -1, np.int32)
        self._own, self._bent, self._by_lead = np.zeros(shape), np.zeros(shape), np.zeros(shape, bool)

    def result(self) -> Predictions:
        count = len(self._strays)
        good = np.zeros((len(self._shots), count))
        for columns, slopes in self._good:
            good[list(columns), : slopes.shape[1]] = slopes
        slopes = np.zeros((self._entries, count), np.float32)
        begin = 0
        for block in self._slopes:
            slopes[begin : begin + len(block), : block.shape[1]] = block
            begin += len(block)
        for columns, stray, off, alike in self._leaks:
            good[columns, stray] = off
            entry = np.where(alike, self._entry[:, columns], -1)
            slopes[entry[entry >= 0], stray] = np.broadcast_to(off, entry.shape)[entry >= 0]
        return Predictions(
            self._shots, self._mean, self._latent, self._held, self._known, good.T.copy(), slopes, self._entry,
            self._own, self._bent, self._by_lead, self._strays, self._settled,
        )  # fmt: skip

    def _enter(self, slopes: Floats32) -> NDArray[np.int32]:
        """Keep slopes (entries x strays) and return their places."""
        places = self._entries + np.arange(len(slopes), dtype=np.int32)
        self._slopes.append(slopes)
        self._entries += len(slopes)
        return places

    # direct current -----------------------------------------------------------------------------------------

    def direct(self) -> None:
        """Fill in ohms and diode mode."""
        for switches in dict.fromkeys(shot.switches for shot in self._shots if shot.function in DIRECT):
            columns = [
                at for at, shot in enumerate(self._shots) if shot.function in DIRECT and shot.switches == switches
            ]
            self._direct_in(switched(self._netlist, switches), columns, switches)

    def _direct_in(self, netlist: Netlist, columns: list[int], switches: Positions) -> None:
        usable = [at for at in columns if excitation_for(self._bench, self._shots[at].function) is not None]
        usable = [at for at in usable if {self._shots[at].red, self._shots[at].black} <= netlist.pins_on.keys()]
        if not usable:
            return
        probes = [self._probe(self._shots[at]) for at in usable]
        apart = self._leads_apart(netlist, usable)
        places = {probe: len(probes) + at for at, probe in enumerate(dict.fromkeys(probe for *_, probe in apart))}
        edits = edits_of(netlist, self._hypotheses)
        every = [_early(probe) for probe in (*probes, *places)]
        found = read_edited(netlist, every, edits, alone=not self._spread, leanings=self._spread)
        if found.settled is not None:
            self._settled[switches] = found.settled
        functions = [self._shots[at].function for at in usable] + [probe_function(probe) for probe in places]
        value, count = self._shown(functions, found), len(probes)
        self._mean[:, usable], self._known[:, usable] = value[:, :count], found.solved[:, :count]
        self._latent[:, usable] = np.where(np.isnan(value), found.latent, value)[:, :count]
        self._make_room(ranges := found.held.shape[2])
        self._held[:, usable, :ranges] = found.held[:, :count]
        entry = self._lean(found, usable) if self._spread else found.entry
        if self._spread:
            self._bend(netlist, usable, probes, found.settled)
        for row, at, probe in apart:
            place = places[probe]
            self._mean[row, at], self._known[row, at] = value[row, place], found.solved[row, place]
            self._latent[row, at] = found.latent[row, place]
            self._entry[row, at], self._held[row, at] = entry[row, place], np.nan
            self._by_lead[row, at] = True
        for at in usable:
            self._lifted(netlist, at)

    def _make_room(self, ranges: int) -> None:
        """Have room for readings in so many ranges: with switches in other positions there may be more of them."""
        more = ranges - self._held.shape[2]
        if more > 0:
            self._held = np.concatenate([self._held, np.full((*self._mean.shape, more), np.nan)], axis=2)

    def _lean(self, found: EditedReadings, usable: list[int]) -> NDArray[np.int32]:
        """Turn slopes to devices into slopes to strays; return the entries of all probes, the good board's too."""
        count, rows = len(usable), len(self._hypotheses)
        good = self._strays.slopes(found.slots, np.nan_to_num(found.good.T).astype(np.float32))
        self._good.append((usable, good[:count]))
        places = self._enter(self._strays.slopes(found.slots, np.nan_to_num(found.moved)))
        entry = np.where(found.entry >= 0, places[found.entry] if len(places) else -1, -1).astype(np.int32)
        self._entry[:, usable] = entry[:, :count]
        entry[:, count:] = np.where(entry[:, count:] < 0, self._enter(good[count:])[None], entry[:, count:])
        unknown = np.append(np.isnan(found.moved).any(axis=1), False)[found.entry] & (found.entry >= 0)
        for at, place in enumerate(usable):
            shot = self._shots[place]
            self._own[:, place] = MODEL_RATIO if shot.function in OHMS else MODEL_V
            if unknown[:, at].any():
                broad = moved_spread(shot.function, found.latent[:, at], self._errors)
                self._own[:, place] = np.where(unknown[:, at], broad, self._own[:, place])
        assert entry.shape[0] == rows
        return entry

    def _bend(self, netlist: Netlist, usable: list[int], probes: list[Probe], begin: Settled | None) -> None:
        """Find how far readings are from straight lines when all junctions are off, and allow for it.

        What a little makes is a stray of its own, for each way: where a leakage comes to carry the test current, it
        does so in all readings on its way.
        """
        slope: Floats = np.zeros(len(usable))
        for columns, slopes in self._good:
            if list(columns) == usable:
                slope = np.asarray(slopes[:, self._strays.common], np.float64) / COMMON_JUNCTION_V
        early = [_early(probe) for probe in probes]
        both = [
            [self._off_line(shifted(netlist, volts), usable, early, slope * volts, begin) for volts in (-size, size)]
            for size in (_NEAR_V, _FAR_V)
        ]
        far = np.abs(both[1]).max(axis=0)
        latent = self._latent[:, usable]
        in_ratio = np.array([self._shots[at].function in OHMS for at in usable])
        with np.errstate(divide="ignore", invalid="ignore"):
            off = np.where(
                in_ratio, np.log(np.maximum(latent, 1e-9) / np.maximum(latent[0], 1e-9)), 10.0 * (latent - latent[0])
            )
        alike = ~(np.abs(np.nan_to_num(off)) > _ALIKE)
        for name, off in zip(("down", "up"), both[0], strict=True):
            self._leaks.append((usable, self._strays.bent(name), off, alike))
        self._bent[:, usable] = np.where(alike, far, 0.0)

    def _off_line(
        self, netlist: Netlist, usable: list[int], probes: list[Probe], straight: Floats, begin: Settled | None
    ) -> Floats:
        """Return how far the readings of a board are from the good board's and a straight line."""
        found = edited_readings(netlist, probes, [], alone=False, begin=begin)
        functions = [self._shots[at].function for at in usable]
        value = self._shown(functions, found)[0]
        seen = np.where(np.isnan(value), found.latent[0], value)
        off = np.zeros(len(usable))
        for at, (column, function) in enumerate(zip(usable, functions, strict=True)):
            there = in_range(value[at], function, self._latent[:1, column], self._held[:1, column], self._errors)[0]
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
                ends = np.array(self._errors.ceilings(function))
                held = found.held[:, at, : len(ends)]
                fits = held <= ends[: held.shape[1]]
                first = fits.argmax(axis=1)
                shown = np.where(fits.any(axis=1), held[np.arange(len(held)), first], np.nan)
                value[:, at] = np.where(np.isnan(held).all(axis=1), value[:, at], shown)
        return value

    def _set_moved(self, row: int, at: int, value: float) -> None:
        """Enter a reading whose slopes are not known."""
        self._mean[row, at] = self._latent[row, at] = value
        self._known[row, at] = self._by_lead[row, at] = True
        self._entry[row, at] = self._enter(np.zeros((1, 1), np.float32))[0]
        self._own[row, at] = moved_spread(self._shots[at].function, self._mean[row : row + 1, at], self._errors)[0]

    def _probe(self, shot: Shot) -> Probe:
        excitation = excitation_for(self._bench, shot.function)
        assert excitation is not None
        return Probe(shot.red, shot.black, excitation)

    # a part's own lead ------------------------------------------------------------------------------------------

    def _of_lead(self, lead: Lead | None) -> list[tuple[int, PartFault]]:
        """Return the rows and faults of the part whose lead is touched, none for a tip on a net."""
        if lead is None:
            return []
        every = ((row, fault) for row, one in enumerate(self._hypotheses) for fault in one.part_faults)
        return [(row, fault) for row, fault in every if fault.designator == lead.designator]

    def _leads_apart(self, netlist: Netlist, columns: list[int]) -> list[tuple[int, int, Probe]]:
        """Return (row, column, probe) where a fault has the touched lead on another net than its own."""
        found = []
        for at in columns:
            shot, lead = self._shots[at], self._shots[at].lead
            for row, fault in self._of_lead(lead):
                assert lead is not None
                net = self._elsewhere(netlist.device(fault.designator), fault, lead)
                if net is not None:
                    ends = (net, shot.black) if lead.on_red else (shot.red, net)
                    found.append((row, at, self._probe(replace(shot, red=ends[0], black=ends[1]))))
        return found

    def _elsewhere(self, device: Device, fault: PartFault, lead: Lead) -> str | None:
        """Return the other net the lead is on under this fault, None where it is on its own or on none."""
        pin, connected = device_pin(self._board, device, lead), pins(device)
        if fault.code == "reversed":
            return next(net for name, net in connected.items() if name != pin)
        if fault.code == "swapped-pins" and pin in fault.where:
            return next(connected[name] for name in fault.where if name != pin)
        return None

    def _lifted(self, netlist: Netlist, at: int) -> None:
        """Read again where the touched lead hangs on nothing but its own part."""
        shot = self._shots[at]
        for row, fault in self._of_lead(shot.lead):
            assert shot.lead is not None
            device = netlist.device(fault.designator)
            pin = device_pin(self._board, device, shot.lead)
            if fault.code == "missing-joint" and fault.where == (pin,):
                value = None if isinstance(device, Capacitor) else self._on_lead(netlist, device, pin, shot)
                self._set_moved(row, at, np.nan if value is None else value)

    def _on_lead(self, netlist: Netlist, device: Device, pin: str, shot: Shot) -> float | None:
        """Return the reading with a tip on a lead that is joined to nothing, None for overload."""
        lead, excitation = shot.lead, excitation_for(self._bench, shot.function)
        assert lead is not None
        assert excitation is not None
        net = f"{lead.designator}:{lead.pin} lead"
        changed = netlist.replacing(device.designator, reconnect(device, **{pin: net}))
        ends = (net, shot.black) if lead.on_red else (shot.red, net)
        try:
            return solve_reading(changed, *ends, excitation).value
        except CircuitError:
            return None

    # at a frequency -----------------------------------------------------------------------------------------------

    def alternating(self) -> None:
        """Fill in capacitance and series resistance."""
        wanted = [at for at, shot in enumerate(self._shots) if shot.function in ALTERNATING]
        for function, switches in dict.fromkeys(
            (self._shots[at].function, self._shots[at].switches) for at in wanted
        ):
            columns = [
                at for at in wanted if (self._shots[at].function, self._shots[at].switches) == (function, switches)
            ]
            netlist = switched(self._netlist, switches)
            excitation = excitation_for(self._bench, function)
            edits = edits_of(netlist, self._hypotheses)
            columns = [at for at in columns if {self._shots[at].red, self._shots[at].black} <= netlist.pins_on.keys()]
            others = [leaking(netlist, by) for by in (-1.0, 1.0)] if self._spread else []
            if isinstance(excitation, Esr):
                by_frequency = Alternating(netlist, edits, excitation.frequency_hz)
                leaky = [Alternating(each, (), excitation.frequency_hz) for each in others]
                for at in columns:
                    self._series_at(by_frequency, at, excitation)
                    ends = self._shots[at].red, self._shots[at].black
                    self._leak_at(at, [each.series(*ends, excitation.full_scale_ohm)[0] for each in leaky])
            elif isinstance(excitation, CapacitanceAtFrequency | CapacitanceByCharging):
                table, full_scale_f = capacitances(netlist, edits, excitation)
                at_frequency = isinstance(excitation, CapacitanceAtFrequency)
                tables = [capacitances(each, (), excitation)[0] for each in others] if at_frequency else []
                for at in columns:
                    self._capacitance_at(table, at, full_scale_f)
                    ends = self._shots[at].red, self._shots[at].black
                    self._leak_at(at, [each.capacitance(*ends, full_scale_f)[0] for each in tables])

    def _leak_at(self, at: int, read: Sequence[float]) -> None:
        """Allow for what junctions that pass more or less at rest make of a reading at a frequency."""
        mean = np.nan_to_num(self._mean[:, at])
        off = np.abs(np.nan_to_num(read) - mean[0]).max(initial=0.0)
        if off > 0.0:
            share = np.minimum(np.abs(mean / mean[0]), 1.0) if mean[0] else 1.0
            self._own[:, at] = np.hypot(self._own[:, at], off * share)

    def _capacitance_at(self, table: Capacitances, at: int, full_scale_f: float) -> None:
        shot = self._shots[at]
        self._mean[:, at] = self._latent[:, at] = table.capacitance(shot.red, shot.black, full_scale_f)
        self._known[:, at] = table.has_capacitance(shot.red, shot.black)
        if self._spread:
            strays = [(one.designator, one.strayed) for one in self._reactive]
            self._lean_reactive(at, np.nan_to_num(table.spread(shot.red, shot.black, strays, esr=False)))

    def _series_at(self, table: Alternating, at: int, excitation: Esr) -> None:
        shot = self._shots[at]
        self._mean[:, at] = table.series(shot.red, shot.black, excitation.full_scale_ohm)
        size = table.beyond(shot.red, shot.black)
        self._latent[:, at] = np.where(np.isnan(self._mean[:, at]), size, self._mean[:, at])
        edge = (size > _SERIES_EDGE * excitation.full_scale_ohm) & (size < 1e6)
        self._own[:, at] = np.where(edge, _SERIES_BROAD * size, 0.0)
        self._known[:, at] = table.has_series(shot.red, shot.black)
        if self._spread:
            strays = [(one.designator, one.strayed) for one in self._reactive]
            self._lean_reactive(at, np.nan_to_num(table.spread(shot.red, shot.black, strays, esr=True)))

    def _lean_reactive(self, at: int, moved: Floats) -> None:
        """Enter slopes at a frequency (rows x reactive strays)."""
        by_stray = np.zeros((len(moved), len(self._strays)), np.float32)
        by_stray[:, [one.place for one in self._reactive]] = moved
        self._good.append(([at], by_stray[:1]))
        size = np.abs(by_stray[0]).max() + _SAME * abs(np.nan_to_num(self._mean[0, at]))
        other = np.flatnonzero(np.abs(by_stray - by_stray[0]).max(axis=1) > _SAME * size)
        self._entry[other, at] = self._enter(by_stray[other])
