"""Which readings a fault cannot move: those in which nothing it takes out or puts in carries any current.

A part that carries no current in a reading can be taken out without changing it, and one that would carry none
can be put in. About three quarters of all readings of all faults are settled so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .items import Outcome
from .physics import bjt_currents, junction_current, mosfet_current
from .variants import Variants

__all__ = ["NOTHING", "Screen"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

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
        self._by_extra = self._extra_flows()

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
        for of, flows in self._by_extra:
            if of[variant] >= 0:
                moved |= flows[of[variant]]
        return moved

    def _extra_flows(self) -> tuple[tuple[Indices, Bools], ...]:
        """Return where each changed device would carry current at the good board's voltages, and whose it is."""
        extras, x, limit = self._v.extras, self._x, self._limit
        plus, minus = extras.junction_rows.T
        junctions, _ = junction_current(extras.junctions, x[plus] - x[minus])
        collector, base, emitter = extras.bjt_rows.T
        sign = extras.bjts.sign[:, None]
        terminals, _ = bjt_currents(extras.bjts, sign * (x[base] - x[emitter]), sign * (x[base] - x[collector]))
        bjts = (np.abs(terminals).max(axis=0) > limit) & (extras.open_pin < 0)[:, None]
        drain, gate, source = extras.mosfet_rows.T
        sign = extras.mosfets.sign[:, None]
        channels, _, _ = mosfet_current(extras.mosfets, sign * (x[gate] - x[source]), sign * (x[drain] - x[source]))
        return (
            (extras.junction_of, np.abs(junctions) > limit),
            (extras.bjt_of, bjts),
            (extras.mosfet_of, np.abs(channels) > limit),
        )
