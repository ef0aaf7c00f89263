"""Watching a powered board: rising, steady, or a stop rule with its one line; and the three states of off.

Pure: observations in, decisions out, so that every rule is tested without an instrument. Where a supply has no mode
query, voltage in band and current below the limit stand in.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.instruments.power_sequence import RESOLVED_POLLS, PowerPlan
from benchcheck.instruments.power_supply import Mode, SupplyPoint

__all__ = ["Inrush", "OffReport", "OffState", "PowerWatch", "Rule", "Stage", "Stop", "judge_off", "judge_rail"]

BAND_RATIO, BAND_VOLT = 0.02, 0.05  # of the set voltage: read-back of cheap supplies (common practice, no source)
LIMIT_RATIO, LIMIT_AMPERE = 0.02, 0.005  # a current within this of the limit is at the limit
WRONG_SIGN_VOLT = 0.1
CREEP_PER_MINUTE, CREEP_AMPERE = 0.10, 0.003
CREEP_SPAN_S, CREEP_WINDOW_S = 15.0, 60.0
START_UP_S = 2.0  # while a board starts its current may rise in steps; that is no creep
DISCHARGED_VOLT = 0.5
FLOWING_AMPERE = 0.010  # a supply's own meter is no evidence below 5 mA; twice that is


class Stage(StrEnum):
    """How far the supply has come."""

    RISING = "rising"
    STEADY = "steady"
    STOPPED = "stopped"


class Rule(StrEnum):
    """Why power is switched off."""

    LIMIT_HELD = "the current limit held past the deadline"
    NOT_RISEN = "the voltage is not there at the deadline"
    OVER_VOLTAGE = "a voltage is above its maximum"
    WRONG_SIGN = "a voltage has the wrong sign"
    CREEP = "the current creeps up by more than 10 % a minute"
    WRONG_MODE = "the supply is not in the mode it should be in"
    OUTPUT_OFF = "the output went off by itself"
    RESTARTED = "an instrument was switched off and on"
    KEY = "a key was pressed"
    TROUBLE = "an instrument does not do as asked"


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop rule that applies, with the line that says why."""

    rule: Rule
    line: str


@dataclass(frozen=True, slots=True)
class Inrush:
    """Time from switching on to the end of constant current in seconds; not `resolved` means "at most"."""

    time_s: float
    resolved: bool


class OffState(StrEnum):
    """The three states of off."""

    OFF = "output off"
    CHARGED = "output off, but the board still holds charge"
    UNKNOWN = "output state unknown"


@dataclass(frozen=True, slots=True)
class OffReport:
    """What is known after switching off; `voltage_volt` is None where nothing could be measured."""

    state: OffState
    voltage_volt: float | None
    line: str


class PowerWatch:
    """The decisions from switching on to switching off, fed with what the supply measures."""

    def __init__(self, plan: PowerPlan, on_at_s: float, band_ratio: float = BAND_RATIO) -> None:
        """Start at the moment the output went on (monotonic seconds)."""
        self.plan, self.stage = plan, Stage.RISING
        self.inrush: Inrush | None = None
        self._on_at_s, self._last_s, self._gap_s = on_at_s, on_at_s, 0.0
        self._band_volt = max(BAND_VOLT, band_ratio * plan.voltage_volt)
        self._currents: deque[tuple[float, float]] = deque()

    def changed(self, plan: PowerPlan, at_s: float) -> None:
        """Start the deadline and the creep watch anew, after a load step or with a plan of another limit."""
        self.plan, self.stage = plan, Stage.RISING
        self._on_at_s = self._last_s = at_s
        self._currents.clear()

    def observe(self, point: SupplyPoint, *, output_on: bool | None = None) -> Stop | None:
        """Take in a measurement; return the stop rule that applies, None to go on."""
        self._gap_s = max(self._gap_s, point.at_s - self._last_s)
        self._last_s = point.at_s
        stop = self._bounds(point, output_on) or self._progress(point) or self._creep(point)
        if stop is not None:
            self.stage = Stage.STOPPED
        return stop

    def _bounds(self, point: SupplyPoint, output_on: bool | None) -> Stop | None:
        if output_on is False or (point.mode is Mode.OFF and self.stage is Stage.STEADY):
            return Stop(Rule.OUTPUT_OFF, "the output went off by itself: look for a tripped protection")
        if point.voltage_volt > self.plan.over_voltage_volt:
            return Stop(
                Rule.OVER_VOLTAGE,
                f"{point.voltage_volt:.3f} V at the output is above {self.plan.over_voltage_volt:.3f} V",
            )
        if point.voltage_volt < -WRONG_SIGN_VOLT:
            return Stop(Rule.WRONG_SIGN, f"{point.voltage_volt:.3f} V at the output: the leads are exchanged")
        return None

    def _progress(self, point: SupplyPoint) -> Stop | None:
        elapsed_s = point.at_s - self._on_at_s
        if self._arrived(point):
            if self.stage is Stage.RISING:
                self.stage = Stage.STEADY
                self.inrush = self.inrush or self._measured_inrush(elapsed_s)
            return None
        if self.stage is Stage.STEADY:
            return Stop(Rule.WRONG_MODE, f"{self._words(point)}, and it had been steady")
        if elapsed_s <= self.plan.deadline_s:
            return None
        rule = Rule.LIMIT_HELD if self._limited(point) else Rule.NOT_RISEN
        return Stop(rule, f"{self._words(point)} after {elapsed_s:.2f} s; {self.plan.deadline_s:.2f} s were allowed")

    def _measured_inrush(self, elapsed_s: float) -> Inrush:
        return Inrush(elapsed_s, self._gap_s <= self.plan.charging_s / RESOLVED_POLLS)

    def _words(self, point: SupplyPoint) -> str:
        held = "at the current limit" if self._limited(point) else "below its voltage"
        return f"{held}: {point.voltage_volt:.3f} V, {point.current_ampere * 1e3:.0f} mA"

    def _arrived(self, point: SupplyPoint) -> bool:
        in_band = abs(point.voltage_volt - self.plan.voltage_volt) <= self._band_volt
        return in_band and not self._limited(point)

    def _limited(self, point: SupplyPoint) -> bool:
        if point.mode in (Mode.CURRENT, Mode.VOLTAGE):
            return point.mode is Mode.CURRENT
        near = max(LIMIT_AMPERE, LIMIT_RATIO * self.plan.limit_ampere)
        return point.current_ampere >= self.plan.limit_ampere - min(near, 0.5 * self.plan.limit_ampere)

    def _creep(self, point: SupplyPoint) -> Stop | None:
        """Compare the current with the least-squares line through the last minute."""
        if self.stage is not Stage.STEADY or point.at_s - self._on_at_s < START_UP_S:
            return None
        self._currents.append((point.at_s, point.current_ampere))
        while point.at_s - self._currents[0][0] > CREEP_WINDOW_S:
            self._currents.popleft()
        span_s = point.at_s - self._currents[0][0]
        if span_s < CREEP_SPAN_S:
            return None
        slope, mean = _line(self._currents)
        if slope * 60.0 > CREEP_PER_MINUTE * abs(mean) and slope * span_s > CREEP_AMPERE:
            return Stop(Rule.CREEP, f"{mean * 1e3:.0f} mA, rising by {slope * 60e3:.0f} mA a minute")
        return None


def _line(points: deque[tuple[float, float]]) -> tuple[float, float]:
    """Return slope and mean of the least-squares line."""
    count = len(points)
    mean_t = sum(t for t, _ in points) / count
    mean_y = sum(y for _, y in points) / count
    spread = sum((t - mean_t) ** 2 for t, _ in points)
    return sum((t - mean_t) * (y - mean_y) for t, y in points) / spread, mean_y


def judge_rail(name: str, voltage_volt: float, maximum_volt: float, *, negative: bool = False) -> Stop | None:
    """Return the stop rule for a rail: above its maximum (in magnitude) or of the wrong sign."""
    value = -voltage_volt if negative else voltage_volt
    if value < -WRONG_SIGN_VOLT:
        return Stop(Rule.WRONG_SIGN, f"{name} is {voltage_volt:.3f} V: the wrong sign")
    if value > abs(maximum_volt):
        return Stop(
            Rule.OVER_VOLTAGE, f"{name} is {voltage_volt:.3f} V, at most {abs(maximum_volt):.3f} V are allowed"
        )
    return None


def judge_off(said_on: bool | None, point: SupplyPoint | None, discharged_volt: float = DISCHARGED_VOLT) -> OffReport:
    """Return which of the three states of off it is, from what the supply says and what it measures.

    A supply that says "off" and still delivers current is not off: unknown. So is one that cannot be asked.
    """
    voltage = point.voltage_volt if point is not None else None
    by_hand = "OUTPUT STATE UNKNOWN: switch the supply off by hand, now"
    if said_on is not False or point is None:
        return OffReport(OffState.UNKNOWN, voltage, by_hand)
    if abs(point.current_ampere) >= FLOWING_AMPERE:
        shown = f"it says off and delivers {point.current_ampere * 1e3:.0f} mA"
        return OffReport(OffState.UNKNOWN, voltage, f"{by_hand} ({shown})")
    if abs(point.voltage_volt) > discharged_volt:
        line = f"output off; the board still holds {point.voltage_volt:.2f} V: discharge it through a resistor"
        return OffReport(OffState.CHARGED, voltage, line)
    return OffReport(OffState.OFF, voltage, "output off")
