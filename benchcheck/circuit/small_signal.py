"""A circuit at one frequency, for signals too small to move a junction: the impedance a meter sees between two nets.

Resistors, windings and capacitors become complex impedances; junctions and transistors their slope at the
operating point (0 V on a board without power); sources hold still. One solution with 1 A driven in, and one
of the transposed equations, give the impedance and its derivative to every part's value.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from .cards import BODY
from .compiled import Compiled, compile_netlist
from .connectivity import groups
from .devices import Capacitor, Device, Inductor, Resistor, Switch, VoltageSource
from .linear import LinearSolver, Vector, linear_solver
from .netlist import Netlist
from .parameters import Key
from .physics import Conditions
from .solution import solve_system
from .system import System, Tangent

__all__ = ["Impedance", "PortImpedance", "impedance_between"]

Complexes = NDArray[np.complex128]

_BRANCH_BELOW_OHM = 100.0


@dataclass(frozen=True, slots=True)
class Impedance:
    """A two-terminal part at the frequency: its nets, its impedance in ohm and that impedance's slopes by field."""

    designator: str
    a: str
    b: str
    ohm: complex
    slopes: tuple[tuple[str, complex], ...]


@dataclass(frozen=True, slots=True)
class PortImpedance:
    """What a meter sees at a frequency: `ohm`, and its slope to every part's numbers by (designator, field)."""

    frequency_hz: float
    ohm: complex
    slopes: dict[Key, complex]


def impedance_between(
    netlist: Netlist, red: str, black: str, frequency_hz: float, conditions: Conditions
) -> PortImpedance | None:
    """Return the impedance between two nets at a frequency, in hertz, or None where no path joins them.

    Raises CircuitError for nets no part touches and for boards with power that do not settle.
    """
    netlist.require_nets(red, black)
    named, netlist = netlist.by_designator, netlist.expanded
    joined = groups(netlist, alternating=True)
    if not joined.together(red, black):
        return None
    if red == black:
        return PortImpedance(frequency_hz, 0j, {})
    rows = {black: -1}
    for net in netlist.nets:
        if joined.together(net, black) and net not in rows:
            rows[net] = len(rows) - 1
    omega = 2.0 * pi * frequency_hz
    parts = [part for device in netlist.devices if (part := _impedance(device, omega)) and part.a in rows]
    places = _Places(rows, parts)
    for compiled, tangent, rests in _islands(_with_unmerged_windings(netlist), black, conditions):
        places.add_active(compiled, tangent, rests=rests)
    found = places.solve(red, frequency_hz)
    if found is None or netlist.by_designator.keys() <= named.keys():
        return found
    return replace(found, slopes={key: slope for key, slope in found.slopes.items() if key[0] in named})


def _impedance(device: Device, omega: float) -> Impedance | None:
    """Return the impedance of a passive part or source at an angular frequency, in radian per second."""
    match device:
        case Resistor(name, a, b, ohm):
            return Impedance(name, a, b, complex(ohm), (("resistance_ohm", 1.0),))
        case Inductor(name, a, b, henry, ohm):
            slopes = ("inductance_h", 1j * omega), ("dc_resistance_ohm", 1.0)
            return Impedance(name, a, b, ohm + 1j * omega * henry, slopes)
        case Switch(name, a, b, True, ohm):
            return Impedance(name, a, b, complex(ohm), (("closed_resistance_ohm", 1.0),))
        case VoltageSource(name, a, b, _, ohm, None):
            return Impedance(name, a, b, complex(ohm), (("series_resistance_ohm", 1.0),))
        case Capacitor():
            return _capacitor(device, omega)
        case _:
            return None


def _capacitor(device: Capacitor, omega: float) -> Impedance:
    """Return a capacitor's impedance: its series resistance, then capacitance and leakage side by side."""
    leak_s = 1.0 / device.leakage_ohm if device.leakage_ohm else 0.0
    ohm = 1.0 / (1j * omega * device.capacitance_f + leak_s)
    slopes: tuple[tuple[str, complex], ...] = (
        ("capacitance_f", -1j * omega * ohm**2),
        ("series_resistance_ohm", 1.0),
        ("leakage_ohm", (leak_s * ohm) ** 2),
    )
    total = device.series_resistance_ohm + ohm
    return Impedance(device.designator, device.plus, device.minus, total, slopes)


def _with_unmerged_windings(netlist: Netlist) -> Netlist:
    """Return the netlist with windings of 0 ohm given a trace of resistance: their ends are two nets here."""
    return Netlist(
        replace(device, dc_resistance_ohm=1e-9)
        if isinstance(device, Inductor) and device.dc_resistance_ohm == 0
        else device
        for device in netlist.devices
    )


def _islands(netlist: Netlist, black: str, conditions: Conditions) -> Iterator[tuple[Compiled, Tangent, bool]]:
    """Yield every group of nets that direct current joins, compiled, linearised, and whether it rests at 0 V."""
    waiting, done = [black, *netlist.nets], set[str]()
    for net in waiting:
        if net in done:
            continue
        compiled = compile_netlist(netlist, net, conditions)
        done |= compiled.row_of.keys()
        if not (compiled.junctions or compiled.bjts or compiled.mosfets or compiled.supplies):
            continue
        system = System(compiled)
        rests = not (compiled.currents or compiled.supplies or any(b.voltage_v for b in compiled.branches))
        yield compiled, system.tangent(system.at_rest()) if rests else solve_system(system).tangent, rests


def _moving(
    compiled: Compiled, tangent: Tangent, row: list[int]
) -> Iterator[tuple[Key, list[int], NDArray[np.float64]]]:
    """Yield how the conductances of junctions and transistors at rest move with their forward voltage, per volt."""
    arrays, both = compiled.junction_arrays, np.array([[1.0, -1.0], [-1.0, 1.0]])
    at_rest = arrays.saturation / arrays.slope_v
    by = -at_rest / arrays.slope_v / (1.0 + (at_rest + arrays.gmin) * arrays.series) ** 2
    for junction, each in zip(compiled.junctions, by, strict=True):
        if junction.name != BODY and not np.isfinite(junction.model.breakdown_voltage_v or np.inf):
            yield (junction.designator, "drop_shift_v"), [row[junction.plus], row[junction.minus]], each * both
    for at, (bjt, terminals) in enumerate(compiled.bjts):
        moved = -tangent.bjt[0][:, :, at] / compiled.bjt_arrays.forward_slope_v[at]
        yield (bjt.designator, "drop_shift_v"), [row[t] for t in terminals], moved


class _Places:
    """Collects matrix entries of the nets reached at the frequency, then solves."""

    def __init__(self, rows: dict[str, int], parts: list[Impedance]) -> None:
        self._rows, self._parts, self._nodes = rows, parts, len(rows) - 1
        self._row: list[int] = []
        self._col: list[int] = []
        self._value: list[complex] = []
        self._branch: dict[int, int] = {}
        self._moving: list[tuple[Key, list[int], NDArray[np.float64]]] = []
        for at, part in enumerate(parts):
            self._add_part(at, part)

    @property
    def _size(self) -> int:
        return self._nodes + len(self._branch)

    def _add(self, row: int, col: int, value: complex) -> None:
        self._row.append(row)
        self._col.append(col)
        self._value.append(value)

    def _add_part(self, at: int, part: Impedance) -> None:
        a, b = self._rows[part.a], self._rows[part.b]
        if abs(part.ohm) >= _BRANCH_BELOW_OHM:
            self._add_conductances(((a, b),), 1.0 / part.ohm)
            return
        branch = self._nodes + len(self._branch)
        self._branch[at] = branch
        for row, col, value in ((a, branch, 1), (b, branch, -1), (branch, a, 1), (branch, b, -1)):
            self._add(row, col, value)
        self._add(branch, branch, -part.ohm)

    def _add_conductances(self, pairs: tuple[tuple[int, int], ...], siemens: complex) -> None:
        for a, b in pairs:
            for row, col, sign in ((a, a, 1), (a, b, -1), (b, a, -1), (b, b, 1)):
                self._add(row, col, sign * siemens)

    def add_active(self, compiled: Compiled, tangent: Tangent, *, rests: bool) -> None:
        """Add the slopes of an island's junctions, transistors and limited supplies.

        At rest these go as the saturation current, so how they move with a forward voltage is known as well.
        """
        names = [*compiled.net_names(), compiled.reference]
        row = [self._rows.get(name, -1) for name in names]
        if not any(name in self._rows for name in names):
            return
        for junction, slope in zip(compiled.junctions, tangent.junction[0], strict=True):
            self._add_conductances(((row[junction.plus], row[junction.minus]),), slope)
        for at, (_, terminals) in enumerate(compiled.bjts):
            self._add_transistor([row[t] for t in terminals], tangent.bjt[0][:, :, at])
        for at, (mosfet, (drain, _, source)) in enumerate(compiled.mosfets):
            # a gate that no signal reaches moves with its source
            gate = self._rows.get(mosfet.gate, row[source])
            self._add_transistor([row[drain], gate, row[source]], tangent.mosfet[0][:, :, at])
        if rests:
            self._moving += _moving(compiled, tangent, row)

    def _add_transistor(self, rows: list[int], matrix: NDArray[np.float64]) -> None:
        for i, row in enumerate(rows):
            for j, col in enumerate(rows):
                self._add(row, col, matrix[i, j])

    def solve(self, red: str, frequency_hz: float) -> PortImpedance | None:
        """Return the impedance seen from `red` to the reference, with its slopes."""
        size = self._size
        solver: LinearSolver = linear_solver(np.array(self._row), np.array(self._col), size)
        values: Complexes = np.array(self._value, dtype=np.complex128)
        drive = np.zeros(size + 1, dtype=np.complex128)
        drive[self._rows[red]] = 1.0
        x = solver.solve(values, drive)
        back = solver.solve(values, drive, transposed=True)
        if x is None or back is None:
            return None
        slopes: dict[Key, complex] = {}
        for at, part in enumerate(self._parts):
            seen = self._slope(at, part, x, back)
            slopes |= {(part.designator, field): seen * slope for field, slope in part.slopes}
        for key, rows, by in self._moving:
            slopes[key] = slopes.get(key, 0.0) - complex(back[rows] @ by @ x[rows])
        return PortImpedance(frequency_hz, complex(x[self._rows[red]]), slopes)

    def _slope(self, at: int, part: Impedance, x: Vector, back: Vector) -> complex:
        """Return the slope of the seen impedance to one part's (adjoint network; Director and Rohrer 1969)."""
        if at in self._branch:
            branch = self._branch[at]
            return complex(back[branch] * x[branch])
        a, b = self._rows[part.a], self._rows[part.b]
        return complex((back[a] - back[b]) * (x[a] - x[b]) / part.ohm**2)
