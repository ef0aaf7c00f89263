"""Where to start: the states that circuits were found in, for circuits like them.

A meter's next range, and a board with one part faulty, settle near where the last one did, in a few steps instead of
twenty. A start decides nothing: the point reached is accepted on the residual of Kirchhoff's laws as ever, and where
none is reached the circuit is solved from rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .compiled import Compiled
from .system import State

__all__ = ["Starts"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Kept:
    """A state by the names of its devices: junctions' voltages; V_BE and V_BC; V_GS and V_DS; supplies' modes."""

    junction: Mapping[tuple[str, str], float]
    bjt: Mapping[str, Floats]
    mosfet: Mapping[str, Floats]
    holds_current: Mapping[str, bool]


class Starts:
    """States of circuits, each under a key of the caller's choice (a meter's range); later ones may begin there."""

    def __init__(self) -> None:
        self._kept: dict[object, _Kept] = {}

    def keep(self, key: object, compiled: Compiled, state: State) -> None:
        """Remember a state; the first under a key stays, for it is the good board's."""
        if key in self._kept:
            return
        c = compiled
        self._kept[key] = _Kept(
            {(j.designator, j.name): float(v) for j, v in zip(c.junctions, state.junction, strict=True)},
            {bjt.designator: state.bjt[:, at] for at, (bjt, _) in enumerate(c.bjts)},
            {mosfet.designator: state.mosfet[:, at] for at, (mosfet, _) in enumerate(c.mosfets)},
            {s.designator: bool(held) for s, held in zip(c.supplies, state.holds_current, strict=True)},
        )

    def state(self, key: object, compiled: Compiled) -> State | None:
        """Return the state kept under a key, as the devices of this circuit see it; None where none was kept.

        A device that was not there is at rest.
        """
        kept = self._kept.get(key)
        if kept is None:
            return None
        c, rest = compiled, np.zeros(2)
        return State(
            np.array([kept.junction.get((j.designator, j.name), 0.0) for j in c.junctions]),
            np.array([kept.bjt.get(bjt.designator, rest) for bjt, _ in c.bjts]).reshape(-1, 2).T.copy(),
            np.array([kept.mosfet.get(one.designator, rest) for one, _ in c.mosfets]).reshape(-1, 2).T.copy(),
            np.array([kept.holds_current.get(s.designator, False) for s in c.supplies], dtype=bool),
        )
