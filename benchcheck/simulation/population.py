"""What virtual units read, without instruments, sockets or time: for thousands of units at a stroke.

A unit's readings between nets are solved in one batch (the circuit room's), with the bench's own meters, their
ranges and errors. Everything has settled; typed and operator faults take part as they do at the simulated bench.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter
from benchcheck.bench.model import Bench
from benchcheck.errors import CircuitError
from benchcheck.kinds.check import Check
from benchcheck.simulation.hand import SimulatedHand, excitation_of
from benchcheck.simulation.meter_error import figures, leads_ohm
from benchcheck.simulation.swift import Place, Row, Solver
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.spec.board import Board

__all__ = ["Shown", "VirtualReadings", "readings_between", "readings_of"]

Pair = tuple[str, str, Function]
#: of ranges that do not state theirs (common practice, no source).
_USUAL_AMPERE, _USUAL_VOLT = 1e-3, 5.0


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
            if where is not None and check.function in _SOLVED and not self.unit.holds_charge:
                positions = tuple(sorted(self.unit.positions.items()))
                solved[check.id] = positions, (*where, check.function)
        values = self._values(solved.values())
        never = self.unit.never_on_the_board(Function.OHMS)
        tips_ohm = self.unit.leads_ohm if never is None else never
        found = {"meter.leads_shorted": self._displayed(Function.OHMS, tips_ohm)}
        for check in wanted:
            if check.id in solved:
                shown = self._displayed(check.function, values[solved[check.id]])
            else:
                shown = self._by_hand(check)
            found[check.id] = self._slipped(check, shown)
        return found

    def between(self, pairs: Sequence[Pair]) -> tuple[Shown, ...]:
        """Return what the unit reads between pairs of nets, switches at rest."""
        never = [(pair[2], self.unit.never_on_the_board(pair[2])) for pair in pairs]
        shown = [self._displayed(function, value) for function, value in never if value is not None]
        if shown:
            return tuple(shown)
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
        inside = [pair for pair in pairs if {pair[0], pair[1]} <= netlist.pins_on.keys()]
        rows = {pair: _rows(self.bench.meter_for(pair[2]), pair[2]) for pair in inside}
        direct = {(pair[0], pair[1], str(pair[2])): found for pair, found in rows.items() if found}
        swift = self._swiftly(positions, direct)
        return {
            pair: swift[place] + self.unit.added_ohm(pair[2])
            if (place := (pair[0], pair[1], str(pair[2]))) in swift
            else self._alone(pair)
            for pair in pairs
        }

    def _swiftly(
        self, positions: tuple[tuple[str, str], ...], wanted: Mapping[Place, Sequence[Row]]
    ) -> Mapping[Place, float]:
        """Return readings in direct current, none where a unit must be solved pair by pair."""
        specimen = self.unit.specimen
        faults, single = specimen.faults, None
        netlist = self.unit.netlist
        if len(faults.parts) == 1 and not faults.unmodelled and not faults.operator:
            netlist, single = specimen.good(dict(positions)), faults.parts[0]
        try:
            return _solver(self.board.digest, self.bench.digest).solve(netlist, single, wanted) or {}
        except (CircuitError, KeyError):
            return {}

    def _alone(self, pair: Pair) -> float:
        """Return one reading solved by itself; at one frequency every range sees the same, so the widest tells."""
        meter = self.bench.meter_for(pair[2])
        ranges = meter.ranges_of(pair[2]) if meter is not None else ()
        if len({each.frequency_hz for each in ranges}) == 1 and pair[2] in _ALTERNATING:
            ranges = ranges[-1:]
        for each in ranges:
            shown = self.unit.seen_between(pair[0], pair[1], excitation_of(each))
            if each.holds(shown):
                return shown
        return math.inf


_ALTERNATING = (Function.CAPACITANCE, Function.ESR)
_SOLVED = (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE, Function.CAPACITANCE, Function.ESR)


def _rows(meter: Meter | None, function: Function) -> tuple[Row, ...]:
    """Return the ranges of a function that drives a direct current, none for others."""
    if meter is None or function not in (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE):
        return ()
    found = []
    for one in meter.ranges_of(function):
        ampere = one.test_current_a or _USUAL_AMPERE
        per_volt = 1.0 if function is Function.DIODE else 1.0 / ampere
        found.append(Row(ampere, one.compliance_v or _USUAL_VOLT, per_volt, one.ceiling * (1.0 + 1e-12)))
    return tuple(found)


@functools.lru_cache(maxsize=16)
def _solver(board: str, bench: str) -> Solver:
    """Return the solver that units of one board on one bench share."""
    return Solver()
