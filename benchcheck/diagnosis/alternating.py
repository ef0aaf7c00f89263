"""Capacitance and series resistance under every fault at once: one admittance matrix per fault, inverted.

A board at rest is linear to a signal too small for its junctions, so the inverse of its admittance matrix holds the
impedance between any two nets; and by the adjoint network the square of the voltage across a part, at one ampere, is
how the impedance moves with that part's admittance (Director and Rohrer 1969).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, pi

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import (
    Capacitor,
    Device,
    Diode,
    Inductor,
    Mosfet,
    Resistor,
    Switch,
    Zener,
)
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.models import JunctionModel
from benchcheck.circuit.netlist import Netlist

__all__ = ["Alternating"]

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
_Strayed = tuple[Indices, Indices, Indices, Complexes, Floats]

_LEAK_S = 1e-12
#: beyond this, in ohm, nothing joins the two nets
_NO_PATH_OHM = 1e11
_THERMAL_V = 0.0259
_LEAST_OHM = 1e-6
#: below this share of the impedance no meter shows a capacitance worth reading
_LEAST_SHARE = 0.05
#: and below this one it is rounding: what conducts so well shows as overload
_ROUNDING = 1e-4


def _rest_s(model: JunctionModel, shift_v: float = 0.0) -> float:
    """Return the slope of a junction at 0 V, in siemens, where it drops so many volt more than its model."""
    scale_v = model.ideality * _THERMAL_V
    return model.saturation_current_a * exp(-shift_v / scale_v) / scale_v


def _branch(device: Device, omega: float, *, junctions: bool = True) -> tuple[str, str, complex] | None:
    """Return the nets a device joins and its admittance in siemens."""
    match device:
        case Resistor(_, a, b, ohm):
            return a, b, 1.0 / complex(ohm)
        case Inductor(_, a, b, henry, ohm):
            return a, b, 1.0 / complex(max(ohm, _LEAST_OHM), omega * henry)
        case Switch(_, a, b, True, ohm):
            return a, b, 1.0 / complex(max(ohm, _LEAST_OHM))
        case Capacitor(_, a, b, farad, series, leak):
            inner = 1j * omega * farad + (1.0 / leak if leak else 0.0)
            return (a, b, 1.0 / (series + 1.0 / inner)) if inner else None
        case Diode() | Zener() | Mosfet() if junctions:
            return _junction(device)
        case _:
            return None


def _junction(device: Diode | Zener | Mosfet) -> tuple[str, str, complex]:
    """Return what the junction of a device at rest is, drain to source for a body diode."""
    match device:
        case Diode():
            return device.anode, device.cathode, complex(_rest_s(device.model, device.drop_shift_v))
        case Zener():
            return device.anode, device.cathode, complex(_rest_s(device.junction))
        case Mosfet():
            return device.drain, device.source, complex(_rest_s(device.model.body))


class Alternating:
    """Impedances of the board (row 0) and of every edit of it, at one frequency in hertz, 0 for direct current.

    Without `junctions` only what is linear at any voltage counts.
    """

    def __init__(
        self, netlist: Netlist, edits: Sequence[Edit], frequency_hz: float, *, junctions: bool = True
    ) -> None:
        self._junctions = junctions
        self.omega = 2.0 * pi * frequency_hz
        self._row = {net: at for at, net in enumerate(netlist.nets)}
        self._devices = netlist.by_designator
        base: Complexes = np.zeros((len(self._row),) * 2, np.complex128)
        base[np.diag_indices_from(base)] = _LEAK_S
        for device in netlist.devices:
            self._stamp(base, device, 1.0)
        matrices = np.repeat(base[None], len(edits) + 1, axis=0)
        for at, edit in enumerate(edits, 1):
            for name in edit.removed:
                self._stamp(matrices[at], self._devices[name], -1.0)
            for device in edit.added:
                self._stamp(matrices[at], device, 1.0)
        self._inverse: Complexes = np.asarray(np.linalg.inv(matrices), np.complex128)
        self._edits = (Edit(), *edits)
        self._known: dict[tuple[tuple[str, Device], ...], _Strayed] = {}

    def _stamp(self, matrix: Complexes, device: Device, sign: float) -> None:
        branch = _branch(device, self.omega, junctions=self._junctions)
        if branch is None or branch[0] not in self._row or branch[1] not in self._row:
            return
        a, b, siemens = self._row[branch[0]], self._row[branch[1]], sign * branch[2]
        matrix[a, a] += siemens
        matrix[b, b] += siemens
        matrix[a, b] -= siemens
        matrix[b, a] -= siemens

    def _drive(self, red: str, black: str, rows: slice = slice(None)) -> Complexes:
        """Return the voltages of nets at one ampere from red to black (rows x nets), matrices being symmetric."""
        across: Complexes = self._inverse[rows, self._row[red]] - self._inverse[rows, self._row[black]]
        return across

    def impedance(self, red: str, black: str) -> Complexes:
        """Return the impedance between two nets, in ohm, per row."""
        inverse, r, b = self._inverse, self._row[red], self._row[black]
        seen: Complexes = (inverse[:, r, r] - inverse[:, b, r]) - (inverse[:, r, b] - inverse[:, b, b])
        return seen

    def capacitance(self, red: str, black: str, full_scale_f: float) -> Floats:
        """Return the parallel capacitance a meter shows, in farad, per row; NaN for overload or no path."""
        seen = self.impedance(red, black)
        shown = (1.0 / np.where(seen == 0, 1.0, seen)).imag / self.omega
        hidden = (np.abs(seen) > _NO_PATH_OHM) | (np.abs(shown) > full_scale_f) | (seen == 0)
        hidden |= np.abs(seen.imag) < _ROUNDING * np.abs(seen)
        return np.where(hidden, np.nan, shown)

    def has_capacitance(self, red: str, black: str) -> NDArray[np.bool_]:
        """Return per row whether what joins the nets is capacitance a meter can show, or nothing at all."""
        seen = self.impedance(red, black)
        return np.asarray((-seen.imag > _LEAST_SHARE * np.abs(seen)) | (np.abs(seen) > _NO_PATH_OHM))

    def has_series(self, red: str, black: str) -> NDArray[np.bool_]:
        """Return per row whether series resistance can be read: not across what is mostly a winding."""
        seen = self.impedance(red, black)
        return np.asarray(seen.imag <= 3.0 * np.abs(seen.real) + 0.1)

    def series(self, red: str, black: str, full_scale_ohm: float) -> Floats:
        """Return the series resistance a meter shows, in ohm, per row; NaN for overload."""
        seen = self.impedance(red, black)
        return np.where(np.abs(seen) > full_scale_ohm, np.nan, seen.real)

    def beyond(self, red: str, black: str) -> Floats:
        """Return the size of the impedance between two nets, in ohm, per row: what series resistance ends by."""
        size: Floats = np.abs(self.impedance(red, black))
        return size

    def spread(self, red: str, black: str, strays: Sequence[tuple[str, Device]], *, esr: bool) -> Floats:
        """Return how the reading moves with each stray (a device and itself strayed), (rows x strays)."""
        across = self._drive(red, black)
        seen = across[:, self._row[red]] - across[:, self._row[black]]
        places, a, b, admittance, still = self._strayed(tuple(strays))
        volts = across[:, a] - across[:, b]
        moved = np.zeros((len(seen), len(strays)))
        by = -(volts**2) * admittance
        moved[:, places] = by.real if esr else (-by / seen[:, None] ** 2).imag / self.omega
        return moved * still

    def changed(self, red: str, black: str, strays: Sequence[tuple[str, Device]]) -> Floats:
        """Return how far each stray, however far, moves the board's capacitance (strays), in farad.

        A part that changes alone changes an impedance Z between two nets by v^2 y / (1 + y z), y its change of
        admittance, z what lies between its own nets and v its volts for an ampere through Z (Sherman and Morrison
        1950).
        """
        across = self._drive(red, black, slice(1))[0]
        seen = across[self._row[red]] - across[self._row[black]]
        places, a, b, admittance, _ = self._strayed(tuple(strays))
        between = self._inverse[0, a, a] + self._inverse[0, b, b] - self._inverse[0, a, b] - self._inverse[0, b, a]
        strayed = seen - (across[a] - across[b]) ** 2 * admittance / (1.0 + admittance * between)
        found = np.zeros(len(strays))
        found[places] = (1.0 / strayed - 1.0 / seen).imag / self.omega
        return found

    def _strayed(self, strays: tuple[tuple[str, Device], ...]) -> _Strayed:
        """Return what `spread` needs of strays whatever is probed, worked out once."""
        if strays not in self._known:
            found = []
            for column, (name, strayed) in enumerate(strays):
                before, after = _branch(self._devices[name], self.omega), _branch(strayed, self.omega)
                if before is None or after is None or before[0] not in self._row or before[1] not in self._row:
                    continue
                found.append((column, self._row[before[0]], self._row[before[1]], after[2] - before[2]))
            still = np.ones((len(self._edits), len(strays)))
            columns: dict[str, list[int]] = {}
            for column, (name, _) in enumerate(strays):
                columns.setdefault(name, []).append(column)
            for at, edit in enumerate(self._edits):
                for name in set(edit.removed) & columns.keys():
                    still[at, columns[name]] = self._strays_still(name, edit)
            places, a, b = (np.array([one[at] for one in found], np.intp) for at in range(3))
            self._known[strays] = places, a, b, np.array([one[3] for one in found], np.complex128), still
        return self._known[strays]

    def _strays_still(self, name: str, edit: Edit) -> float:
        """Return what a part's stray is multiplied by where an edit changes it: 0 where it is gone."""
        changed = next((device for device in edit.added if device.designator == name), None)
        before = _branch(self._devices[name], self.omega, junctions=self._junctions)
        after = _branch(changed, self.omega, junctions=self._junctions) if changed is not None else None
        return abs(after[2] / before[2]) if after is not None and before is not None else 0.0
