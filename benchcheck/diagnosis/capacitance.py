"""Capacitance as meters measure it that do not keep to one frequency: at another in each range, or by a ramp.

Both answer as `Alternating` does, so that predictions are filled in alike.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import Capacitor, Device, Resistor, pins
from benchcheck.circuit.excitation import CapacitanceAtFrequency, CapacitanceByCharging
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.errors import CircuitError

__all__ = ["ByRamp", "Capacitances", "InRanges", "capacitances"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: a ramp is as slow as this to what strays, in hertz (a meter's ramp takes tenths of a second).
_RAMP_HZ = 2.0
_METAL_OHM = 10.0


def _edited(netlist: Netlist, edit: Edit) -> Netlist:
    return Netlist((*(one for one in netlist.devices if one.designator not in edit.removed), *edit.added))


class InRanges:
    """Capacitance on the first range whose current a board does not exceed, each at its own frequency."""

    def __init__(self, netlist: Netlist, edits: Sequence[Edit], excitation: CapacitanceAtFrequency) -> None:
        """Make a table for every frequency of the meter's ranges, the smallest range first."""
        hertz = dict.fromkeys(each.frequency_hz for each in excitation.ranges)
        by_hertz = {each: Alternating(netlist, edits, each) for each in hertz}
        self._tables = [(by_hertz[each.frequency_hz], each.full_scale_f) for each in excitation.ranges]

    def _taken(self, red: str, black: str) -> Indices:
        """Return the place of the range each row is read on: the last where all are exceeded."""
        within = [
            np.abs(table.impedance(red, black)) * table.omega * full_scale_f >= 1.0
            for table, full_scale_f in self._tables[:-1]
        ]
        return np.asarray(np.argmax(np.array([*within, np.ones_like(within[0])]), axis=0))

    def capacitance(self, red: str, black: str, full_scale_f: float) -> Floats:
        """Return the parallel capacitance a meter shows, in farad, per row; NaN for overload or no path."""
        every = np.array([table.capacitance(red, black, full_scale_f) for table, _ in self._tables])
        taken = self._taken(red, black)
        return np.asarray(every[taken, np.arange(every.shape[1])])

    def has_capacitance(self, red: str, black: str) -> Bools:
        """Return per row whether what joins the nets is capacitance a meter can show, or nothing at all."""
        every = np.array([table.has_capacitance(red, black) for table, _ in self._tables])
        return np.asarray(every[self._taken(red, black), np.arange(every.shape[1])])

    def spread(self, red: str, black: str, strays: Sequence[tuple[str, Device]], *, esr: bool = False) -> Floats:
        """Return how the reading moves with each stray (a device and itself strayed), (rows x strays)."""
        taken = self._taken(red, black)
        found = np.zeros((len(taken), len(strays)))
        for at in sorted(set(taken.tolist())):
            here = taken == at
            found[here] = self._tables[at][0].spread(red, black, strays, esr=esr)[here]
        return found


class ByRamp:
    """Capacitance by a ramp, across a capacitor's own pins: faults of what lies between the same nets are solved.

    Others are taken to leave the reading alone, and not to be known.
    """

    def __init__(self, netlist: Netlist, edits: Sequence[Edit], excitation: CapacitanceByCharging) -> None:
        """Make ready to solve a board and edits of it."""
        self._netlist, self._edits, self._excitation = netlist, edits, excitation
        self._slow = Alternating(netlist, edits, _RAMP_HZ)
        self._known: dict[tuple[str, str], tuple[Floats, Bools]] = {}

    def capacitance(self, red: str, black: str, full_scale_f: float) -> Floats:
        """Return what the meter shows, in farad, per row, 0 where nothing joins the nets; NaN for overload."""
        found = self._read(red, black)[0]
        return np.where(found > full_scale_f, np.nan, found)

    def has_capacitance(self, red: str, black: str) -> Bools:
        """Return per row whether it was solved."""
        return self._read(red, black)[1]

    def spread(self, red: str, black: str, strays: Sequence[tuple[str, Device]], *, esr: bool = False) -> Floats:
        """Return how the reading moves with each stray (a device and itself strayed), (rows x strays)."""
        return self._slow.spread(red, black, strays, esr=esr)

    def _read(self, red: str, black: str) -> tuple[Floats, Bools]:
        if (red, black) not in self._known:
            again = (black, red) in self._known  # the other way round it tells nothing more of the capacitor
            nothing = np.full(len(self._edits) + 1, np.nan), np.zeros(len(self._edits) + 1, bool)
            self._known[red, black] = nothing if again else self._solved(red, black)
        return self._known[red, black]

    def _solved(self, red: str, black: str) -> tuple[Floats, Bools]:
        rows, ends = len(self._edits) + 1, {red, black}
        value, known = np.full(rows, np.nan), np.zeros(rows, bool)
        across = [one for one in self._netlist.devices if set(pins(one).values()) == ends]
        if not any(isinstance(one, Capacitor) for one in across):
            return value, known
        names, kept = {one.designator for one in across}, dict[object, float]()
        value[:], known[0] = self._shown(Edit(), red, black, kept), True
        for at, edit in enumerate(self._edits, 1):
            added = any(set(pins(one).values()) <= ends for one in edit.added)
            if added or names & set(edit.removed):
                value[at], known[at] = self._shown(edit, red, black, kept), True
        return value, known

    def _shown(self, edit: Edit, red: str, black: str, kept: dict[object, float]) -> float:
        """Return what the meter shows, edits that make the same circuit solved once."""
        gone: Counter[Device] = Counter(_anonymous(self._netlist.device(name)) for name in edit.removed)
        come: Counter[Device] = Counter(map(_anonymous, edit.added))
        key = frozenset((gone - come).items()), frozenset((come - gone).items())
        if key not in kept:
            kept[key] = math.nan if _joined(edit, {red, black}) else self._alone(edit, red, black)
        return kept[key]

    def _alone(self, edit: Edit, red: str, black: str) -> float:
        try:
            found = solve_reading(_edited(self._netlist, edit), red, black, self._excitation).value
        except CircuitError:
            return math.nan
        return math.nan if found is None else found


def _anonymous(device: Device) -> Device:
    """Return a device without its name; a capacitor is the same either way round."""
    if isinstance(device, Capacitor):
        plus, minus = sorted((device.plus, device.minus))
        device = replace(device, plus=plus, minus=minus)
    return replace(device, designator="")


def _joined(edit: Edit, ends: set[str]) -> bool:
    """Return whether an edit joins the two nets by metal: no ramp rises there."""
    shorts = (one for one in edit.added if isinstance(one, Resistor) and one.resistance_ohm < _METAL_OHM)
    return any({one.a, one.b} == ends for one in shorts)


Capacitances = Alternating | InRanges | ByRamp


def capacitances(
    netlist: Netlist, edits: Sequence[Edit], excitation: CapacitanceAtFrequency | CapacitanceByCharging
) -> tuple[Capacitances, float]:
    """Return what reads capacitance as a meter does, and the end of its last range in farad."""
    if isinstance(excitation, CapacitanceByCharging):
        return ByRamp(netlist, edits, excitation), excitation.ranges[-1].full_scale_f
    if excitation.ranges:
        return InRanges(netlist, edits, excitation), excitation.ranges[-1].full_scale_f
    return Alternating(netlist, edits, excitation.frequency_hz), excitation.full_scale_f
