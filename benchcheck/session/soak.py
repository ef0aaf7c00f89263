"""An attended soak: the unit runs for minutes, current, rails and temperature are logged, the same rules stop it.

Attended means that somebody is there: a soak is no licence to leave. Each look is an event of the record; nothing is
scored, for a spec says nothing of minutes. A rail above its maximum, a creeping current or any key ends it. What must
be in order before power must be so before a soak: whoever begins one has looked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.errors import InputError, InstrumentError, OutputStateUnknown, ReadingsError
from benchcheck.kinds.check import Check
from benchcheck.kinds.session_checks import session_checks
from benchcheck.quantity import format_value
from benchcheck.readings.typed import read_typed
from benchcheck.session.hand import Hand
from benchcheck.session.meters import Meters
from benchcheck.session.power import Power, PowerEnded
from benchcheck.session.power_rules import stop_for, wanted_for

__all__ = ["Soak"]

_LOOKS, _SHORTEST_S, _LONGEST_S = 60.0, 5.0, 60.0
_TEND_S = 0.2
_ATTENDED = "Soak: will you stay beside the unit for {minutes:g} min, ready to switch off by hand?"
_READY = "Soak: is the unit left with {set}?"


@dataclass(slots=True)
class Soak:
    """A soak of `minutes`; `told` shows each look.

    `rails` are the voltage checks whose rails are read in turn by a linked meter: with a person one rail, on which
    the tips stay clipped.
    """

    power: Power
    hand: Hand
    meters: Meters
    rails: Sequence[Check]
    minutes: float
    told: Callable[[str], None]
    currents: list[tuple[float, float]] = field(default_factory=list)

    def run(self) -> str:
        """Conduct the soak and return in one line how it ended; OutputStateUnknown when off cannot be seen."""
        try:
            return self._run()
        except PowerEnded as ended:
            return f"soak stopped after {self._elapsed_s():.0f} s: {ended.reason}"
        except OutputStateUnknown:
            raise
        except InputError as reason:  # something was not confirmed: the unit may not be fed
            return f"no soak: {reason}"
        except InstrumentError as reason:
            return f"soak stopped after {self._elapsed_s():.0f} s: {reason}"

    def _run(self) -> str:
        wanted = wanted_for(self.rails[0], self.power.board) if self.rails else None
        if wanted is None:
            return "no soak: the spec names no rail"
        if self.power.ended:
            return f"no soak: {self.power.ended}"
        if not self.hand.confirm(_ATTENDED.format(minutes=self.minutes)):
            return "no soak: nobody stays beside the unit"
        if not self._made_ready(self.rails[0]):
            return "no soak: the unit is not set as it runs"
        self.power.bring(wanted)
        clock, end_s = self.power.clock, 60.0 * self.minutes
        began_s = clock.monotonic_s()
        every_s = min(max(end_s / _LOOKS, _SHORTEST_S), _LONGEST_S)
        looks = 0
        while True:
            elapsed_s = clock.monotonic_s() - began_s
            self._look(elapsed_s, looks, ends=looks == 0 or elapsed_s >= end_s)
            looks += 1
            if elapsed_s >= end_s:
                return self._summary(elapsed_s)
            self._wait(began_s + min(looks * every_s, end_s))

    def _made_ready(self, check: Check) -> bool:
        """Have switches set and tips clipped on before power comes: what was measured last may have left it off.

        A switch closed under power would be a second inrush, and the first look would be at a unit that is off.
        """
        self.hand.place(check)
        wanted = [f"{name} {state}" for name, state in check.switches]
        meter = self.meters.serving(check.function)
        if meter is not None and check.red is not None and check.black is not None:
            wanted.append(f"{meter.name} clipped on, red to {check.red.point}, black to {check.black.point}")
        return not wanted or self.hand.confirm(_READY.format(set=", ".join(wanted)))

    def _wait(self, until_s: float) -> None:
        clock = self.power.clock
        while clock.monotonic_s() < until_s:
            self.power.tend()
            clock.sleep(min(_TEND_S, max(0.0, until_s - clock.monotonic_s())))

    def _look(self, elapsed_s: float, number: int, *, ends: bool) -> None:
        """Log current, one rail and the temperature, which somebody reads at both ends where no link does."""
        point = self.power.steady()[-1]
        self.currents.append((elapsed_s, point.current_ampere))
        words = [f"{point.voltage_volt:.3f} V, {point.current_ampere * 1e3:.1f} mA"]
        check = self.rails[number % len(self.rails)]
        words += [*self._rail(check), *self._temperature(ask=ends)]
        line = f"soak {elapsed_s:.0f} s: {'; '.join(words)}"
        self.power.note("", line)
        self.told(line)

    def _rail(self, check: Check) -> list[str]:
        meter = self.meters.serving(check.function)
        if meter is None:
            return []
        self.hand.place(check)
        readings = self.meters.read(check, meter)
        stop = stop_for(check, readings)
        if stop is not None:
            self.power.stop(stop)
            raise PowerEnded(stop.line)
        return [f"{check.subject} {readings[-1].display.text}"]

    def _temperature(self, *, ask: bool) -> list[str]:
        meter = self.meters.serving(Function.TEMPERATURE)
        ambient = next(check for check in session_checks() if check.id == "ambient")
        try:
            if meter is not None:
                return [self.meters.read(ambient, meter)[-1].display.text]
            return [f"{read_typed(ambient, self.hand.read(ambient, '')).display.text} degC"] if ask else []
        except (ReadingsError, InstrumentError):
            return ["temperature not read"]

    def _elapsed_s(self) -> float:
        return self.currents[-1][0] if self.currents else 0.0

    def _summary(self, elapsed_s: float) -> str:
        first, last = self.currents[0][1], self.currents[-1][1]
        most, least = (pick(current for _, current in self.currents) for pick in (max, min))
        shown = [format_value(value, "A", digits=4, ascii=True) for value in (first, last, least, most)]
        span = f"between {shown[2]} and {shown[3]}" if shown[2] != shown[3] else "and nothing else between"
        return f"soak of {elapsed_s / 60.0:.1f} min: {shown[0]} at first, {shown[1]} at last, {span}"
