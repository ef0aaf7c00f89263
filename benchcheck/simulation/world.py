"""The electrical world in front of simulated instruments: what a bench must offer, and the plainest one there is.

`VirtualBench` is all that the front ends of meter, supply and load know of the unit under test. `PlainBench` is a
capacitor with a resistor across it behind the supply, and a fixed value for each measuring function: enough to
exercise drivers; a unit built from a spec offers the same protocol.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from benchcheck.bench.functions import Function

__all__ = ["Excitation", "OperatingPoint", "PlainBench", "Sink", "Source", "VirtualBench"]


@dataclass(frozen=True, slots=True)
class Source:
    """What the supply is set to; `on` is the state of its output."""

    on: bool = False
    voltage_volt: float = 0.0
    limit_ampere: float = 0.0


@dataclass(frozen=True, slots=True)
class Sink:
    """What the electronic load is set to; `on` is the state of its input."""

    on: bool = False
    current_ampere: float = 0.0


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Voltage and current at a pair of terminals; `limited` says that the current limit holds the voltage down."""

    voltage_volt: float
    current_ampere: float
    limited: bool = False


@dataclass(frozen=True, slots=True)
class Excitation:
    """How the meter looks at its probes; numbers are 0 where the function has none, or nobody says."""

    function: Function
    test_current_ampere: float = 0.0
    compliance_volt: float = 0.0
    frequency_hz: float = 0.0
    full_scale: float = 0.0


class VirtualBench(Protocol):
    """What simulated instruments are connected to; times are monotonic seconds that never go back."""

    def drive(self, source: Source, now_s: float) -> None:
        """Take over a new setting of the supply."""
        ...

    def sink(self, sink: Sink, now_s: float) -> None:
        """Take over a new setting of the load."""
        ...

    def supply_point(self, now_s: float) -> OperatingPoint:
        """Return what the supply's terminals carry."""
        ...

    def load_point(self, now_s: float) -> OperatingPoint:
        """Return what the load's terminals carry."""
        ...

    def probed(self, excitation: Excitation, now_s: float) -> float:
        """Return the true value between the meter's probes in SI; infinite for open or beyond compliance."""
        ...


class PlainBench:
    """A capacitor with a bleeding resistor behind the supply; the load hangs on the same node."""

    def __init__(
        self,
        resistance_ohm: float = 220.0,
        capacitance_farad: float = 470e-6,
        probed: Mapping[Function, float] | None = None,
    ) -> None:
        """Start with the capacitor empty; functions not in `probed` read open."""
        self._conductance = 1.0 / resistance_ohm
        self._capacitance = capacitance_farad
        self._source, self._sink = Source(), Sink()
        self._voltage_volt = 0.0
        self._at_s = 0.0
        self.values: dict[Function, float] = dict(probed or {})

    def drive(self, source: Source, now_s: float) -> None:
        """Take over a new setting of the supply."""
        self._advance(now_s)
        self._source = source

    def sink(self, sink: Sink, now_s: float) -> None:
        """Take over a new setting of the load."""
        self._advance(now_s)
        self._sink = sink

    def supply_point(self, now_s: float) -> OperatingPoint:
        """Return the voltage on the capacitor and the current the supply delivers."""
        self._advance(now_s)
        wanted = self._drawn(self._voltage_volt)
        if not self._source.on or self._voltage_volt > self._source.voltage_volt + 1e-9:
            return OperatingPoint(self._voltage_volt, 0.0)
        held = self._voltage_volt >= self._source.voltage_volt - 1e-9 and wanted <= self._source.limit_ampere
        return OperatingPoint(self._voltage_volt, wanted if held else self._source.limit_ampere, not held)

    def load_point(self, now_s: float) -> OperatingPoint:
        """Return the voltage on the capacitor and the current the load takes."""
        self._advance(now_s)
        return OperatingPoint(self._voltage_volt, self._load_current(self._voltage_volt))

    def probed(self, excitation: Excitation, now_s: float) -> float:
        """Return the fixed value of the function, infinite when the compliance cannot reach it."""
        value = self.values.get(excitation.function, math.inf)
        if excitation.function is Function.DIODE and value > excitation.compliance_volt > 0:
            return math.inf
        return value

    def _load_current(self, voltage_volt: float) -> float:
        return self._sink.current_ampere if self._sink.on and voltage_volt > 0.05 else 0.0

    def _drawn(self, voltage_volt: float) -> float:
        return voltage_volt * self._conductance + self._load_current(voltage_volt)

    def _advance(self, now_s: float) -> None:
        """Move the capacitor's voltage on in steps that are small against its time constant."""
        left_s = max(0.0, now_s - self._at_s) if self._at_s else 0.0
        self._at_s = now_s
        left_s = min(left_s, 20.0 * self._capacitance / self._conductance)
        step_s = self._capacitance / self._conductance / 200.0
        while left_s > 0.0:
            self._step(min(left_s, step_s))
            left_s -= step_s

    def _step(self, step_s: float) -> None:
        """One Euler step; the supply holds its voltage as soon as its limit allows."""
        before = self._voltage_volt
        source = self._source
        given = source.limit_ampere if source.on and before < source.voltage_volt else 0.0
        after = max(0.0, before + (given - self._drawn(before)) * step_s / self._capacitance)
        if source.on and self._drawn(source.voltage_volt) <= source.limit_ampere:
            reached = before <= source.voltage_volt <= after or after <= source.voltage_volt <= before
            after = source.voltage_volt if reached else after
        self._voltage_volt = after
