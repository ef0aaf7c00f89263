"""Feeding a unit from the bench supply through the power keeper: the one safe order, and polls until it stands.

Every call either leaves the unit fed as asked and steady, or raises: `Stopped` with the rule that applies, or the
keeper's own error, after which power is off already. Nothing here decides whether power may be applied at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchcheck.clock import Clock
from benchcheck.errors import InstrumentError
from benchcheck.instruments.power_keeper import PowerKeeper
from benchcheck.instruments.power_sequence import Do, PowerPlan, plan_power, power_on_steps, read_back_faults
from benchcheck.instruments.power_supply import Ceiling, SupplyPoint
from benchcheck.instruments.power_watch import BAND_RATIO, BAND_VOLT, PowerWatch, Rule, Stage, Stop
from benchcheck.instruments.settling import SettleRule, held, spread
from benchcheck.session.power_rules import Wanted, request_for
from benchcheck.spec.board import Board

__all__ = ["Feed", "Stopped", "SwitchedOn"]

#: when a read-back stands still, as the supply's driver has it.
STEADY = SettleRule(window=3, hold_s=0.15, relative=0.01, timeout_s=5.0)
STEADY_VOLT, STEADY_AMPERE = 0.02, 0.002
_WANDERS = 5

#: how long a lowered voltage may take to fall: the board alone discharges it (common practice, no source).
_FALL_S = 10.0
#: how often the watch looks at the supply while something else is done.
_GLANCE_S = 0.25


class Stopped(BaseException):
    """A stop rule applies; not an error, so that no handler of an instrument's errors takes it for one."""

    def __init__(self, stop: Stop) -> None:
        super().__init__(stop.line)
        self.stop = stop


@dataclass(frozen=True, slots=True)
class SwitchedOn:
    """How the unit came up: when constant current was left (earliest, latest), longest gap of polls; in second."""

    earliest_s: float
    latest_s: float
    gap_s: float
    charging_s: float


@dataclass(slots=True)
class Feed:
    """One supply, and perhaps a load, in the keeper's hands; `plan` is None while the output is off."""

    keeper: PowerKeeper
    ceiling: Ceiling
    board: Board
    clock: Clock
    has_load: bool
    plan: PowerPlan | None = None
    drawn_ampere: float = 0.0
    last: SupplyPoint | None = None
    _watch: PowerWatch = field(init=False)
    _over_voltage: bool = False
    _constant_current: bool = False
    _seen_s: float = 0.0

    def on(self, wanted: Wanted, heard: Callable[[], None]) -> SwitchedOn:
        """Switch on from whatever state supply and load are in, wait until the unit stands; return how it came up.

        `heard` is called between polls (any key ends it). SpecError for what may not be powered at all.
        """
        supply = self.keeper.supply
        plan = plan_power(request_for(wanted, self.board), self.ceiling)
        self._over_voltage = supply.can("ovp_set")
        if supply.tripped():
            supply.clear_protection()
        steps = power_on_steps(plan, supply.settings(), has_load=self.has_load, has_over_voltage=self._over_voltage)
        began_s = self.clock.monotonic_s()
        for step in steps:
            began_s = self.clock.monotonic_s()
            self._do(step.do, step.value or 0.0, plan)
        on_s = self.clock.monotonic_s()
        self.plan, self._watch = plan, PowerWatch(plan, began_s)
        rising_s, gap_s = self._steady(heard, on_s)
        assert self.last is not None
        arrived_s = self.last.at_s
        return SwitchedOn(max(0.0, rising_s - on_s), arrived_s - began_s, gap_s, plan.charging_s)

    def _do(self, what: Do, value: float, plan: PowerPlan) -> None:
        supply = self.keeper.supply
        does: dict[Do, Callable[[], object]] = {
            Do.LOAD_OFF: self.keeper.load.off,
            Do.OUTPUT_OFF: supply.off,
            Do.SET_OVER_VOLTAGE: lambda: supply.set_over_voltage(value),
            Do.SET_LIMIT: lambda: supply.set_current_limit(value),
            Do.SET_VOLTAGE: lambda: supply.set_voltage(value),
            Do.READ_BACK: lambda: self._read_back(plan),
            Do.OUTPUT_ON: supply.on,
        }
        does[what]()

    def _read_back(self, plan: PowerPlan) -> None:
        faults = read_back_faults(plan, self.keeper.supply.settings())
        if faults:
            raise InstrumentError(f"the supply is not set as planned: {'; '.join(faults)}; nothing was switched on")

    def _steady(self, heard: Callable[[], None], since_s: float) -> tuple[float, float]:
        """Poll until the unit stands; return when it was last seen on its way, and the longest gap between polls."""
        rising_s, gap_s, before_s = since_s, 0.0, since_s
        while self._watch.stage is Stage.RISING:
            point = self.observe()
            gap_s, before_s = max(gap_s, point.at_s - before_s), point.at_s
            if self._watch.stage is Stage.RISING:
                rising_s = point.at_s
            heard()
        return rising_s, gap_s

    def observe(self) -> SupplyPoint:
        """Look at the supply once; Stopped where a stop rule applies."""
        point = self.last = self.keeper.supply.measure()
        self._seen_s = self.clock.monotonic_s()
        stop = self._watch.observe(point)
        if stop is not None:
            raise Stopped(stop)
        return point

    def stands(self, heard: Callable[[], None]) -> tuple[SupplyPoint, ...]:
        """Watch until voltage and current stand still and return the last point; the last few when they never do.

        A current that wanders is the unit's, not the supply's, so it is no reason to switch off.
        """
        seen: list[SupplyPoint] = []
        deadline_s = self.clock.monotonic_s() + STEADY.timeout_s
        while True:
            seen.append(self.observe())
            heard()
            count = held([one.at_s for one in seen], STEADY)
            if count and _still(seen[-count:]):
                return (seen[-1],)
            if self.clock.monotonic_s() >= deadline_s:
                return tuple(seen[:: max(1, len(seen) // _WANDERS)][-_WANDERS:])

    def glance(self) -> None:
        """Renew the lease, and look at the supply when that is due."""
        self.keeper.renew()
        if self.plan is not None and self.clock.monotonic_s() - self._seen_s >= _GLANCE_S:
            self.observe()

    def change_voltage(self, wanted: Wanted, heard: Callable[[], None]) -> None:
        """Bring a unit that is on and not loaded to another voltage, first power's limit set anew."""
        assert self.plan is not None
        plan = plan_power(request_for(wanted, self.board), self.ceiling)
        supply, rises = self.keeper.supply, plan.voltage_volt > self.plan.voltage_volt
        supply.set_current_limit(plan.limit_ampere)
        if rises and self._over_voltage:
            supply.set_over_voltage(plan.over_voltage_volt)
        supply.set_voltage(plan.voltage_volt)
        if not rises:
            self._fallen(plan, heard)
            if self._over_voltage:
                supply.set_over_voltage(plan.over_voltage_volt)
        self._changed(plan, heard)

    def _fallen(self, plan: PowerPlan, heard: Callable[[], None]) -> None:
        """Wait until the board has let go of what it was charged to: a supply does not pull it down."""
        band_volt = max(BAND_VOLT, BAND_RATIO * plan.voltage_volt)
        deadline_s = self.clock.monotonic_s() + _FALL_S
        while (point := self.keeper.supply.measure()).voltage_volt > plan.voltage_volt + band_volt:
            heard()
            if self.clock.monotonic_s() > deadline_s:
                line = f"{point.voltage_volt:.3f} V does not fall to {plan.voltage_volt:.3f} V in {_FALL_S:g} s"
                raise Stopped(Stop(Rule.NOT_RISEN, line))

    def _changed(self, plan: PowerPlan, heard: Callable[[], None]) -> None:
        self.plan = plan
        self._watch.changed(plan, self.clock.monotonic_s())
        self._steady(heard, self.clock.monotonic_s())
        self._read_back(plan)

    def full_limit(self, wanted: Wanted, heard: Callable[[], None]) -> None:
        """Raise the current limit to the spec's own, for load steps."""
        plan = plan_power(request_for(wanted, self.board, full_limit=True), self.ceiling)
        if self.plan != plan:
            self.keeper.supply.set_current_limit(plan.limit_ampere)
            self._changed(plan, heard)

    def first_limit(self, wanted: Wanted, heard: Callable[[], None]) -> None:
        """Lower the current limit to that of first power again, once no load is drawn."""
        plan = plan_power(request_for(wanted, self.board), self.ceiling)
        if self.plan != plan:
            self.keeper.supply.set_current_limit(plan.limit_ampere)
            self._changed(plan, heard)

    def draw(self, current_ampere: float, heard: Callable[[], None]) -> None:
        """Have the electronic load take a current, input on last, and wait until the unit stands again."""
        assert self.plan is not None
        load = self.keeper.load
        if not self._constant_current:
            load.set_constant_current()
            self._constant_current = True
        load.set_current(current_ampere)
        if not self.drawn_ampere:
            load.on()
        self.drawn_ampere = current_ampere
        self.settle(heard)

    def settle(self, heard: Callable[[], None]) -> None:
        """Give the unit its deadline anew after a load was changed, and wait until it stands."""
        assert self.plan is not None
        self._watch.changed(self.plan, self.clock.monotonic_s())
        self._steady(heard, self.clock.monotonic_s())

    def load_off(self) -> None:
        """Switch the load's input off and see it off."""
        if self.drawn_ampere:
            self.keeper.load.off()
            self.drawn_ampere = 0.0


def _still(points: list[SupplyPoint]) -> bool:
    volts, amperes = [one.voltage_volt for one in points], [one.current_ampere for one in points]
    return spread(volts, STEADY.relative, STEADY_VOLT) and spread(amperes, STEADY.relative, STEADY_AMPERE)
