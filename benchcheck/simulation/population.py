"""What virtual units read, without instruments, sockets or time: for thousands of units at a stroke.

A unit's readings between nets are solved in one batch (the circuit room's), with the bench's own meters, their
ranges and errors. Everything has settled; typed and operator faults take part as they do at the simulated bench.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter
from benchcheck.bench.model import Bench
from benchcheck.circuit.dictionary import Probe, fault_dictionary
from benchcheck.circuit.excitation import CapacitanceAtFrequency, DiodeTest, Esr, Ohms, OhmsRange
from benchcheck.circuit.excitation import Excitation as Measurement
from benchcheck.errors import CircuitError
from benchcheck.kinds.check import Check
from benchcheck.simulation.hand import SimulatedHand, excitation_of
from benchcheck.simulation.meter_error import figures, leads_ohm
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.spec.board import Board

__all__ = ["Shown", "VirtualReadings", "readings_between", "readings_of"]

Pair = tuple[str, str, Function]
_USUAL_HERTZ, _ESR_HERTZ, _USUAL_AMPERE, _USUAL_VOLT = 100.0, 100e3, 1e-3, 5.0


@dataclass(frozen=True, slots=True)
class Shown:
    """A display: `text` as somebody types it (SI, "OL", "yes"), its `value` (None: no number), meter and range."""

    text: str
    value: float | None = None
    meter: str = ""
    meter_range: str = ""


def readings_of(
    board: Board, bench: Bench, faults: Iterable[str] = (), seed: int = 0, checks: Iterable[Check] | None = None
) -> dict[str, Shown]:
    """Return what a virtual unit reads, by check id; left out, `checks` are the unpowered ones of the board.

    Derived and powered checks are not read. `meter.leads_shorted` comes with every set. UsageError for faults the
    board cannot have.
    """
    return VirtualReadings(board, bench, faults, seed).of_checks(checks)


def readings_between(
    board: Board, bench: Bench, pairs: Sequence[Pair], faults: Iterable[str] = (), seed: int = 0
) -> tuple[Shown, ...]:
    """Return what a virtual unit reads between pairs of nets (red, black, function), switches at rest."""
    return VirtualReadings(board, bench, faults, seed).between(pairs)


class VirtualReadings:
    """One unit to be read again and again; the same unit and meters for the same seed."""

    def __init__(self, board: Board, bench: Bench, faults: Iterable[str] = (), seed: int = 0) -> None:
        """Build the unit; UsageError for faults the board cannot have."""
        meter = bench.meter_for(Function.OHMS) or next(iter(bench.meters.values()))
        self.board, self.bench, self.seed = board, bench, seed
        self.unit = VirtualUnit(board, faults, seed, leads_ohm=leads_ohm(meter, seed))
        self.hand = SimulatedHand(self.unit, bench)

    def of_checks(self, checks: Iterable[Check] | None = None) -> dict[str, Shown]:
        """Return what the unit reads, by check id."""
        given = self.board.checks if checks is None else checks
        wanted = [one for one in given if not one.powered and not one.sources]
        solved: dict[str, tuple[tuple[tuple[str, str], ...], Pair]] = {}
        for check in wanted:
            self.unit.place(check)
            where = self.unit.probes
            if where is not None and check.function in _SOLVED and not self.unit.powered.holds_charge:
                positions = tuple(sorted(self.unit.positions.items()))
                solved[check.id] = positions, (*where, check.function)
        values = self._values(solved.values())
        found = {"meter.leads_shorted": self._displayed(Function.OHMS, self.unit.leads_ohm)}
        for check in wanted:
            if check.id in solved:
                shown = self._displayed(check.function, values[solved[check.id]])
            else:
                shown = self._by_hand(check)
            found[check.id] = self._slipped(check, shown)
        return found

    def between(self, pairs: Sequence[Pair]) -> tuple[Shown, ...]:
        """Return what the unit reads between pairs of nets, switches at rest."""
        self.unit.switch({})
        positions = tuple(sorted(self.unit.positions.items()))
        keys = [(positions, self._as_held(pair)) for pair in pairs]
        values = self._values(keys)
        return tuple(self._displayed(pair[2], values[key]) for pair, key in zip(pairs, keys, strict=True))

    def _as_held(self, pair: Pair) -> Pair:
        red, black, function = pair
        return (black, red, function) if self.unit.swapped else pair

    def _by_hand(self, check: Check) -> Shown:
        if check.function is Function.VISUAL:
            return Shown(self.hand.look(check))
        meter = self.bench.meter_for(check.function)
        for each in meter.ranges_of(check.function) if meter is not None else ():
            value = self.unit.settled(check, excitation_of(each))
            if each.holds(value):
                return self._displayed(check.function, value)
        return Shown("OL", None, meter.name if meter is not None else "")

    def _slipped(self, check: Check, shown: Shown) -> Shown:
        text = self.hand.slip(check, shown.text)
        if text == shown.text or shown.value is None:
            return shown
        return Shown(text, float(text), shown.meter, shown.meter_range)

    def _displayed(self, function: Function, value: float) -> Shown:
        meter = self.bench.meter_for(function)
        if meter is None:
            return Shown("OL")
        each = meter.range_for(function, value) if math.isfinite(value) else None
        if each is None:
            return Shown("OL", None, meter.name)
        text, displayed = figures(value, each, self.seed, meter.name)
        return Shown(text, displayed, meter.name, each.name)

    def _values(
        self, wanted: Iterable[tuple[tuple[tuple[str, str], ...], Pair]]
    ) -> Mapping[tuple[tuple[tuple[str, str], ...], Pair], float]:
        """Return true values, infinite for overload, by switch positions and pair."""
        groups: dict[tuple[tuple[str, str], ...], dict[Pair, None]] = {}
        for positions, pair in wanted:
            groups.setdefault(positions, {})[pair] = None
        return {
            (positions, pair): value
            for positions, pairs in groups.items()
            for pair, value in self._solved(positions, tuple(pairs)).items()
        }

    def _solved(self, positions: tuple[tuple[str, str], ...], pairs: tuple[Pair, ...]) -> dict[Pair, float]:
        self.unit.switch(dict(positions))
        netlist = self.unit.netlist
        batched: dict[Pair, Probe] = {}
        for pair in pairs:
            measurement = _measurement(self.bench.meter_for(pair[2]), pair[2])
            if measurement is not None and {pair[0], pair[1]} <= netlist.pins_on.keys():
                batched[pair] = Probe(pair[0], pair[1], measurement)
        try:
            table = fault_dictionary(netlist, batched.values(), ())
        except CircuitError:
            return {pair: self._alone(pair) for pair in pairs}
        if table.counts["not solved"]:
            return {pair: self._alone(pair) for pair in pairs}
        found = dict(zip(batched, (math.inf if math.isnan(one) else float(one) for one in table.good), strict=True))
        more = {pair: self.unit.added_ohm(pair[2]) for pair in batched}
        return {pair: found[pair] + more[pair] if pair in found else self._alone(pair) for pair in pairs}

    def _alone(self, pair: Pair) -> float:
        meter = self.bench.meter_for(pair[2])
        for each in meter.ranges_of(pair[2]) if meter is not None else ():
            shown = self.unit.seen_between(pair[0], pair[1], excitation_of(each))
            if each.holds(shown):
                return shown
        return math.inf


_SOLVED = (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE, Function.CAPACITANCE, Function.ESR)


def _measurement(meter: Meter | None, function: Function) -> Measurement | None:
    ranges = meter.ranges_of(function) if meter is not None else ()
    if not ranges:
        return None
    last = ranges[-1]
    ampere, volt = last.test_current_a or _USUAL_AMPERE, last.compliance_v or _USUAL_VOLT
    match function:
        case Function.OHMS | Function.LOW_POWER_OHMS:
            rows = (
                OhmsRange(one.ceiling, one.test_current_a or _USUAL_AMPERE, one.compliance_v or _USUAL_VOLT)
                for one in ranges
            )
            return Ohms(tuple(rows))
        case Function.DIODE:
            return DiodeTest(ampere, volt, last.ceiling)
        case Function.CAPACITANCE:
            return CapacitanceAtFrequency(last.frequency_hz or _USUAL_HERTZ, "parallel", last.ceiling)
        case Function.ESR:
            return Esr(last.frequency_hz or _ESR_HERTZ, last.ceiling)
    return None
