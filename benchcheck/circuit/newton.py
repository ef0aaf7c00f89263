"""Newton's method on a circuit's equations, and what to do when it does not arrive.

A step is accepted on the residual of Kirchhoff's laws with no device held back, never on step size alone: a
damped step is small long before the answer is near. When the plain method fails, the circuit is eased in:
shunts to the reference taken away decade by decade, sources brought up from nothing, and last the circuit
let settle in time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .system import State, System, Tangent

__all__ = ["STRATEGIES", "Solution", "looks_unstable", "newton", "worst_rows"]

Floats = NDArray[np.float64]

_MOST_STEPS = 90
_RESIDUAL = 1e-10
_ROUNDING = 1e-13
_RESIDUAL_OF_LEAKS = 1e-6
_NOTHING_A = 1e-19
_STEP_V = 1e-9
_STEP_ROUNDING_V = 1e-12
#: steps after which two in eight go half way: what has not arrived by then goes round in a circle
_FREE_STEPS = 30
#: a group of nets that hangs on leakage alone drifts by microvolts for ever while every law holds; so many
#: balanced steps on end are an answer too.
_HELD_STEPS = 4
#: a transistor whose slopes are below this, in siemens, is off: no load a board has gives it any gain
_LIVELY_S = 1e-9


@dataclass(frozen=True, slots=True)
class Solution:
    """A converged point: padded unknowns, the devices' state and tangent there, steps taken and how it was found."""

    x: Floats
    state: State
    tangent: Tangent
    steps: int
    method: str


def newton(
    system: System,
    start: State,
    *,
    shunt_s: float = 0.0,
    pull: Floats | None = None,
    drive: float = 1.0,
    most_steps: int = _MOST_STEPS,
) -> Solution | None:
    """Return the point Newton's method reaches from `start`, or None; the shunt and drive are those of `tangent`."""
    state = start
    tangent = system.tangent(state, shunt_s=shunt_s, pull=pull, drive=drive)
    before: Floats | None = None
    held = 0
    for step in range(1, most_steps + 1):
        x = system.solve(tangent)
        if x is None:
            return None
        near, held_back = system.within_reach(x)
        if before is not None and step > _FREE_STEPS and step % 8 > 5:
            near, held_back = (near + before) / 2.0, True
        state, limited = system.limited(system.controls(near, tangent), state)
        tangent = system.tangent(state, shunt_s=shunt_s, pull=pull, drive=drive)
        free = not (held_back or limited) and (before is not None or system.compiled.linear)
        moved = 0.0 if before is None else _moved(system, x, before)
        held = held + 1 if free and _balanced(system, tangent, x, moved) else 0
        if held and (moved <= _STEP_V or held >= _HELD_STEPS):
            return Solution(x, state, tangent, step, "newton")
        before = near
    return None


def _moved(system: System, x: Floats, before: Floats) -> float:
    """Return the largest step of a net, in volt or, above 1 V, as a share of it."""
    nets = slice(0, system.nodes)
    return float((np.abs(x[nets] - before[nets]) / np.maximum(1.0, np.abs(x[nets]))).max(initial=0.0))


def _balanced(system: System, tangent: Tangent, x: Floats, moved: float) -> bool:
    """Return whether Kirchhoff's laws hold at `x` to 1e-10 of each net's currents.

    Below 1e-13 of the circuit's largest current, and below 0.1 aA, nothing is asked of a net: that is rounding. Where
    even the step is rounding 1e-6 will do: nets that hang on femtoamperes have no more digits.
    """
    left, scale = system.residual(tangent, x)
    nets = slice(0, system.nodes)
    floor = max(_ROUNDING * scale[nets].max(initial=0.0), _NOTHING_A)
    excess = np.abs(left) - (_RESIDUAL if moved > _STEP_ROUNDING_V else _RESIDUAL_OF_LEAKS) * scale
    return not ((excess[nets] > floor).any() or (excess[system.nodes :] > _ROUNDING).any())


def worst_rows(system: System, start: State, count: int = 3) -> list[int]:
    """Return the rows whose equations are left over most after plain steps from `start`: where the trouble is."""
    state, tangent = start, system.tangent(start)
    left, scale = np.zeros(system.size), np.ones(system.size)
    for _ in range(_MOST_STEPS):
        x = system.solve(tangent)
        if x is None:
            break
        state, _ = system.limited(system.controls(x, tangent), state)
        tangent = system.tangent(state)
        left, scale = system.residual(tangent, x)
    share = np.abs(left[: system.nodes]) / np.maximum(scale[: system.nodes], 1e-30)
    return [int(row) for row in np.argsort(-share)[:count]]


def plain(system: System, start: State) -> Solution | None:
    """Newton's method from the start as it is."""
    return newton(system, start)


def shunts(system: System, start: State) -> Solution | None:
    """Take shunts from every net to the reference away decade by decade."""
    state, shunt_s, factor = start, 1e-2, 10.0
    reached: Solution | None = None
    while shunt_s > 1e-16:
        found = newton(system, state, shunt_s=shunt_s)
        if found is not None:
            reached, state = found, found.state
        elif reached is None or factor < 1.2:
            return None
        else:
            shunt_s, factor = shunt_s * factor, factor**0.5
        shunt_s /= factor
    return newton(system, state)


def sources(system: System, start: State) -> Solution | None:
    """Bring the sources up from nothing."""
    state, drive, step = system.at_rest(), 0.0, 0.1
    while drive < 1.0:
        target = min(1.0, drive + step)
        found = newton(system, state, drive=target)
        if found is not None:
            state, drive, step = found.state, target, step * 2.0
        elif step < 1e-4:
            return None
        else:
            step /= 4.0
    return newton(system, state)


def settling(system: System, start: State) -> Solution | None:
    """Let the circuit settle in time, every net holding charge: what is reached is a state that can last."""
    state, pull, shunt_s = start, np.zeros(system.size + 1), 1.0
    for _ in range(400):
        found = newton(system, state, shunt_s=shunt_s, pull=pull, most_steps=40)
        if found is None:
            shunt_s *= 8.0
            if shunt_s > 1e9:
                return None
            continue
        state, pull = found.state, found.x
        shunt_s /= 2.0 if found.steps > 8 else 4.0
        if shunt_s < 1e-13:
            return newton(system, state)
    return None


Strategy = Callable[[System, State], Solution | None]

#: the ways tried in turn, by the name a result carries
STRATEGIES: dict[str, Strategy] = {
    "newton": plain,
    "shunts removed": shunts,
    "sources raised": sources,
    "settled in time": settling,
}


def looks_unstable(system: System, solution: Solution) -> bool:
    """Return whether no circuit can rest at this point, however its capacitances are placed.

    The determinant of the tangent has the sign of the circuit with its transistors' control taken away, or
    the point is unstable (Green and Willson 1992, "How to identify unstable dc operating points", theorem
    1).
    """
    if _lively(solution.tangent) < 2:
        return False
    passive = _without_control(system, solution.tangent)
    return bool(np.any(system.solver.sign(solution.tangent.values) * system.solver.sign(passive) < 0))


def _lively(tangent: Tangent) -> int:
    """Return how many transistors control anything; one alone, and leakage, hold no state against the rest."""
    return sum(
        int(np.count_nonzero(np.abs(matrix).max(axis=(0, 1)) >= _LIVELY_S))
        for matrix, *_ in (tangent.bjt, tangent.mosfet)
    )


def _without_control(system: System, tangent: Tangent) -> Floats:
    """Return the matrix values with every transistor's tangent made a triangle of conductances."""
    values = tangent.values.copy()
    at = len(values) - 9 * (len(system.compiled.bjts) + len(system.compiled.mosfets))
    triangle = np.array([[2.0, -1.0, -1.0], [-1.0, 2.0, -1.0], [-1.0, -1.0, 2.0]])
    for matrix in (tangent.bjt[0], tangent.mosfet[0]):
        size = np.abs(matrix).max(axis=(0, 1)) if matrix.size else np.zeros(matrix.shape[2])
        flat = (triangle[:, :, None] * size).ravel()
        values[at : at + flat.size] = flat
        at += flat.size
    return values
