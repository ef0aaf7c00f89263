"""What every reading is under every hypothesis: the fault dictionary, and how good parts spread it.

Direct readings come from the circuit's dictionary in one batch, capacitance and series resistance from one matrix per
fault. A reading a fault does not move keeps the good board's slopes to each device; one that it
moves has the slopes of the resistances where no junction conducts, else a spread of its own size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Capacitor, Device, pins, reconnect
from benchcheck.circuit.dictionary import EditedReadings, Probe, edited_readings
from benchcheck.circuit.excitation import CapacitanceAtFrequency, Esr, Ohms
from benchcheck.circuit.faults import PartFault
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.diagnosis.edits import edits_of, read_edited, switched
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.shots import ALTERNATING, DIRECT, Lead, MeterErrors, Shot, device_pin
from benchcheck.diagnosis.spread import (
    deviations,
    single_junctions,
)
from benchcheck.diagnosis.strays import moved_spread, nearest_step, reactive_strays, strays_table
from benchcheck.errors import CircuitError
from benchcheck.score.model_circuit import excitation_for
from benchcheck.spec.board import Board

__all__ = ["Predictions", "predict", "predict_more", "read_under"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: how far from the end of a range a junction may yet carry a reading into the next, as a ratio.
_EARLY = 0.75
_OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)
#: of the test current, what may be neglected beside a meter's error, in a part that strays.
_STRAYS_NOTHING = 1e-3


@dataclass
class Predictions:
    """Readings by hypothesis and shot (rows x shots), in the functions' units; NaN is OL where they are `known`.

    `held` (rows x shots x ranges): what each range of ohms would show, beyond its end or not, where it was tried.
    `moved`: whether the hypothesis moves the reading. `slopes` (rows x strays x shots) is how each stray of one
    standard deviation moves it, `own` (rows x shots) the standard deviation of what no stray explains; `spread` is
    all of it together. The good board is row 0.
    """

    shots: tuple[Shot, ...]
    mean: Floats
    held: Floats
    known: Bools
    moved: Bools
    slopes: NDArray[np.float32]
    own: Floats
    _limits: Floats | None = None

    @cached_property
    def spread(self) -> Floats:
        """The standard deviation of each reading among units with the same fault."""
        return np.asarray(np.sqrt((self.slopes**2).sum(axis=1) + self.own**2))

    def limits(self, errors: MeterErrors) -> Floats:
        """Return the meter's limit of error at every prediction (rows x shots)."""
        if self._limits is None:
            columns = [
                errors.limit_of_error(shot.function, np.nan_to_num(self.mean[:, at]))
                for at, shot in enumerate(self.shots)
            ]
            self._limits = np.stack(columns, axis=1)
        return self._limits


def predict(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot]
) -> Predictions:
    """Return the predictions of shots under hypotheses of the board, the good board first of them."""
    work = _Work(board, bench, netlist, hypotheses, tuple(shots))
    work.direct()
    work.alternating()
    return work.result()


def predict_more(
    base: Predictions,
    board: Board,
    bench: Bench,
    netlist: Netlist,
    more: Sequence[Hypothesis],
    columns: Sequence[int],
) -> Predictions:
    """Return predictions of some shots of `base` for the good board and more hypotheses.

    What they leave where it was spreads as on the good board; what they move, by its size.
    """
    shots = tuple(base.shots[at] for at in columns)
    work = _Work(board, bench, netlist, more, shots, spread=False)
    work.direct()
    work.alternating()
    found = work.result()
    good = base.mean[0, columns]
    same = np.abs(found.mean - good) <= 1e-3 * np.abs(good) + 1e-12
    same |= np.isnan(found.mean) & np.isnan(good)
    slopes = np.where(same[:, None, :], base.slopes[0][:, columns][None], 0.0)
    errors = MeterErrors(bench)
    own = np.stack([moved_spread(shot.function, found.mean[:, at], errors) for at, shot in enumerate(shots)], axis=1)
    return replace(found, _limits=None, slopes=slopes, own=np.where(same, base.own[0, columns], own))


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
        self._shots, self._errors = shots, MeterErrors(bench)
        rows, columns = len(hypotheses), len(shots)
        self._mean, self._known = np.full((rows, columns), np.nan), np.zeros((rows, columns), bool)
        self._strays = deviations(board, single_junctions(netlist)) if spread else ()
        self._reactive = tuple(reactive_strays(board, netlist)) if spread else ()
        count = 2 * len(self._strays) + 1 + len(self._reactive)
        self._held: Floats | None = None
        self._slopes: NDArray[np.float32] = np.zeros((rows, count, columns), np.float32)
        self._own = np.zeros((rows, columns))

    def result(self) -> Predictions:
        good = self._mean[0]
        size = self._limits(np.where(np.isnan(self._mean), 0.0, self._mean))
        differs = np.abs(self._mean - good) > 0.02 * size
        moved = self._known & (differs | (np.isnan(self._mean) != np.isnan(good)))
        held = np.full((*self._mean.shape, 1), np.nan) if self._held is None else self._held
        return Predictions(self._shots, self._mean, held, self._known, moved, self._slopes, self._own)

    def _limits(self, values: Floats) -> Floats:
        found = np.zeros_like(values)
        for column, shot in enumerate(self._shots):
            found[:, column] = self._errors.limit_of_error(shot.function, values[:, column])
        return found

    # direct current -----------------------------------------------------------------------------------------

    def direct(self) -> None:
        """Fill in ohms and diode mode."""
        for switches in dict.fromkeys(shot.switches for shot in self._shots if shot.function in DIRECT):
            columns = [
                at for at, shot in enumerate(self._shots) if shot.function in DIRECT and shot.switches == switches
            ]
            self._direct_in(switched(self._netlist, switches), columns)

    def _direct_in(self, netlist: Netlist, columns: list[int]) -> None:
        usable = [at for at in columns if excitation_for(self._bench, self._shots[at].function) is not None]
        usable = [at for at in usable if {self._shots[at].red, self._shots[at].black} <= netlist.pins_on.keys()]
        if not usable:
            return
        probes = [self._probe(self._shots[at]) for at in usable]
        apart = self._leads_apart(netlist, usable)
        places = {probe: len(probes) + at for at, probe in enumerate(dict.fromkeys(probe for *_, probe in apart))}
        edits = edits_of(netlist, self._hypotheses)
        found = read_edited(netlist, [_early(probe) for probe in (*probes, *places)], edits, alone=not self._strays)
        functions = [self._shots[at].function for at in usable] + [probe_function(probe) for probe in places]
        value, solved = self._shown(functions, found), found.solved
        self._mean[:, usable], self._known[:, usable] = value[:, : len(probes)], solved[:, : len(probes)]
        if self._held is None:
            self._held = np.full((*self._mean.shape, found.held.shape[2]), np.nan)
        self._held[:, usable] = found.held[:, : len(probes)]
        if self._strays:
            self._stray(netlist, usable, probes)
        for row, at, probe in apart:
            self._set_moved(row, at, float(value[row, places[probe]]), known=bool(solved[row, places[probe]]))
        for at in usable:
            self._lifted(netlist, at)

    def _shown(self, functions: Sequence[Function], found: EditedReadings) -> Floats:
        """Return what the meter shows: the first range that holds the reading."""
        value = found.value.copy()
        for at, function in enumerate(functions):
            if function in _OHMS:
                ends = np.array(self._errors.ceilings(function))
                held = found.held[:, at, : len(ends)]
                fits = held <= ends[: held.shape[1]]
                first = fits.argmax(axis=1)
                shown = np.where(fits.any(axis=1), held[np.arange(len(held)), first], np.nan)
                value[:, at] = np.where(np.isnan(held).all(axis=1), value[:, at], shown)
        return value

    def _set_moved(self, row: int, at: int, value: float, *, known: bool) -> None:
        self._mean[row, at], self._known[row, at] = value, known
        self._slopes[row, :, at] = 0.0
        self._own[row, at] = moved_spread(self._shots[at].function, self._mean[row : row + 1, at], self._errors)[0]

    def _probe(self, shot: Shot) -> Probe:
        excitation = excitation_for(self._bench, shot.function)
        assert excitation is not None
        return Probe(shot.red, shot.black, excitation)

    def _stray(self, netlist: Netlist, columns: list[int], probes: list[Probe]) -> None:
        """Work out how the good board's readings spread; every fault that leaves them there has the same."""
        found = edited_readings(
            single_junctions(netlist), [_early(probe) for probe in probes], [stray.edit for stray in self._strays],
            nothing=_STRAYS_NOTHING, alone=False,
        )  # fmt: skip
        good = self._mean[0, columns]
        steps = nearest_step(found, good)
        tables = strays_table(self._strays, steps, [self._shots[at] for at in columns], good, self._errors)
        size = np.maximum(np.abs(np.nan_to_num(good)), 1e-9)
        same = np.abs(self._mean[:, columns] - good) <= 1e-3 * size
        same |= np.isnan(self._mean[:, columns]) & np.isnan(good)
        block = np.where(same[:, None, :], tables[None], 0.0)
        own = np.where(same, 0.0, self._moved_spread(columns))
        self._resistive(netlist, columns, block, own, same)
        self._slopes[:, : len(tables), columns] = block
        self._own[:, columns] = own

    def _resistive(self, netlist: Netlist, columns: list[int], block: Floats, own: Floats, same: Bools) -> None:
        """Give moved readings in which no junction conducts the slopes of the resistances alone."""
        table = Alternating(netlist, edits_of(netlist, self._hypotheses), 0.0, junctions=False)
        ohmic = [(at, stray) for at, stray in enumerate(self._strays) if not stray.volts]
        strays = [(stray.designator, stray.edit.added[0]) for _, stray in ohmic]
        rows = np.array([at for at, _ in ohmic], dtype=np.intp)
        for place, at in enumerate(columns):
            shot = self._shots[at]
            if shot.function not in _OHMS:
                continue
            seen = table.impedance(shot.red, shot.black).real
            linear = ~same[:, place] & (np.abs(seen - self._mean[:, at]) <= 0.01 * seen + 1e-6)
            moved = table.spread(shot.red, shot.black, strays, esr=True)
            block[np.ix_(np.flatnonzero(linear), rows, np.array([place]))] = moved[linear][:, :, None]
            own[linear, place] = 0.003 * seen[linear]

    def _moved_spread(self, columns: list[int]) -> Floats:
        found = np.zeros((len(self._hypotheses), len(columns)))
        for place, at in enumerate(columns):
            found[:, place] = moved_spread(self._shots[at].function, self._mean[:, at], self._errors)
        return found

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
                self._set_moved(row, at, np.nan if value is None else value, known=True)

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
            if isinstance(excitation, CapacitanceAtFrequency | Esr):
                table = Alternating(netlist, edits_of(netlist, self._hypotheses), excitation.frequency_hz)
                for at in columns:
                    self._alternating_at(table, at, excitation, netlist)

    def _alternating_at(
        self, table: Alternating, at: int, excitation: CapacitanceAtFrequency | Esr, netlist: Netlist
    ) -> None:
        shot = self._shots[at]
        if not {shot.red, shot.black} <= netlist.pins_on.keys():
            return
        if isinstance(excitation, Esr):
            self._mean[:, at] = table.series(shot.red, shot.black, excitation.full_scale_ohm)
        else:
            self._mean[:, at] = table.capacitance(shot.red, shot.black, excitation.full_scale_f)
        readable = table.has_series if isinstance(excitation, Esr) else table.has_capacitance
        self._known[:, at] = readable(shot.red, shot.black)
        first = 2 * len(self._strays) + 1
        moved = table.spread(shot.red, shot.black, self._reactive, esr=isinstance(excitation, Esr))
        self._slopes[:, first:, at] = np.nan_to_num(moved)
