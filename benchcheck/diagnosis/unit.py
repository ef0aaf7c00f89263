"""The board moved to where a unit on the bench seems to be: values and forward voltages as its readings say.

What good parts stray by shifts leakages by factors, and no straight line follows that. So the circuit is solved again
with parts strayed as fitted, each reading in the range the meter showed it in; the next fit starts from there
(Gauss and Newton's method). Readings at a frequency, tips on a faulty part's own lead, and a few readings with a
switch pressed that are as they should be stay on straight lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Bjt, Clamp, Device, Diode, Inductor, Mosfet, Resistor, Switch, Zener
from benchcheck.circuit.driven import driven_ranges
from benchcheck.circuit.excitation import Excitation, Ohms
from benchcheck.circuit.leanings import Leaning
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.ranged import RangedReadings, Source, readings_in_ranges
from benchcheck.circuit.table import Probe
from benchcheck.diagnosis.edits import NOTHING_SEEN, Own, edits_of, switched
from benchcheck.diagnosis.fits import Local, straight
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.leakage import led_by_leakage
from benchcheck.diagnosis.likelihood import Held, beyond_end, logarithmic_mean, unexplained
from benchcheck.diagnosis.predicted import MODEL_RATIO, MODEL_V, Predictions
from benchcheck.diagnosis.robust import INFLATED
from benchcheck.diagnosis.shots import DIRECT, MeterErrors
from benchcheck.diagnosis.spread import (
    COMMON_JUNCTION_V,
    FAULT_OHMS,
    IDEALITY,
    JUNCTION_V,
    THRESHOLD_V,
    clamp_moved,
    junction_moved,
    junction_spread,
    value_spread,
)
from benchcheck.diagnosis.strays import OHMS, Strays
from benchcheck.score.model_circuit import excitation_for
from benchcheck.spec.board import Board

__all__ = ["UnitSolver", "strayed"]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Indices = NDArray[np.intp]

#: strays further than this, in inflated standard deviations, are no good part's: there the circuit is not followed.
_FURTHEST = 6.0
#: a reading below so much of a range's end is shown there by any good unit; how early that range is taken to end.
_WELL_WITHIN, _EARLY = 0.7, 0.9
#: how far all junctions wander between two readings, of what a board's are off: 2 mV/K (common practice) and 0.2 K.
_WANDER = 2e-3 * 0.2 / COMMON_JUNCTION_V
#: at so many points, the last ones, lines are not worked out again.
_POINTS_KNOWN = 6
#: a position of switches in which less than this share was read, all of it as on a good board, is not solved again.
_FEW_READINGS = 0.1


def strayed(board: Board, netlist: Netlist, strays: Strays, by: Floats) -> Netlist:
    """Return the netlist with every device strayed by so many inflated standard deviations."""
    by = INFLATED * np.clip(by, -_FURTHEST, _FURTHEST)
    devices = [_strayed(board, device, strays, by) for device in netlist.devices]
    return Netlist(devices, sound=devices)


def _strayed(board: Board, device: Device, strays: Strays, by: Floats) -> Device:
    name = device.designator
    match device:
        case Resistor(resistance_ohm=ohm):
            return replace(device, resistance_ohm=ohm * _times(board, device, strays.of_device(name, "ohms", by)))
        case Inductor(dc_resistance_ohm=ohm):
            return replace(device, dc_resistance_ohm=ohm * _times(board, device, strays.of_device(name, "ohms", by)))
        case Switch(closed_resistance_ohm=ohm):
            times = _times(board, device, strays.of_device(name, "ohms", by))
            return replace(device, closed_resistance_ohm=ohm * times)
        case Zener(breakdown_voltage_v=volts):
            times = _times(board, device, strays.of_device(name, "breakdown", by))
            return _with_junctions(board, replace(device, breakdown_voltage_v=volts * times), strays, by)
        case Mosfet():
            volts = THRESHOLD_V * strays.of_device(name, "threshold", by)
            moved = replace(device, threshold_shift_v=device.threshold_shift_v + volts)
            return _with_junctions(board, moved, strays, by)
        case Clamp():
            return _clamp(board, device, strays, by)
        case Diode() | Bjt():
            return _with_junctions(board, device, strays, by)
        case _:
            return device


def _own(strays: Strays, by: Floats) -> Own:
    """Return how far what is a fault's own is strayed by so many inflated standard deviations."""
    ohms, drop, ideality = (INFLATED * strays.of_device("", of, by) for of in ("ohms", "drop", "ideality"))
    return Own(math.exp(FAULT_OHMS * ohms), JUNCTION_V * drop, -IDEALITY * ideality)


def _times(board: Board, device: Device, by: float) -> float:
    return math.exp(value_spread(board, device) * by)


def _with_junctions(board: Board, device: Device, strays: Strays, by: Floats) -> Device:
    """Return a device whose junction drops more or less at 1 mA, and has another ideality."""
    return junction_moved(device, *_junction(board, device, strays, by))


def _junction(board: Board, device: Device, strays: Strays, by: Floats, number: int = 0) -> tuple[float, float]:
    """Return what a junction drops more, in volt, and by how much its ideality is higher."""
    own, ideality = (strays.of_device(device.designator, of, by, number) for of in ("drop", "ideality"))
    own_v, common_v = junction_spread(board, device.designator)
    # a stray of ideality lifts the drop at small currents: the junction is nearer the ideal
    return own * own_v + by[strays.common] * common_v, -IDEALITY * ideality


def _clamp(board: Board, device: Clamp, strays: Strays, by: Floats) -> Device:
    """Return a clamp each of whose junctions is moved by itself: the one to ground first, where there is one."""
    one = 0 if device.ground == device.pin else 1
    (below_v, below), (above_v, above) = (_junction(board, device, strays, by, at) for at in (0, one))
    return clamp_moved(device, (below_v, above_v), (below, above))


class UnitSolver:
    """Readings held against the board with its parts strayed, for some hypotheses at a time."""

    def __init__(
        self, board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis],
        predictions: Predictions, held: Held,
    ) -> None:  # fmt: skip
        self._board, self._netlist, self._hypotheses = board, netlist, hypotheses
        self._predictions, self._held, self._errors = predictions, held, MeterErrors(bench)
        self._lots = tuple(self._lots_of(bench))
        self._known: dict[bytes, dict[int, Local]] = {}
        self._begin = {(switches, 0): found for switches, found in predictions.settled.items()}

    def _lots_of(self, bench: Bench) -> Iterator[_Lot]:
        """Yield readings by the positions of switches: their places among the readings, probes and ranges."""
        seen = self._held.seen
        every = {one.shot.function: excitation_for(bench, one.shot.function) for one in seen}
        driven = {of: driven_ranges(found) for of, found in every.items() if found is not None}
        direct = [at for at, one in enumerate(seen) if one.shot.function in DIRECT]
        amiss = unexplained(self._held, self._held.terms[0])
        for switches in dict.fromkeys(seen[at].shot.switches for at in direct):
            netlist = switched(self._netlist, switches)
            here = [at for at in direct if seen[at].shot.switches == switches]
            here = [at for at in here if seen[at].shot.function in driven]
            here = [at for at in here if {seen[at].shot.red, seen[at].shot.black} <= netlist.pins_on.keys()]
            probes, places = [], []
            for at in here:
                excitation = every[seen[at].shot.function]
                assert excitation is not None
                place = self._range_of(at, len(driven[seen[at].shot.function]))
                if self._shown_before(at, place):
                    place, excitation = place - 1, _ending_early(excitation, place - 1)
                probes.append(Probe(seen[at].shot.red, seen[at].shot.black, excitation))
                places.append(place)
            if len(here) >= _FEW_READINGS * len(direct) or amiss[here].any():
                last, once = self._held.ranges[1][here], np.ones(len(here), np.intp)
                yield _Lot(switches, np.array(here, np.intp), tuple(probes), tuple(places), tuple(last), once)

    def _shown_before(self, at: int, place: int) -> bool:
        """Return whether the good board as designed shows a number well within the range before the one read.

        On its way up a meter stops there, unless a fault lets that range overload.
        """
        seen, there = self._held.seen[at], self._predictions.mean[0, self._held.columns[at]]
        if seen.shot.function not in OHMS or math.isnan(seen.value) or math.isnan(there) or not place:
            return False
        return bool(there < _WELL_WITHIN * self._errors.ceilings(seen.shot.function)[place - 1])

    def _range_of(self, at: int, count: int) -> int:
        """Return the first range that can have shown a reading; of an overload the last."""
        seen = self._held.seen[at]
        if seen.shot.function not in OHMS:
            return 0
        return count - 1 if math.isnan(seen.value) else min(int(self._held.ranges[0][at]), count - 1)

    def kin(self, row: int) -> list[int]:
        """Return the other faults of the same part, none of what is no part's."""
        name = self._hypotheses[row].designator
        return [at for at, one in enumerate(self._hypotheses) if one.designator == name and at != row] if name else []

    @property
    def common(self) -> int:
        """The stray of all junctions at once."""
        return self._predictions.common

    @property
    def solves(self) -> bool:
        """Whether there are readings for which the circuit is solved."""
        return bool(self._lots)

    def near(self, strays: Floats, rows: Sequence[int]) -> dict[int, Local]:
        """Return straight lines from the board strayed so, under the hypotheses of some rows."""
        strays = np.clip(strays, -_FURTHEST, _FURTHEST)
        known = self._known.setdefault(strays.tobytes(), {})
        missing = [row for row in dict.fromkeys(rows) if row not in known]
        known |= self._solved(strays, missing) if missing else {}
        while len(self._known) > _POINTS_KNOWN:
            del self._known[next(iter(self._known))]
        return {row: known[row] for row in rows}

    def _solved(self, strays: Floats, rows: Sequence[int]) -> dict[int, Local]:
        """Solve the board strayed so."""
        p, held = self._predictions, self._held
        count = len(p.good)
        there = np.full((len(rows), len(held.seen)), np.nan)
        source = Source.unknown(*there.shape)
        slopes = np.zeros((len(rows), len(held.seen), count), np.float32)
        moved, own = strayed(self._board, self._netlist, p.strays, strays), _own(p.strays, strays)
        for lot in self._lots:
            netlist = switched(moved, lot.switches)
            alone = len(rows) == 1
            found = self._under(netlist, lot, rows[0], own) if alone else self._beside(netlist, lot, rows, own)
            there[:, lot.at] = np.where(found.solved, found.latent, np.nan)
            source.put((slice(None), lot.at), found.source)
            by_stray = self._by_stray(found, count)
            slopes[:, lot.at] = by_stray[found.entry]
        there[p.by_lead[list(rows)][:, held.columns]] = np.nan
        return {row: self._local(row, strays, there[at], slopes[at].T, source.of(at)) for at, row in enumerate(rows)}

    def lines(self, row: int, strays: Floats) -> Local:
        """Return a hypothesis's straight lines from the board strayed so, as designed where nothing is solved."""
        return self.near(strays, (row,))[row] if self.solves else straight(self._predictions, self._held, row)

    def _beside(self, netlist: Netlist, lot: _Lot, rows: Sequence[int], own: Own) -> RangedReadings:
        """Solve some hypotheses beside the good board, each reading that one leaves alone being that board's."""
        chosen = [self._hypotheses[0], *(self._hypotheses[row] for row in rows)]
        found = readings_in_ranges(
            netlist, lot.probes, lot.places, edits_of(netlist, chosen, own), read=self._read(lot), last=lot.last,
            nothing=NOTHING_SEEN, begin=self._begin.get((lot.switches, 0)), together=lot.tried,
        )  # fmt: skip
        self._note(lot, 0, found)
        of = slice(1, None)
        return replace(
            found,
            latent=found.latent[of],
            solved=found.solved[of],
            source=found.source.of(of),
            entry=found.entry[of],
        )

    def _under(self, netlist: Netlist, lot: _Lot, row: int, own: Own) -> RangedReadings:
        """Solve one hypothesis as a board of its own."""
        (edit,) = edits_of(netlist, (self._hypotheses[0], self._hypotheses[row]), own)
        kept = (device for device in netlist.devices if device.designator not in edit.removed)
        board = Netlist((*kept, *edit.added), sound=netlist.devices)
        if any(not {probe.red, probe.black} <= board.pins_on.keys() for probe in lot.probes):
            return self._beside(netlist, lot, (row,), own)  # the fault took the last part off a net
        begin = self._begin.get((lot.switches, row)) or self._begin.get((lot.switches, 0))
        found = readings_in_ranges(
            board,
            lot.probes,
            lot.places,
            (),
            read=self._read(lot),
            last=lot.last,
            begin=begin,
            together=lot.tried,
        )
        self._note(lot, row, found)
        return self._of_good_parts(found)

    def _note(self, lot: _Lot, row: int, found: RangedReadings) -> None:
        """Remember where a board settled and how many ranges it took, for the next one to begin with."""
        lot.tried[:] = np.maximum(lot.tried, found.tried)
        if found.settled is not None:
            self._begin[lot.switches, row] = found.settled

    def _read(self, lot: _Lot) -> list[float]:
        return [self._held.seen[at].value - self._held.leads[at] for at in lot.at]

    def _of_good_parts(self, found: RangedReadings) -> RangedReadings:
        """Return readings whose leaning on what a fault put in is under no name."""
        known = [not one.designator or self._predictions.strays.leans_on(one) for one in found.slots]
        slopes = found.slopes.copy()
        for at, one in enumerate(found.slots):
            own = Leaning("", one.of)
            if not known[at] and own in found.slots:
                slopes[:, found.slots.index(own)] += slopes[:, at]
        slots = tuple(one for one, kept in zip(found.slots, known, strict=True) if kept)
        return replace(found, slots=slots, slopes=slopes[:, known])

    def _by_stray(self, found: RangedReadings, count: int) -> Floats32:
        """Return slopes to strays (entries x strays) of every entry of a solution."""
        found_by = self._predictions.strays.slopes(found.slots, found.slopes.astype(np.float32))
        return found_by[:, :count]

    def _local(self, row: int, strays: Floats, there: Floats, slopes: Floats32, source: Source) -> Local:
        """Return straight lines under one hypothesis, from the board as designed where it is not solved here."""
        p, held = self._predictions, self._held
        base = straight(p, held, row)
        solved = ~np.isnan(there)
        in_ratio = p.in_ratio[held.columns]
        true = np.array([one.value for one in held.seen]) - held.leads
        scale = np.where(in_ratio, logarithmic_mean(true, there), 1.0)
        own = np.hypot(np.where(in_ratio, MODEL_RATIO, MODEL_V), _WANDER * np.abs(slopes[p.common]))
        bent = p.bent[row, held.columns]
        distance, least = beyond_end(there, in_ratio, held.overload_from)
        overload = solved & np.isnan(true)
        error = np.where(solved, true - there, base.error - strays @ base.slopes)
        leaks = led_by_leakage(true, there, source)
        return Local(
            strays,
            error,
            np.where(solved, INFLATED * scale * slopes, base.slopes),
            np.where(solved, INFLATED * scale * own, base.own),
            np.where(solved, INFLATED * scale * bent, base.bent),
            base.terms,
            np.where(solved, ~np.isnan(true), base.drawn),
            np.where(solved, scale, base.scale),
            np.where(overload & np.isfinite(held.overload_from), distance, np.nan),
            INFLATED * slopes.astype(float),
            np.hypot(least, INFLATED * own),
            np.where(np.isnan(leaks), error, scale * leaks),
        )


def _ending_early(excitation: Excitation, place: int) -> Excitation:
    """Return ohms whose range at a place ends early: a reading next to its end may as well be in the next range."""
    assert isinstance(excitation, Ohms)
    early = replace(excitation.ranges[place], full_scale_ohm=_EARLY * excitation.ranges[place].full_scale_ohm)
    return replace(excitation, ranges=(*excitation.ranges[:place], early, *excitation.ranges[place + 1 :]))


@dataclass(frozen=True, slots=True)
class _Lot:
    """Readings with switches in the same positions: places among all readings, probes, first and last ranges.

    `tried` (readings) is how many ranges boards took so far.
    """

    switches: tuple[tuple[str, str], ...]
    at: Indices
    probes: tuple[Probe, ...]
    places: tuple[int, ...]
    last: tuple[int, ...]
    tried: Indices
