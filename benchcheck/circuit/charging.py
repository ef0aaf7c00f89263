"""Capacitance as a handheld measures it: a known current charges, the time between two voltages is the reading.

The circuit around shapes the ramp (a leak slows it, a resistor in parallel stops it, a junction clamps it), so the
ramp is solved in time: TR-BDF2 (Bank et al. 1985), whose two stages share one matrix and damp what is faster than
the step. A capacitor is then a source that remembers, behind a resistance. Slopes to every part run along.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .compiled import compile_netlist
from .devices import Capacitor, CurrentSource, Device, Resistor, VoltageSource
from .excitation import ChargingRange
from .netlist import Netlist
from .newton import Solution, newton
from .parameters import Key, columns
from .physics import Conditions
from .system import System

__all__ = ["Ramp", "charge"]

Floats = NDArray[np.float64]

_GAMMA = 2.0 - sqrt(2.0)
_STAGE = _GAMMA / 2.0  # the new current's weight, alike in both stages
_NEW, _OLD = 1.0 / (_GAMMA * (2.0 - _GAMMA)), (1.0 - _GAMMA) ** 2 / (_GAMMA * (2.0 - _GAMMA))
_BEND = 3e-4  # of the upper voltage, in one step: readings then come out within 3e-5
_STILL = 1e-10
_LEVEL = 1e-11
_MOST_STEPS = 4000


@dataclass(frozen=True, slots=True)
class Ramp:
    """A ramp: seconds between the two voltages (None: not reached), its slopes by (designator, field), its end."""

    seconds: float | None
    slopes: Mapping[Key, float]
    end: Solution


@dataclass(frozen=True, slots=True)
class _Point:
    """A moment of the ramp: s since its start; capacitors' own volt and ampere, and the slopes of both to every part.

    `slopes` are those of every unknown (padded rows x parts).
    """

    at_s: float
    volt: Floats
    ampere: Floats
    volt_slopes: Floats
    ampere_slopes: Floats
    slopes: Floats
    solution: Solution


def charge(
    netlist: Netlist, red: str, black: str, ramp: ChargingRange, conditions: Conditions, *, with_slopes: bool = False
) -> tuple[System, Ramp]:
    """Return the ramp driven from red to black, every capacitor starting at 0 V, and the system it ran in.

    Raises CircuitError where the circuit does not settle on the way.
    """
    charger = _Charger(netlist, red, black, ramp, conditions, with_slopes)
    return charger.system, charger.run()


def _remembering(device: Device) -> tuple[Device, ...]:
    """Return a capacitor as the source it is at one moment, with its leakage beside it; other devices as they are."""
    if not isinstance(device, Capacitor):
        return (device,)
    source = VoltageSource(device.designator, device.plus, device.minus, 0.0, 1.0)
    if device.leakage_ohm is None:
        return (source,)
    return source, Resistor(f"{device.designator}:leakage", device.plus, device.minus, device.leakage_ohm)


class _Charger:
    """The circuit with its capacitors as sources that remember, and the meter's current."""

    def __init__(
        self, netlist: Netlist, red: str, black: str, ramp: ChargingRange, conditions: Conditions, with_slopes: bool
    ) -> None:
        self._ramp = ramp
        source = CurrentSource("meter:source", red, black, ramp.current_a, 2.0 * ramp.high_v)
        compiled = compile_netlist(
            Netlist([*(part for device in netlist.devices for part in _remembering(device)), source]),
            black,
            conditions,
        )
        self.system = System(compiled)
        self._row = compiled.row_of[red]
        parts = {d.designator: d for d in netlist.devices if isinstance(d, Capacitor)}
        places = [at for at, branch in enumerate(compiled.branches) if branch.designator in parts]
        found = [parts[compiled.branches[at].designator] for at in places]
        self._at = np.array(places, dtype=np.intp)
        self._farad = np.array([part.capacitance_f for part in found])
        self._series = np.array([part.series_resistance_ohm for part in found])
        self._others: dict[str, Device] = {d.designator: d for d in netlist.devices if not isinstance(d, Capacitor)}
        leaks = (p for part in found for p in _remembering(part)[1:])
        self._others |= {leak.designator: leak for leak in leaks}
        self._with_slopes = with_slopes
        self._capacitor_keys = [(p.designator, f) for f in ("capacitance_f", "series_resistance_ohm") for p in found]
        self.keys: list[Key] = []

    # one moment ---------------------------------------------------------------------------------------------

    def _moment(
        self, before: _Point | None, at_s: float, stage_s: float, volt: Floats, volt_slopes: Floats
    ) -> _Point:
        """Return the moment at which every capacitor is `volt` behind its series resistance and stage_s / C."""
        inner = stage_s / self._farad
        self.system.set_branches(self._at, self._series + inner, volt)
        start = before.solution.state if before else self.system.at_rest()
        found = newton(self.system, start) or newton(self.system, self.system.at_rest())
        if found is None:
            raise CircuitError("the circuit between the probes does not settle while its capacitors charge")
        ampere = found.x[self.system.nodes + self._at]
        slopes = np.zeros((self.system.size + 1, 0))
        if self._with_slopes:
            slopes, volt_slopes = self._slopes(found, ampere, inner, volt_slopes)
        ampere_slopes = slopes[self.system.nodes + self._at]
        reached_slopes = volt_slopes + inner[:, None] * ampere_slopes
        return _Point(at_s, volt + inner * ampere, ampere, reached_slopes, ampere_slopes, slopes, found)

    def _slopes(self, found: Solution, ampere: Floats, inner: Floats, volt_slopes: Floats) -> tuple[Floats, Floats]:
        """Return slopes of every unknown, and of the capacitors' memory with their own capacitance counted in."""
        system, count = self.system, len(self._at)
        others = list(columns(system.compiled, self._others, found))
        self.keys = [*self._capacitor_keys, *(key for key, _ in others)]
        right = np.zeros((system.size + 1, len(self.keys)))
        for place, (_, column) in enumerate(others, 2 * count):
            for row, amount in column:
                right[row, place] += amount
        own = np.arange(count)
        memory = volt_slopes.copy() if volt_slopes.size else np.zeros((count, len(self.keys)))
        memory[own, own] -= inner / self._farad * ampere
        rows = system.nodes + self._at
        right[rows] += memory
        right[rows, count + own] += ampere
        right[-1] = 0.0
        slopes = system.solver.solve(found.tangent.values, right)
        if slopes is None:
            raise CircuitError("the circuit between the probes has no unique ramp while its capacitors charge")
        return slopes, memory

    # in time ------------------------------------------------------------------------------------------------

    def _step(self, point: _Point, step_s: float) -> tuple[_Point, float]:
        """Return the moment one TR-BDF2 step later, and how far the probes' voltage bent in it, in volt."""
        half = _STAGE * step_s
        gain = half / self._farad
        memory = point.volt_slopes + gain[:, None] * point.ampere_slopes
        if self._with_slopes:
            own = np.arange(len(self._at))
            memory[own, own] -= gain / self._farad * point.ampere
        middle_s, end_s = point.at_s + _GAMMA * step_s, point.at_s + step_s
        middle = self._moment(point, middle_s, half, point.volt + gain * point.ampere, memory)
        volt = _NEW * middle.volt - _OLD * point.volt
        end = self._moment(middle, end_s, half, volt, _NEW * middle.volt_slopes - _OLD * point.volt_slopes)
        first, second, third = (self._volt(p) for p in (point, middle, end))
        bend = (second - first) / _GAMMA - (third - second) / (1.0 - _GAMMA)
        return end, abs(bend)

    def _volt(self, point: _Point) -> float:
        return float(point.solution.x[self._row])

    def run(self) -> Ramp:
        """Run the ramp to its upper voltage, until time is up, or until it stands still."""
        ramp = self._ramp
        scale_s = max(float(self._farad.sum()), 1e-12) * ramp.high_v / ramp.current_a
        point = self._moment(None, 0.0, 1e-9 * scale_s, np.zeros(len(self._at)), np.zeros((len(self._at), 0)))
        zero = np.zeros(point.slopes.shape[1])
        low: tuple[float, Floats] | None = (0.0, zero) if self._volt(point) >= ramp.low_v else None
        step_s = 1e-3 * scale_s
        for _ in range(_MOST_STEPS):
            if self._volt(point) >= ramp.high_v or point.at_s > ramp.longest_s:
                break
            after, bend = self._step(point, step_s)
            wider = min(4.0, 0.8 * sqrt(_BEND * ramp.high_v / max(bend, 1e-30)))
            if wider < 0.7 and step_s > 1e-7 * scale_s:
                step_s *= max(wider, 0.2)
                continue
            if low is None and self._volt(after) >= ramp.low_v:
                low = self._crossing(point, step_s, ramp.low_v)
            if low is not None and self._volt(after) >= ramp.high_v:
                high = self._crossing(point, step_s, ramp.high_v)
                slopes = dict(zip(self.keys, (high[1] - low[1]).tolist(), strict=True))
                return Ramp(high[0] - low[0], _named(slopes), after.solution)
            if self._volt(after) - self._volt(point) < _STILL * ramp.high_v and after.at_s > 1e-3 * ramp.longest_s:
                break
            point, step_s = after, step_s * wider
        return Ramp(None, {}, point.solution)

    def _crossing(self, point: _Point, step_s: float, level_v: float) -> tuple[float, Floats]:
        """Return when the probes cross a voltage within a step, in s, and the slope of that moment to every part."""
        low, below = 0.0, self._volt(point)
        high, above = step_s, self._volt(self._step(point, step_s)[0])
        reached, at = point, step_s
        for _ in range(60):
            at = low + (high - low) * (level_v - below) / (above - below)
            reached, _ = self._step(point, at)
            now = self._volt(reached)
            if abs(now - level_v) <= _LEVEL * level_v:
                break
            low, below, high, above = (at, now, high, above) if now < level_v else (low, below, at, now)
        earlier, _ = self._step(point, at * (1.0 - 1e-4))
        rate = (self._volt(reached) - self._volt(earlier)) / (at * 1e-4)
        return point.at_s + at, -reached.slopes[self._row] / rate


def _named(slopes: Mapping[Key, float]) -> dict[Key, float]:
    """Return slopes with a leakage's own name turned into its capacitor's field."""
    turned = {}
    for (name, field), slope in slopes.items():
        part, colon, rest = name.rpartition(":")
        turned[(part, "leakage_ohm") if colon and rest == "leakage" else (name, field)] = slope
    return turned
