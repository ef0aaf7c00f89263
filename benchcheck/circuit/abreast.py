"""One meter on many variants of a small board at once: what a part's faults would read, in the time of a few.

The variants become one circuit in which they share nothing but the black net, so that a step of Newton's method
serves all of them; its equations fall into blocks, which are solved as such. Nothing else differs from one at a time:
the starts, the ranges from the lowest up, the residual to arrive on. Where they do not all arrive, none has.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .compiled import Compiled, compile_netlist
from .devices import CurrentSource
from .excitation import DiodeTest, Excitation, Ohms
from .linear import Vector, padded
from .netlist import Netlist
from .newton import Solution, looks_unstable, newton
from .physics import Conditions, on_a_board
from .reading import SOURCE, with_lead
from .solution import MOST_STEPS_NEAR
from .starts import Starts
from .system import State, System
from .tangents import together

__all__ = ["read_abreast"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Range:
    """What the source gives at most, in ampere and volt; the volts are shown `per` ampere (ohms) or as they are."""

    ampere: float
    volt: float
    per: float
    full_scale: float
    key: object


def read_abreast(
    netlists: Sequence[Netlist],
    red: str,
    black: str,
    excitation: Excitation,
    starts: Starts,
    conditions: Conditions | None = None,
) -> tuple[float | None, ...] | None:
    """Return what the meter shows on every netlist, None for overload, each as `solve_reading` would.

    Returns None where they cannot be read abreast: a function other than ohms and diode mode, a netlist that says
    of itself that it cannot be solved, no starts from a like circuit, and where not all arrive from there.
    """
    ranges = tuple(_ranges(red, black, excitation))
    if not ranges or red == black or not netlists:
        return None
    lead_ohm = excitation.lead_resistance_ohm if isinstance(excitation, Ohms) else 0.0
    try:
        at = on_a_board(conditions)
        system = _Abreast([_compiled(each, red, black, ranges[0], lead_ohm, at) for each in netlists])
    except CircuitError:
        return None
    begin = system.state_of(starts, ranges[0].key)
    return None if begin is None else _read(system, ranges, begin)


def _ranges(red: str, black: str, excitation: Excitation) -> Iterator[_Range]:
    if isinstance(excitation, Ohms):
        for row in excitation.ranges:
            ampere = row.test_current_a
            yield _Range(ampere, row.compliance_v, ampere, row.full_scale_ohm, (red, black, row))
    elif isinstance(excitation, DiodeTest):
        key = red, black, excitation
        yield _Range(excitation.test_current_a, excitation.compliance_v, 1.0, excitation.full_scale_v, key)


def _compiled(
    netlist: Netlist, red: str, black: str, first: _Range, lead_ohm: float, at: Conditions
) -> tuple[Compiled, int]:
    """Return a netlist with the meter on it, and the row of the meter's red socket."""
    netlist.require_nets(red, black)
    seen, socket = with_lead(netlist, red, lead_ohm)
    source = CurrentSource(SOURCE, socket, black, first.ampere, first.volt)
    compiled = compile_netlist(seen.adding(source), black, at)
    if not compiled.supplies or compiled.supplies[-1].designator != SOURCE:
        raise CircuitError(f"{red} and {black} are one net")
    return compiled, compiled.row_of[socket]


def _read(system: _Abreast, ranges: Sequence[_Range], state: State) -> tuple[float | None, ...] | None:
    """Return what the lowest range that shows a number shows, None where none does; None where not all arrive."""
    values: list[float | None] = [None] * len(system.sources)
    waiting, found = np.ones(len(values), bool), None
    for row in ranges:
        if found is not None and system.hold_on(found, row)[waiting].all():
            continue
        system.supply_values[:2, system.sources[waiting]] = [[row.volt], [row.ampere]]
        found = newton(system, state, most_steps=MOST_STEPS_NEAR)
        if found is None or looks_unstable(system, found):
            return None
        state, shown = found.state, found.x[system.sockets] / row.per
        now = waiting & state.holds_current[system.sources] & (shown <= row.full_scale)
        for at in np.flatnonzero(now):
            values[at] = float(shown[at])
        waiting &= ~now
        if not waiting.any():
            break
    return tuple(values)


class _Abreast(System):
    """Compiled netlists side by side; `sources` are the places of their meters among the supplies, `sockets` rows."""

    def __init__(self, parts: Sequence[tuple[Compiled, int]]) -> None:
        self._parts = [compiled for compiled, _ in parts]
        nodes = [each.nodes for each in self._parts]
        supplies = [len(each.supplies) for each in self._parts]
        before = [0, *accumulate(nodes)][:-1]
        super().__init__(_side_by_side(self._parts, before))
        self.sources = np.cumsum(supplies) - 1
        self.sockets = np.array([row + first for (_, row), first in zip(parts, before, strict=True)])
        branches = [len(each.branches) for each in self._parts]
        blocks = [np.repeat(np.arange(len(parts)), each) for each in (nodes, branches, supplies)]
        block = np.concatenate(blocks)
        self._solver = _Blocks(self.rows, self.cols, block)
        volts = [b.voltage_v for b in self.compiled.branches], [s.voltage_v for s in self.compiled.supplies]
        sums = sum(np.bincount(at, np.abs(each), len(parts)) for at, each in zip(blocks[1:], volts, strict=True))
        pumped = np.array([bool(each.currents) for each in self._parts])
        self._bound_v = np.where(pumped, np.inf, 1.0 + sums)[blocks[0]]

    def state_of(self, starts: Starts, key: object) -> State | None:
        """Return the state to begin in, every netlist's own beside the others'; None where there is none."""
        each = [starts.state(key, compiled) for compiled in self._parts]
        known = [state for state in each if state is not None]
        if len(known) < len(each):
            return None
        return State(*(np.concatenate([getattr(s, name) for s in known], axis=-1) for name in State.__slots__))

    def hold_on(self, found: Solution, row: _Range) -> Bools:
        """Return where nothing moves on another range: the same voltage is held, and less flows than it gives."""
        delivered = found.x[self.size - self.supply_values.shape[1] : self.size][self.sources]
        limited = ~found.state.holds_current[self.sources]
        still: Bools = limited & (self.supply_values[0, self.sources] == row.volt) & (delivered < row.ampere)
        return still


def _side_by_side(parts: Sequence[Compiled], before: Sequence[int]) -> Compiled:
    """Return the netlists as one; `before` are the rows of nets that come before each one's own."""

    def row(at: int, first: int) -> int:
        return at if at < 0 else at + first

    def rows(at: tuple[int, int, int], first: int) -> tuple[int, int, int]:
        return row(at[0], first), row(at[1], first), row(at[2], first)

    each = list(zip(parts, before, strict=True))
    return Compiled(
        conditions=parts[0].conditions,
        reference=parts[0].reference,
        row_of={},
        floating=(),
        nodes=sum(part.nodes for part in parts),
        conductances=tuple((n, row(a, f), row(b, f), g) for part, f in each for n, a, b, g in part.conductances),
        currents=tuple((n, row(a, f), row(b, f), i) for part, f in each for n, a, b, i in part.currents),
        branches=tuple(replace(x, plus=row(x.plus, f), minus=row(x.minus, f)) for p, f in each for x in p.branches),
        supplies=tuple(replace(x, plus=row(x.plus, f), minus=row(x.minus, f)) for p, f in each for x in p.supplies),
        junctions=tuple(replace(x, plus=row(x.plus, f), minus=row(x.minus, f)) for p, f in each for x in p.junctions),
        bjts=tuple((bjt, rows(at, f)) for part, f in each for bjt, at in part.bjts),
        mosfets=tuple((mosfet, rows(at, f)) for part, f in each for mosfet, at in part.mosfets),
        junction_arrays=together([part.junction_arrays for part in parts]),
        bjt_arrays=together([part.bjt_arrays for part in parts]),
        mosfet_arrays=together([part.mosfet_arrays for part in parts]),
    )


class _Blocks:
    """Elimination block by block; `block` says which one every unknown belongs to."""

    def __init__(self, rows: Indices, cols: Indices, block: Indices) -> None:
        size = len(block)
        self._count = int(block.max()) + 1
        self._block = block
        self._local = np.zeros(size, np.intp)
        for each in range(self._count):
            own = np.flatnonzero(block == each)
            self._local[own] = np.arange(len(own))
        self._wide = int(self._local.max()) + 1
        inside = (rows >= 0) & (cols >= 0)
        self._inside, row, col = inside, rows[inside], cols[inside]
        self._flat = (block[row] * self._wide + self._local[row]) * self._wide + self._local[col]
        spare = np.ones((self._count, self._wide))
        spare[block, self._local] = 0.0
        self._spare = spare[:, :, None] * np.eye(self._wide)

    def _matrices(self, values: Vector) -> Vector:
        shape = self._spare.shape
        return np.bincount(self._flat, values[self._inside], self._spare.size).reshape(shape) + self._spare

    def solve(self, values: Vector, right: Vector, *, transposed: bool = False) -> Vector | None:
        matrices = self._matrices(values)
        if transposed:
            matrices = matrices.transpose(0, 2, 1)
        largest = np.abs(matrices).max(axis=2)
        if not largest.all():
            return None
        known = np.zeros((self._count, self._wide))
        known[self._block, self._local] = right[:-1]
        try:
            found = np.linalg.solve(matrices / largest[:, :, None], (known / largest)[:, :, None])
        except np.linalg.LinAlgError:
            return None
        return padded(found[self._block, self._local, 0])

    def sign(self, values: Vector) -> Floats:
        signs: Floats = np.linalg.slogdet(self._matrices(values))[0]
        return signs
