"""The equations of a compiled netlist at a trial point: their matrix, their right side, their true residual.

Every device becomes its tangent at the trial point. Resistances inside a device (RS of a diode; RB, RC, RE;
RD, RS) are eliminated by hand within the device, so that they cost no unknown and no digits. The entries of
the matrix sit at fixed places; only their values change from one iteration to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .compiled import Compiled
from .linear import LinearSolver, linear_solver
from .physics import bjt_currents, junction_current, mosfet_current
from .tangents import Limits

__all__ = ["State", "System", "Tangent"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class State:
    """A trial point as the devices see it: junction voltages, V_BE and V_BC, V_GS and V_DS, and supplies' modes."""

    junction: Floats
    bjt: Floats
    mosfet: Floats
    holds_current: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Tangent:
    """All devices linearised at a state: matrix values in pattern order, right side, and the condensed devices.

    `junction`: slope and offset (2 x junctions); `bjt`, `mosfet`: slopes (3 x 3 x n) and offsets (3 x n) at
    the terminals.
    """

    values: Floats
    right: Floats
    junction: tuple[Floats, Floats]
    bjt: tuple[Floats, Floats]
    mosfet: tuple[Floats, Floats]


def _terminal_rows(placed: Sequence[tuple[object, tuple[int, int, int]]]) -> Indices:
    return np.array([rows for _, rows in placed], dtype=np.intp).reshape(-1, 3).T


class System:
    """The equations of one compiled netlist, with the places of their entries worked out once."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self.size = compiled.size
        self.nodes = compiled.nodes
        self.junction_rows = np.array(
            [(j.plus, j.minus) for j in compiled.junctions], dtype=np.intp
        ).reshape(-1, 2).T  # fmt: skip
        self.bjt_rows = _terminal_rows(compiled.bjts)
        self.mosfet_rows = _terminal_rows(compiled.mosfets)
        self.supply_rows = np.array(
            [(s.plus, s.minus) for s in compiled.supplies], dtype=np.intp
        ).reshape(-1, 2).T  # fmt: skip
        self.supply_values = np.array(
            [(s.voltage_v, s.current_a, s.resistance_ohm) for s in compiled.supplies]
        ).reshape(-1, 3).T  # fmt: skip
        self._constant = self._constant_entries()
        self._constant_values = np.array(self._constant[2])
        self.rows, self.cols = self._places()
        self._own_rows = self.rows % (self.size + 1)
        fed = (self.junction_rows, self.bjt_rows, self.mosfet_rows)
        self._fed_rows = np.concatenate([rows.ravel() for rows in fed]) % (self.size + 1)
        self._fixed_right = self._constant_right()
        self._solver: LinearSolver | None = None
        volts = [b.voltage_v for b in compiled.branches] + [s.voltage_v for s in compiled.supplies]
        self._bound_v: float | Floats = np.inf if compiled.currents else 1.0 + float(np.abs(volts).sum())
        self._leak_s = compiled.conditions.leak_s or 0.0
        self._limits = Limits(compiled.junction_arrays, compiled.bjt_arrays, compiled.mosfet_arrays)

    # places -----------------------------------------------------------------------------------------

    def _constant_entries(self) -> tuple[list[int], list[int], list[float]]:
        """Return rows, columns and values of everything that no iteration changes."""
        rows: list[int] = []
        cols: list[int] = []
        values: list[float] = []
        for _, a, b, g in self.compiled.conductances:
            rows += (a, a, b, b)
            cols += (a, b, a, b)
            values += (g, -g, -g, g)
        for at, branch in enumerate(self.compiled.branches, self.nodes):
            rows += (branch.plus, branch.minus, at, at, at)
            cols += (at, at, branch.plus, branch.minus, at)
            values += (1.0, -1.0, 1.0, -1.0, -branch.resistance_ohm)
        first = self.nodes + len(self.compiled.branches)
        for at, supply in enumerate(self.compiled.supplies, first):
            rows += (supply.plus, supply.minus)
            cols += (at, at)
            values += (-1.0, 1.0)
        return rows, cols, values

    def _places(self) -> tuple[Indices, Indices]:
        """Return the rows and columns of every entry: constants, nodes' own, supplies, junctions, transistors."""
        rows = [np.array(self._constant[0], dtype=np.intp), np.arange(self.nodes)]
        cols = [np.array(self._constant[1], dtype=np.intp), np.arange(self.nodes)]
        supply = np.arange(self.size - self.supply_rows.shape[1], self.size)
        rows += [supply, supply, supply]
        cols += [self.supply_rows[0], self.supply_rows[1], supply]
        for terminals in (self.junction_rows, self.bjt_rows, self.mosfet_rows):
            count = len(terminals)
            rows += [terminals[i] for i in range(count) for _ in range(count)]
            cols += [terminals[j] for _ in range(count) for j in range(count)]
        return np.concatenate(rows), np.concatenate(cols)

    def _constant_right(self) -> Floats:
        right = np.zeros(self.size + 1)
        for _, plus, minus, ampere in self.compiled.currents:
            right[plus] += ampere
            right[minus] -= ampere
        for at, branch in enumerate(self.compiled.branches, self.nodes):
            right[at] = branch.voltage_v
        right[-1] = 0.0
        return right

    def set_branches(self, at: Indices, resistance_ohm: Floats, voltage_v: Floats) -> None:
        """Give branches (by their place among the branches) another resistance, in ohm, and voltage, in volt."""
        own = 4 * len(self.compiled.conductances) + 5 * at + 4
        self._constant_values[own] = -resistance_ohm
        self._fixed_right[self.nodes + at] = voltage_v

    def set_last_supply(self, voltage_v: float, current_a: float) -> None:
        """Give the supply that came last, a meter's source, another limit in volt and in ampere."""
        self.supply_values[:2, -1] = voltage_v, current_a

    # tangents -----------------------------------------------------------------------------------------

    def at_rest(self) -> State:
        """Return the state with every device at 0 V and every limited supply holding its voltage."""
        c = self.compiled
        return State(
            np.zeros(len(c.junctions)),
            np.zeros((2, len(c.bjts))),
            np.zeros((2, len(c.mosfets))),
            np.zeros(len(c.supplies), dtype=bool),
        )

    def tangent(
        self, state: State, *, shunt_s: float = 0.0, pull: Floats | None = None, drive: float = 1.0
    ) -> Tangent:
        """Return the tangent at a state.

        `shunt_s` in siemens joins every net to `pull` (voltages, default the reference); `drive` scales
        sources.
        """
        junction = self._junction_tangent(state)
        bjt = self._bjt_tangent(state)
        mosfet = self._mosfet_tangent(state)
        right = self._fixed_right * drive
        if pull is not None:
            right[: self.nodes] += shunt_s * pull[: self.nodes]
        supply, supply_right = self._supply_tangent(state, drive)
        first = self.size - len(supply_right)
        right[first : self.size] = supply_right
        slope, offset = junction
        fed = np.concatenate([offset, -offset, bjt[1].ravel(), mosfet[1].ravel()])
        right -= np.bincount(self._fed_rows, fed, self.size + 1)
        right[-1] = 0.0
        values = np.concatenate(
            [
                self._constant_values,
                np.full(self.nodes, shunt_s + self._leak_s),
                supply.ravel(),
                np.concatenate([slope, -slope, -slope, slope]),
                bjt[0].ravel(),
                mosfet[0].ravel(),
            ]
        )
        return Tangent(values, right, junction, bjt, mosfet)

    def _supply_tangent(self, state: State, drive: float) -> tuple[Floats, Floats]:
        """Return plus, minus and own entries of the supplies' rows (3 x supplies), and their right sides."""
        volt, ampere, ohm = self.supply_values
        holds_voltage = np.where(state.holds_current, 0.0, 1.0)
        own = np.where(state.holds_current, 1.0, ohm)
        right = np.where(state.holds_current, ampere, volt) * drive
        return np.array([holds_voltage, -holds_voltage, own]), right

    def _junction_tangent(self, state: State) -> tuple[Floats, Floats]:
        """Return slope and offset of i = slope * v + offset at the junctions' terminals, RS eliminated."""
        current, slope = junction_current(self.compiled.junction_arrays, state.junction)
        offset = current - slope * state.junction
        shrink = 1.0 / (1.0 + slope * self.compiled.junction_arrays.series)
        return slope * shrink, offset * shrink

    def _bjt_tangent(self, state: State) -> tuple[Floats, Floats]:
        arrays = self.compiled.bjt_arrays
        v_be, v_bc = state.bjt
        current, slopes = bjt_currents(arrays, v_be, v_bc)
        offset = current - slopes[:, 0] * v_be - slopes[:, 1] * v_bc
        matrix = np.stack([-slopes[:, 1], slopes[:, 0] + slopes[:, 1], -slopes[:, 0]], axis=1)
        return _condensed(matrix, arrays.sign * offset, arrays.series)

    def _mosfet_tangent(self, state: State) -> tuple[Floats, Floats]:
        arrays = self.compiled.mosfet_arrays
        v_gs, v_ds = state.mosfet
        current, by_gs, by_ds = mosfet_current(arrays, v_gs, v_ds)
        nothing = np.zeros_like(current)
        offset = current - by_gs * v_gs - by_ds * v_ds
        drain = np.array([by_ds, by_gs, -by_gs - by_ds])
        matrix = np.array([drain, np.zeros_like(drain), -drain])
        return _condensed(matrix, arrays.sign * np.array([offset, nothing, -offset]), arrays.series)

    # from a solution back to the devices ------------------------------------------------------------------

    def within_reach(self, x: Floats) -> tuple[Floats, bool]:
        """Return a trial solution with no net beyond what the sources add up to, and whether any was.

        Circuits of resistances, junctions and transistors have no voltage gain over their sources (Willson 1975, "The
        no-gain property for networks containing three-terminal elements").
        """
        nets = x[: self.nodes]
        if not (np.abs(nets) > self._bound_v).any():
            return x, False
        kept = x.copy()
        kept[: self.nodes] = np.clip(nets, -self._bound_v, self._bound_v)
        return kept, True

    def controls(self, x: Floats, tangent: Tangent) -> State:
        """Return what the devices see at a solution `x` (padded) of a tangent's equations."""
        c = self.compiled
        across = x[self.junction_rows[0]] - x[self.junction_rows[1]]
        slope, offset = tangent.junction
        junction = across - c.junction_arrays.series * (slope * across + offset)
        collector, base, emitter = _inner(x[self.bjt_rows], tangent.bjt, c.bjt_arrays.series)
        bjt = c.bjt_arrays.sign * np.array([base - emitter, base - collector])
        drain, gate, source = _inner(x[self.mosfet_rows], tangent.mosfet, c.mosfet_arrays.series)
        mosfet = c.mosfet_arrays.sign * np.array([gate - source, drain - source])
        return State(junction, bjt, mosfet, self._modes(x))

    def _modes(self, x: Floats) -> NDArray[np.bool_]:
        """Return which supplies hold their current: the side of the corner that is nearer (semismooth Newton)."""
        volt, ampere, ohm = self.supply_values
        delivered = x[self.size - len(volt) : self.size]
        spare_v = volt - ohm * delivered - (x[self.supply_rows[0]] - x[self.supply_rows[1]])
        spare_a = ampere - delivered
        modes: NDArray[np.bool_] = spare_a * volt < spare_v * ampere
        return modes

    def limited(self, new: State, old: State) -> tuple[State, bool]:
        """Return the state with steps of junctions and gates held back, and whether any was or a supply changed."""
        kept = State(
            self._limits.junction(new.junction, old.junction),
            self._limits.bjt(new.bjt, old.bjt),
            self._limits.mosfet(new.mosfet, old.mosfet),
            new.holds_current,
        )
        same = (
            _same(kept.junction, new.junction)
            and _same(kept.bjt, new.bjt)
            and _same(kept.mosfet, new.mosfet)
            and np.array_equal(new.holds_current, old.holds_current)
        )
        return kept, not same

    # linear algebra ---------------------------------------------------------------------------------------

    def solve(self, tangent: Tangent) -> Floats | None:
        """Return the solution (padded with the reference's zero), or None where the matrix gives none."""
        return self.solver.solve(tangent.values, tangent.right)

    @property
    def solver(self) -> LinearSolver:
        """The linear solver that suits the size."""
        if self._solver is None:
            self._solver = linear_solver(self.rows, self.cols, self.size)
        return self._solver

    def residual(self, tangent: Tangent, x: Floats) -> tuple[Floats, Floats]:
        """Return what the equations at `x` leave over, and the sum of magnitudes of the terms they add up."""
        terms = tangent.values * x[self.cols]
        rows, right = self._own_rows, tangent.right[: self.size]
        left = np.zeros(self.size + 1) + np.bincount(rows, terms, self.size + 1)
        scale = np.zeros(self.size + 1) + np.bincount(rows, np.abs(terms), self.size + 1)
        return left[: self.size] - right, scale[: self.size] + np.abs(right)


def _same(kept: Floats, new: Floats) -> bool:
    return kept is new or np.array_equal(kept, new)


def _condensed(matrix: Floats, offset: Floats, series: Floats) -> tuple[Floats, Floats]:
    """Return a device's tangent at its outer terminals: (1 + G R)^-1 G and (1 + G R)^-1 i0."""
    if not series.any():
        return matrix, offset
    inner = np.eye(3) + (matrix * series).transpose(2, 0, 1)
    both = np.linalg.solve(inner, np.concatenate([matrix, offset[:, None]], axis=1).transpose(2, 0, 1))
    outer = both.transpose(1, 2, 0)
    return outer[:, :3], outer[:, 3]


def _inner(outer: Floats, tangent: tuple[Floats, Floats], series: Floats) -> Floats:
    """Return a device's voltages behind its series resistances."""
    if not series.any():
        return outer
    matrix, offset = tangent
    inner: Floats = outer - series * (np.einsum("ijn,jn->in", matrix, outer) + offset)
    return inner
