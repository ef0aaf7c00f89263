"""Which readings a fault cannot move: those in which nothing it takes out or puts in carries any current.

A part that carries no current in a reading can be taken out without changing it, and one that would carry none
can be put in. About three quarters of all readings of all faults are settled so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .batch import Outcome
from .physics import bjt_currents, junction_current, mosfet_current
from .tangents import taken
from .variants import Variants

__all__ = ["NOTHING", "Screen"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: of the test current; a passive network turns a stray current into at most the reading's own share of it
NOTHING = 1e-8


class Screen:
    """The good board's readings, looked at device by device; `nothing` is a share of the test current."""

    def __init__(self, variants: Variants, good: Outcome, ampere: Floats, nothing: float = NOTHING) -> None:
        self._v, self._limit = variants, nothing * ampere
        self._x = good.unknowns
        j, q, m = len(variants.junctions), len(variants.bjts), len(variants.mosfets)
        seen_j, seen_q = good.seen[:j], good.seen[j : j + 2 * q].reshape(2, q, good.seen.shape[1])
        seen_m = good.seen[j + 2 * q :].reshape(2, m, good.seen.shape[1])
        flows = [junction_current(variants.junction_arrays, seen_j)[0]]
        terminals, _ = bjt_currents(variants.bjt_arrays, seen_q[0], seen_q[1])
        channel, _, _ = mosfet_current(variants.mosfet_arrays, seen_m[0], seen_m[1])
        flows += [np.abs(terminals).max(axis=0), channel]
        names = [x.designator for x in variants.junctions]
        names += [bjt.designator for bjt, _ in variants.bjts] + [mosfet.designator for mosfet, _ in variants.mosfets]
        self._flows: dict[str, Floats] = {}
        for name, flow in zip(names, np.concatenate(flows), strict=True):
            self._raise(name, flow)
        for name, a, b, siemens in variants.conductances:
            self._raise(name, siemens * (self._x[a] - self._x[b]))
        for at, branch in enumerate(variants.branches, variants.nets):
            self._raise(branch.designator, self._x[at])

    def _raise(self, name: str, flow: Floats) -> None:
        before = self._flows.get(name)
        self._flows[name] = np.abs(flow) if before is None else np.maximum(before, np.abs(flow))

    def moved(self, variant: int) -> Bools:
        """Return which readings a variant may move."""
        moved = np.zeros(len(self._limit), bool)
        for name in self._v.removed[variant]:
            if (flow := self._flows.get(name)) is not None:
                moved |= flow > self._limit
        for a, b, ohm in self._v.added_ohmic[variant]:
            moved |= np.abs(self._x[a] - self._x[b]) > self._limit * ohm
        return moved | self._extra_flows(variant)

    def _extra_flows(self, variant: int) -> Bools:
        """Return where a changed device would carry current at the good board's voltages."""
        extras, x = self._v.extras, self._x
        moved = np.zeros(len(self._limit), bool)
        if (at := extras.junction_of[variant]) >= 0:
            plus, minus = extras.junction_rows[at]
            flow, _ = junction_current(taken(extras.junctions, np.array([at])), (x[plus] - x[minus])[None])
            moved |= np.abs(flow[0]) > self._limit
        if (at := extras.bjt_of[variant]) >= 0 and extras.open_pin[at] < 0:
            arrays, (collector, base, emitter) = taken(extras.bjts, np.array([at])), extras.bjt_rows[at]
            v_be, v_bc = arrays.sign * (x[base] - x[emitter]), arrays.sign * (x[base] - x[collector])
            terminals, _ = bjt_currents(arrays, v_be[None], v_bc[None])
            moved |= np.abs(terminals[:, 0]).max(axis=0) > self._limit
        if (at := extras.mosfet_of[variant]) >= 0:
            channels, (drain, gate, source) = taken(extras.mosfets, np.array([at])), extras.mosfet_rows[at]
            v_gs, v_ds = channels.sign * (x[gate] - x[source]), channels.sign * (x[drain] - x[source])
            flow, _, _ = mosfet_current(channels, v_gs[None], v_ds[None])
            moved |= np.abs(flow[0]) > self._limit
        return moved
