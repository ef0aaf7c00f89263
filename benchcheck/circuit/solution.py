"""The direct-current operating point of a netlist: voltages of nets, currents of sources, states of junctions.

A circuit may have several. The one reported is reached from rest (all devices at 0 V) unless start voltages
are given; a point no circuit can rest at is never reported. `operating_points` looks for the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .compiled import Compiled, compile_netlist
from .netlist import Netlist
from .newton import STRATEGIES, Solution, looks_unstable, newton, worst_rows
from .physics import Conditions, bjt_currents, junction_current
from .system import State, System

__all__ = [
    "MOST_STEPS_NEAR",
    "JunctionState",
    "OperatingPoint",
    "conducting_starts",
    "operating_point",
    "operating_points",
    "solve_system",
]

Floats = NDArray[np.float64]

#: a junction that carries less than this, in ampere, is said to block
_BLOCKS_BELOW_A = 1e-8
#: states that lie closer than this everywhere, in volt, are one
_APART_V = 1e-3
#: a start that has not led there by then was not near
MOST_STEPS_NEAR = 30


@dataclass(frozen=True, slots=True)
class JunctionState:
    """One junction at an operating point: its own forward voltage in volt and its current in ampere."""

    designator: str
    name: str
    voltage_v: float
    current_a: float
    state: Literal["conducts", "blocks", "breaks down"]


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """A solved netlist.

    `voltages`: volt per net against the reference, nets that float left out and listed in `floating`;
    `currents`: ampere per source, positive when it delivers out of its plus pin; `limiting`: sources that
    hold their limit (a current source at its compliance, a voltage source at its current limit); `method`
    and `steps`: how it was found.
    """

    reference: str
    voltages: Mapping[str, float]
    currents: Mapping[str, float]
    junctions: tuple[JunctionState, ...]
    limiting: frozenset[str]
    floating: tuple[frozenset[str], ...]
    method: str
    steps: int


def operating_point(
    netlist: Netlist,
    reference: str,
    conditions: Conditions | None = None,
    *,
    start: Mapping[str, float] | None = None,
) -> OperatingPoint:
    """Return the operating point, voltages being against net `reference`.

    `start` gives voltages, in volt, to start from on some nets (the others start at 0 V).
    Raises CircuitError, naming nets and parts, for what cannot be solved.

    >>> from benchcheck.circuit.devices import Resistor, VoltageSource
    >>> divider = Resistor("R13", "VSW", "FB", 24e3), Resistor("R14", "FB", "GND", 4.7e3)
    >>> board = Netlist([VoltageSource("V1", "VSW", "GND", 9.0), *divider])
    >>> round(operating_point(board, "GND").voltages["FB"], 6)
    1.473868
    """
    system = System(compile_netlist(netlist, reference, conditions or Conditions()))
    return report(system, solve_system(system, start=start))


def operating_points(
    netlist: Netlist,
    reference: str,
    conditions: Conditions | None = None,
    *,
    starts: Iterable[Mapping[str, float]] = (),
) -> tuple[OperatingPoint, ...]:
    """Return every operating point found: from rest, with transistors conducting, by every strategy, from `starts`.

    There may be more: no finite search can exclude that. Points no circuit can rest at are left out.
    """
    system = System(compile_netlist(netlist, reference, conditions or Conditions()))
    candidates = [strategy(system, system.at_rest()) for strategy in STRATEGIES.values()]
    candidates += [newton(system, state) for state in conducting_starts(system)]
    candidates += [newton(system, _start_state(system, start)) for start in starts]
    found = _stable(system, candidates) or (solve_system(system),)
    return tuple(report(system, solution) for solution in found)


def _stable(system: System, candidates: Iterable[Solution | None]) -> tuple[Solution, ...]:
    """Return the different points among these that a circuit can rest at."""
    found: list[Solution] = []
    for candidate in candidates:
        if candidate is None or looks_unstable(system, candidate):
            continue
        if not any(np.allclose(candidate.x, known.x, rtol=1e-6, atol=1e-6) for known in found):
            found.append(candidate)
    return tuple(found)


def solve_system(system: System, *, start: Mapping[str, float] | None = None, near: State | None = None) -> Solution:
    """Return the first stable point that the strategies reach in turn; raises CircuitError when none does.

    `near` is the state of a circuit like it, tried first.
    """
    if near is not None:
        found = newton(system, near, most_steps=MOST_STEPS_NEAR)
        if found is not None and not looks_unstable(system, found):
            return found
    state = system.at_rest() if start is None else _start_state(system, start)
    unstable = None
    for name, strategy in STRATEGIES.items():
        found = strategy(system, state)
        if found is None:
            continue
        if not looks_unstable(system, found):
            return Solution(found.x, found.state, found.tangent, found.steps, name)
        unstable = found
    raise CircuitError(_no_point(system, state, unstable))


def _no_point(system: System, state: State, unstable: Solution | None) -> str:
    names = system.compiled.net_names()
    if unstable is not None:
        states = _stable(system, (newton(system, start) for start in conducting_starts(system)))
        if len(states) > 1:
            return (
                f"the circuit has {len(states)} states it can rest in, apart at {_apart(system, states)}: a reading "
                "goes with the one it is in; lift a leg that feeds one transistor from the other"
            )
        return (
            "no state the circuit can rest in was found, only an unstable one, in which "
            f"{', '.join(_at_transistors(system))} hold one another; give start voltages near the state you expect"
        )
    worst = ", ".join(names[row] for row in worst_rows(system, state))
    return (
        f"the circuit does not settle to an operating point; the nets that disagree most are {worst}: "
        "check the values and pins of the parts there, or give start voltages"
    )


def _apart(system: System, states: Sequence[Solution]) -> str:
    """Return the nets whose voltages differ most between states, at most four."""
    nodes = np.stack([state.x[: system.nodes] for state in states])
    spread = nodes.max(axis=0) - nodes.min(axis=0)
    worst = [int(row) for row in np.argsort(-spread)[:4] if spread[row] > _APART_V]
    return ", ".join(system.compiled.net_names()[row] for row in worst)


def _at_transistors(system: System) -> list[str]:
    names, c = system.compiled.net_names(), system.compiled
    rows = {row for _, three in (*c.bjts, *c.mosfets) for row in three if row >= 0}
    return [names[row] for row in sorted(rows)][:4]


def _start_state(system: System, start: Mapping[str, float]) -> State:
    """Return what the devices see when nets stand at the start voltages."""
    c = system.compiled
    x = np.zeros(system.size + 1)
    for net, voltage in start.items():
        row = c.row_of.get(net)
        if row is None:
            raise CircuitError(f"{net}: no start voltage can be given here; direct current does not reach this net")
        if row >= 0:
            x[row] = voltage
    seen = system.controls(x, system.tangent(system.at_rest()))
    kept, _ = system.limited(seen, system.at_rest())
    return State(kept.junction, np.minimum(seen.bjt, 0.9), seen.mosfet, kept.holds_current)


def conducting_starts(system: System) -> Iterator[State]:
    """Yield states with transistors conducting: all of them, then each one alone."""
    c = system.compiled
    on_bjt = np.stack([np.full(len(c.bjts), 0.7), np.full(len(c.bjts), -1.0)])
    on_mosfet = np.stack([c.mosfet_arrays.threshold + 2.0, np.full(len(c.mosfets), 0.1)])
    rest = system.at_rest()
    yield State(rest.junction, on_bjt, on_mosfet, rest.holds_current)
    for chosen in range(len(c.bjts)):
        mask = np.arange(len(c.bjts)) == chosen
        yield State(rest.junction, on_bjt * mask, rest.mosfet, rest.holds_current)
    for chosen in range(len(c.mosfets)):
        mask = np.arange(len(c.mosfets)) == chosen
        yield State(rest.junction, rest.bjt, on_mosfet * mask, rest.holds_current)


def report(system: System, solution: Solution) -> OperatingPoint:
    """Return a solution in words and names."""
    c = system.compiled
    x = solution.x
    sources = {name: ampere for name, _, _, ampere in c.currents}
    sources |= {b.designator: -float(x[at]) for at, b in enumerate(c.branches, c.nodes) if ":" not in b.designator}
    first = c.nodes + len(c.branches)
    sources |= {s.designator: float(x[at]) for at, s in enumerate(c.supplies, first)}
    return OperatingPoint(
        reference=c.reference,
        voltages={net: float(x[row]) for net, row in c.row_of.items() if ":" not in net},
        currents=sources,
        junctions=junction_states(c, solution.state),
        limiting=frozenset(
            s.designator
            for s, holds_current in zip(c.supplies, solution.state.holds_current, strict=True)
            if holds_current != s.limit_is_voltage
        ),
        floating=c.floating,
        method=solution.method,
        steps=solution.steps,
    )


def junction_states(compiled: Compiled, state: State) -> tuple[JunctionState, ...]:
    """Return the state of every junction, transistors' own included."""
    current, _ = junction_current(compiled.junction_arrays, state.junction)
    found = [
        _junction_state(j.designator, j.name, float(v), float(i), j.model.breakdown_voltage_v)
        for j, v, i in zip(compiled.junctions, state.junction, current, strict=True)
    ]
    flows, _ = bjt_currents(compiled.bjt_arrays, state.bjt[0], state.bjt[1])
    for at, (bjt, _) in enumerate(compiled.bjts):
        v_be, v_bc = (float(v) for v in state.bjt[:, at])
        found.append(_junction_state(bjt.designator, "base-emitter", v_be, float(-flows[2, at]), None))
        found.append(_junction_state(bjt.designator, "base-collector", v_bc, float(-flows[0, at]), None))
    return tuple(found)


def _junction_state(
    designator: str, name: str, voltage: float, current: float, breakdown: float | None
) -> JunctionState:
    if abs(current) < _BLOCKS_BELOW_A:
        return JunctionState(designator, name, voltage, current, "blocks")
    broken = breakdown is not None and current < 0
    forward = voltage > 0
    state: Literal["conducts", "blocks", "breaks down"] = (
        "breaks down" if broken else "conducts" if forward else "blocks"
    )
    return JunctionState(designator, name, voltage, current, state)
