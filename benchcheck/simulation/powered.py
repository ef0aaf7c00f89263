"""A unit under power, as its terminals see it: inrush, idle and load currents, rails, and what is left afterwards.

The input charges through the supply's limit; from a starting voltage on the unit draws constant power, what the rails
deliver being referred to the input by a power balance with an efficiency; too much of it and the supply's voltage
falls until the unit stops. Euler steps, small against what happens in them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from benchcheck.simulation.feeding import Feeding, RailState
from benchcheck.simulation.world import OperatingPoint, Sink, Source

__all__ = ["Powered"]

EFFICIENCY = 0.85
_STOP_SHARE = 0.8
_STEPS = 400
_LONGEST_S = 5.0
_EMPTY_V = 1e-3


class Powered:
    """The state of one unit on one supply; times are monotonic seconds.

    `feeding` gives what is fed for the switches as they are; it is asked anew after every `changed`. `pace` lets
    stored charge bleed that many times faster than it would.
    """

    def __init__(self, feeding: Callable[[], Feeding], decay_s: Callable[[str], float], pace: float = 1.0) -> None:
        """Start empty and off; `decay_s` says how long, in seconds, a rail holds its charge (time constant)."""
        self._ask, self._decay_s, self._pace = feeding, decay_s, pace
        self._fed: Feeding | None = None
        self.source, self.load = Source(), Sink()
        self.load_rail = ""
        self.dummies_ohm: dict[str, float] = {}
        self.input_v = 0.0
        self.running = False
        self._left: dict[str, float] = {}
        self._at_s: float | None = None

    @property
    def fed(self) -> Feeding:
        """What is fed for the switches as they are."""
        if self._fed is None:
            self._fed = self._ask()
        return self._fed

    def changed(self) -> None:
        """Look anew at what is fed, as after a switch was moved; what was alive keeps its charge."""
        if self.running:
            self._left, self.running = self._charges(), False
        self._fed = None

    def _charges(self) -> dict[str, float]:
        return {name: self.rail_v(name) for name, state in self.fed.rails.items() if not state.direct}

    def drive(self, source: Source, now_s: float) -> None:
        """Take over a new setting of the supply."""
        self.advance(now_s)
        self.source = source

    def sink(self, sink: Sink, now_s: float) -> None:
        """Take over a new setting of the load."""
        self.advance(now_s)
        self.load = sink

    # rails -----------------------------------------------------------------------------------------------------

    def rail_load_a(self, name: str) -> float:
        """Return the current taken from a rail by loads and faults, and by rails that hang on it, in ampere."""
        own = self.load.current_ampere if self.load.on and self.load_rail == name else 0.0
        below = (other for other, state in self.fed.rails.items() if state.upstream == name)
        state = self.fed.rails.get(name)
        if state is not None:
            own += state.extra_a + self._dummy_a(state)
        return own + sum(self.rail_load_a(other) for other in below)

    def _dummy_a(self, state: RailState) -> float:
        """Return what a resistor across a rail takes, in ampere."""
        ohm = self.dummies_ohm.get(state.rail.name, math.inf)
        volt = abs(state.voltage_v)
        if state.direct:
            volt = max(0.0, volt - abs(self.fed.supply.voltage) + self.input_v)
        return volt / (ohm + state.sag_ohm)

    def rail_v(self, name: str) -> float:
        """Return a rail's voltage plus to minus, in volt: alive, or what its capacitors still hold."""
        state = self.fed.rails.get(name)
        if state is None or (not self.running and not state.direct):
            return self._left.get(name, 0.0)
        if state.direct:
            sign = math.copysign(1.0, state.voltage_v)
            full = abs(self.fed.supply.voltage)
            return sign * max(
                0.0, abs(state.voltage_v) - full + self.input_v - state.sag_ohm * self.rail_load_a(name)
            )
        volt = abs(state.voltage_v) - state.sag_ohm * self.rail_load_a(name)
        if state.upstream:
            volt = min(volt, max(0.0, abs(self.rail_v(state.upstream)) - state.dropout_v))
        return math.copysign(max(0.0, volt), state.voltage_v)

    def discharge(self) -> None:
        """Empty every capacitor through a resistor."""
        self.input_v = 0.0
        self._left.clear()

    @property
    def holds_charge(self) -> bool:
        """Whether any voltage stands on the unit."""
        return self.input_v > _EMPTY_V or self.source.on or any(abs(v) > _EMPTY_V for v in self._left.values())

    # the supply's terminals ----------------------------------------------------------------------------------

    def supply_point(self, now_s: float) -> OperatingPoint:
        """Return what the supply's terminals carry."""
        self.advance(now_s)
        return self.supply_point_now()

    def supply_point_now(self) -> OperatingPoint:
        """Return what the supply's terminals carried when last looked at."""
        wanted = self._drawn(self.input_v)
        source = self.source
        if not source.on or self.input_v > source.voltage_volt + 1e-9:
            return OperatingPoint(self.input_v, 0.0)
        held = self.input_v >= source.voltage_volt - 1e-9 and wanted <= source.limit_ampere
        return OperatingPoint(self.input_v, wanted if held else source.limit_ampere, not held)

    def load_point(self, now_s: float) -> OperatingPoint:
        """Return what the load's terminals carry."""
        self.advance(now_s)
        volt = abs(self.rail_v(self.load_rail)) if self.load_rail else 0.0
        taken = self.load.current_ampere if self.load.on and volt > 0.05 else 0.0
        return OperatingPoint(volt, taken)

    def _drawn(self, volt: float) -> float:
        """Return the current the unit takes at an input voltage, in ampere."""
        fed = self.fed
        if math.isfinite(fed.short_ohm):
            return volt / fed.short_ohm
        nominal = abs(fed.supply.voltage)
        leak = (fed.leak_ampere + fed.extra_ampere) * volt / nominal if nominal else 0.0
        direct = self._direct_a() if volt > 0.05 else 0.0
        if not self.running or volt < _EMPTY_V:
            return leak + direct
        return leak + direct + (fed.idle_watt + self._converted_watt() / EFFICIENCY) / volt

    def _direct_a(self) -> float:
        return sum(self.rail_load_a(name) for name, state in self.fed.rails.items() if state.direct)

    def _converted_watt(self) -> float:
        """Return what converters that hang on the input deliver to loads, in watt; linear ones pass current on."""
        heads = (name for name, state in self.fed.rails.items() if not state.upstream and not state.direct)
        return sum(abs(self.rail_v(name)) * self.rail_load_a(name) for name in heads)

    # time ------------------------------------------------------------------------------------------------------

    def advance(self, now_s: float) -> None:
        """Move on to a moment."""
        before, self._at_s = self._at_s, now_s if self._at_s is None else max(now_s, self._at_s)
        left_s = 0.0 if before is None else min(max(0.0, now_s - before), _LONGEST_S)
        for name in self._left:
            self._left[name] *= math.exp(-left_s * self._pace / self._decay_s(name))
        if left_s <= 0.0 or self._at_rest():
            self._judge()
            return
        steps = _STEPS if left_s > 1e-3 else 20
        for _ in range(steps):
            self._step(left_s / steps)
            if self._at_rest():
                break

    def _at_rest(self) -> bool:
        """Whether the supply holds its voltage, or there is neither voltage nor charge."""
        if self.source.on:
            held = abs(self.input_v - self.source.voltage_volt) < 1e-9
            return (
                held and self.running == self._would_run() and self._drawn(self.input_v) <= self.source.limit_ampere
            )
        return self.input_v < _EMPTY_V

    def _would_run(self) -> bool:
        threshold = self.fed.start_v * (_STOP_SHARE if self.running else 1.0)
        return self.fed.idle_watt > 0.0 and self.input_v >= threshold

    def _judge(self) -> None:
        """Start or stop the unit; what stops keeps its rails' charge."""
        would = self._would_run()
        if self.running and not would:
            self._left = self._charges()
        if would:
            self._left.clear()
        self.running = would

    def _step(self, step_s: float) -> None:
        """One Euler step of the input voltage; the supply holds its own as soon as its limit allows."""
        before, source, fed = self.input_v, self.source, self.fed
        self._judge()
        if not source.on and not self.running:
            step_s *= self._pace
        given = source.limit_ampere if source.on and before < source.voltage_volt else 0.0
        bleed = before / fed.bleed_ohm if math.isfinite(fed.bleed_ohm) else 0.0
        flow = given - self._drawn(before) - (0.0 if source.on else bleed)
        after = max(0.0, before + flow * step_s / self._capacitance())
        if source.on:
            after = self._held(before, after)
        self.input_v = after

    def _held(self, before: float, after: float) -> float:
        """Return the voltage where the supply takes over control: its own, or what a short leaves of it."""
        volt = self.source.voltage_volt
        if math.isfinite(self.fed.short_ohm):
            return min(volt, self.source.limit_ampere * self.fed.short_ohm)
        if before <= volt <= after or after <= volt <= before:
            return volt if self._drawn(volt) <= self.source.limit_ampere else min(volt, after)
        return after

    def _capacitance(self) -> float:
        """Return the input capacitance and that of converted rails as the input sees it: C (Vout / Vin)^2."""
        fed, nominal = self.fed, abs(self.fed.supply.voltage) or 1.0
        seen = sum((s.rail.capacitance or 0.0) * (s.voltage_v / nominal) ** 2 for s in fed.rails.values())
        return fed.capacitance_farad + seen
