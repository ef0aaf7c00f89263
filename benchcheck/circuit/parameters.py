"""How the equations of a circuit move with the numbers its parts carry: one short column per number.

A column holds -dF/dp at a solved point, F being Kirchhoff's laws; J dx/dp = column then gives how every
voltage moves, and one solution of the transposed equations gives how one voltage moves with every number
(adjoint method, Director and Rohrer 1969).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .compiled import Compiled
from .devices import (
    Bjt,
    Capacitor,
    CurrentSource,
    Device,
    Inductor,
    Mosfet,
    Resistor,
    Switch,
    VoltageSource,
    Zener,
)
from .newton import Solution
from .physics import BjtArrays, bjt_currents, junction_parts, mosfet_current

__all__ = ["Column", "Key", "columns"]

Floats = NDArray[np.float64]

#: a number of a part: (designator, field)
Key = tuple[str, str]
#: the entries of one column: (row, amount) pairs
Column = tuple[tuple[int, float], ...]

_RESISTANCE: Mapping[type[Device], str] = {
    Resistor: "resistance_ohm",
    Inductor: "dc_resistance_ohm",
    Switch: "closed_resistance_ohm",
    Capacitor: "leakage_ohm",
    VoltageSource: "series_resistance_ohm",
}


def columns(compiled: Compiled, devices: Mapping[str, Device], solution: Solution) -> Iterator[tuple[Key, Column]]:
    """Yield the column of every number direct current depends on, for the devices named.

    Resistances per ohm; voltages and currents of sources; forward voltages of junctions and transistors,
    zener voltages and thresholds per volt.
    """
    yield from _resistances(compiled, devices, solution.x)
    yield from _sources(compiled, devices, solution)
    yield from _junctions(compiled, devices, solution)
    yield from _bjts(compiled, devices, solution)
    yield from _mosfets(compiled, devices, solution)


def _resistances(c: Compiled, devices: Mapping[str, Device], x: Floats) -> Iterator[tuple[Key, Column]]:
    for name, a, b, siemens in c.conductances:
        if device := devices.get(name):
            flow = float((x[a] - x[b]) * siemens**2)
            yield (name, _RESISTANCE[type(device)]), ((a, flow), (b, -flow))
    for at, branch in enumerate(c.branches, c.nodes):
        if device := devices.get(branch.designator):
            yield (branch.designator, _RESISTANCE[type(device)]), ((at, float(x[at])),)


def _sources(c: Compiled, devices: Mapping[str, Device], solution: Solution) -> Iterator[tuple[Key, Column]]:
    for at, branch in enumerate(c.branches, c.nodes):
        if isinstance(devices.get(branch.designator), VoltageSource):
            yield (branch.designator, "voltage_v"), ((at, 1.0),)
    for name, plus, minus, _ in c.currents:
        if name in devices:
            yield (name, "current_a"), ((plus, 1.0), (minus, -1.0))
    first = c.nodes + len(c.branches)
    for at, supply in enumerate(c.supplies, first):
        if device := devices.get(supply.designator):
            field = _limit_field(device, bool(solution.state.holds_current[at - first]))
            yield (supply.designator, field), ((at, 1.0),)


def _limit_field(device: Device, holds_current: bool) -> str:
    if isinstance(device, CurrentSource):
        return "current_a" if holds_current else "compliance_v"
    return "current_limit_a" if holds_current else "voltage_v"


def _junctions(c: Compiled, devices: Mapping[str, Device], solution: Solution) -> Iterator[tuple[Key, Column]]:
    arrays = c.junction_arrays
    forward, broken, slope = junction_parts(arrays, solution.state.junction)
    shrink = 1.0 / (1.0 + slope * arrays.series)
    by_drop = -forward / arrays.slope_v * shrink
    by_breakdown = -broken / arrays.breakdown_slope_v * shrink
    for at, junction in enumerate(c.junctions):
        device = devices.get(junction.designator)
        if device is None:
            continue
        by = float((by_breakdown if isinstance(device, Zener) else by_drop)[at])
        field = "drop_shift_v" if isinstance(device, Mosfet) else device.VALUE
        yield (junction.designator, field), ((junction.plus, -by), (junction.minus, by))


def _bjts(c: Compiled, devices: Mapping[str, Device], solution: Solution) -> Iterator[tuple[Key, Column]]:
    """Columns of the forward voltage: IS moves by exp(-shift / (NF VT)), taken by a central difference."""
    if not c.bjts:
        return
    arrays, (v_be, v_bc) = c.bjt_arrays, solution.state.bjt
    step = 1e-5
    low, _ = bjt_currents(_scaled(arrays, 1.0 - step), v_be, v_bc)
    high, _ = bjt_currents(_scaled(arrays, 1.0 + step), v_be, v_bc)
    by = arrays.sign * (high - low) / (2.0 * step) * -1.0 / arrays.forward_slope_v
    by = by - np.einsum("ijn,jn->in", solution.tangent.bjt[0], arrays.series * by)
    for at, (bjt, rows) in enumerate(c.bjts):
        if isinstance(devices.get(bjt.designator), Bjt):
            yield (bjt.designator, bjt.VALUE), tuple((row, -float(by[i, at])) for i, row in enumerate(rows))


def _scaled(arrays: BjtArrays, factor: float) -> BjtArrays:
    return replace(arrays, saturation=arrays.saturation * factor)


def _mosfets(c: Compiled, devices: Mapping[str, Device], solution: Solution) -> Iterator[tuple[Key, Column]]:
    if not c.mosfets:
        return
    arrays, (v_gs, v_ds) = c.mosfet_arrays, solution.state.mosfet
    _, by_gs, _ = mosfet_current(arrays, v_gs, v_ds)
    by = arrays.sign * np.stack([-by_gs, np.zeros_like(by_gs), by_gs])
    by = by - np.einsum("ijn,jn->in", solution.tangent.mosfet[0], arrays.series * by)
    for at, (mosfet, rows) in enumerate(c.mosfets):
        if mosfet.designator in devices:
            yield (mosfet.designator, mosfet.VALUE), tuple((row, -float(by[i, at])) for i, row in enumerate(rows))
