"""Power during a visit: confirmed, switched on in order, watched while it is on, and off on every way out.

Whatever ends it (a stop rule, an instrument, a key, the end of the visit) leads to the same way down: load first,
output off, seen off. Once it has ended early it stays off, and each further powered check says why. Only `again` lets
it come up: after a key, or once somebody has said what was found and done, and then with everything confirmed anew.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchcheck.bench.model import Bench
from benchcheck.bench.model import Supply as BenchSupply
from benchcheck.clock import Clock
from benchcheck.errors import BenchcheckError, InstrumentError, OutputStateUnknown, UsageError
from benchcheck.instruments.catalogue import Catalogue, shipped_catalogue
from benchcheck.instruments.from_bench import keeper_settings
from benchcheck.instruments.power_keeper import PowerKeeper
from benchcheck.instruments.power_supply import Ceiling, SupplyPoint
from benchcheck.instruments.power_watch import OffReport, OffState, Rule, Stop
from benchcheck.quantity import format_value
from benchcheck.session.answers import Note
from benchcheck.session.feed import Feed, Stopped, SwitchedOn
from benchcheck.session.hand import Hand
from benchcheck.session.interrupts import Endings
from benchcheck.session.power_ended import PowerEnded
from benchcheck.session.power_load import Loading
from benchcheck.session.power_rules import Wanted, supply_of_bench
from benchcheck.session.power_words import NO_ANSWER, PAUSED, STILL_OFF, UNKNOWN, named, to_confirm
from benchcheck.session.preflight import look_at
from benchcheck.spec.board import Board

__all__ = ["Power", "PowerEnded"]

_NO_ANSWER_S = 1.5  # an instrument that works answers sooner


@dataclass(slots=True)
class Power:
    """The power of one visit; nothing is opened before it is first asked for.

    `note` keeps events, `told` shows a line, `stop_asked` says that somebody wants it off now. `dialects` are
    tables of further dialects, for the keeper. `ended` says why power went off early, `by_key` that it was a key,
    `alarm` why nobody knows whether it is off; that stays, and nothing is powered after it.
    """

    board: Board
    bench: Bench
    hand: Hand
    clock: Clock
    note: Note
    told: Callable[[str], None]
    stop_asked: Callable[[], bool] = lambda: False
    dialects: Mapping[str, Any] = field(default_factory=dict)
    ended: str = ""
    by_key: bool = False
    alarm: str = ""
    unanswered: str = ""  # what is said while an answer is waited for that is long due
    feed: Feed | None = None
    came_up: dict[str, SwitchedOn] = field(default_factory=dict)  # how each supply came up at first power
    fed: Wanted | None = None
    _confirmed: dict[str, str] = field(default_factory=dict)  # "cells" -> "out", bench supply -> what it is wired to
    _driven: str = ""
    _endings: Endings = field(default_factory=Endings)
    _loading: Loading = field(init=False)

    def __post_init__(self) -> None:
        """Draw nothing yet."""
        self._loading = Loading(self.board, self.load_name, self._must, self.hand.confirm, self._event, self._heard)

    @property
    def load_name(self) -> str:
        """The linked load of the bench, "" without one."""
        return next((name for name, one in self.bench.loads.items() if one.link is not None), "")

    @property
    def is_on(self) -> bool:
        """Whether the output is on, as far as we switched it."""
        return self.feed is not None and self.feed.plan is not None

    def look(self, catalogue: Catalogue | None = None) -> dict[str, str]:
        """Return who answers at supply and load, without changing anything; refuses what must not be driven."""
        return look_at(self.bench, self.load_name, catalogue or shipped_catalogue(), self.clock)

    # ---- on

    def bring(self, wanted: Wanted) -> None:
        """Have the unit on the supply and at the voltage wanted, nothing drawn that is not wanted.

        PowerEnded when that cannot be, SpecError where it may not be, UsageError where it was not confirmed.
        """
        with self._guarded():
            if self.fed is not None and self.fed.supply is not wanted.supply:
                self._off("the unit is fed by another supply now")
            feed = self._opened(wanted)
            if not self.is_on:
                self._confirm(wanted)
                feed = self._opened(wanted)
                self._loading.before_power()
                self._endings.install()
                self.stop_asked()  # what was pressed before there was power asks for nothing
                came_up = feed.on(wanted, self._heard)
                self.came_up.setdefault(wanted.supply.name, came_up)
                self._tell_on(feed, wanted)
            else:
                self._adapt(feed, wanted)
            self.fed = wanted

    def _adapt(self, feed: Feed, wanted: Wanted) -> None:
        """Take the load off where another one is wanted, and change the voltage."""
        assert self.fed is not None
        same_place = self.fed.load_place == wanted.load_place and self.fed.voltage_volt == wanted.voltage_volt
        if not (same_place and wanted.loaded):
            self._loading.take_off(feed)
        if self.fed.voltage_volt != wanted.voltage_volt:
            feed.change_voltage(wanted, self._heard)
            volts = format_value(wanted.voltage_volt, "V", ascii=True)
            self._event(f"{wanted.supply.name} changed to {volts}{named(wanted.at)}")
        elif not wanted.loaded:
            feed.first_limit(wanted, self._heard)

    def _opened(self, wanted: Wanted) -> Feed:
        if self.alarm:
            raise OutputStateUnknown(self.alarm)
        if self.ended:
            raise PowerEnded(self.ended)
        chosen = self._chosen(wanted)
        if self.feed is not None and not self.is_on:
            self._keep_idle(self.feed)
        if self.feed is not None and self._driven != chosen.name:  # the unit has a supply of its own for this
            self.feed.keeper.close()
            self.feed = None
        if self.feed is None:
            self._driven = chosen.name
            settings = keeper_settings(self.bench, chosen.name, self.load_name, self.dialects)
            keeper = PowerKeeper(settings, self.clock)
            keeper.waiting = self._waited
            ceiling = Ceiling(chosen.ceiling.voltage_v, chosen.ceiling.current_a)
            self.feed = Feed(keeper, ceiling, self.board, self.clock, bool(self.load_name))
        return self.feed

    def _chosen(self, wanted: Wanted) -> BenchSupply:
        chosen = supply_of_bench(self.bench, wanted.supply.name)
        assert chosen is not None
        return chosen

    def _confirm(self, wanted: Wanted) -> None:
        """Have it confirmed that no cell is in, and once for each supply where its leads go."""
        for key, value, question in to_confirm(self._chosen(wanted).name, wanted.supply):
            if self._confirmed.get(key) == value:
                continue
            if self.feed is not None:
                self.feed.keeper.renew()
            self._must(question)
            self._confirmed[key] = value
            self._event(f"confirmed: {question}")

    def _must(self, question: str) -> None:
        """Raise UsageError unless it is confirmed; nothing is ended by a no, and the next check asks again.

        PowerEnded where power ended for good while the question stood.
        """
        confirmed = self.hand.confirm(question)
        if self.ended:
            raise PowerEnded(self.ended)
        if not confirmed:
            raise UsageError(f"not confirmed: {question}")

    def _tell_on(self, feed: Feed, wanted: Wanted) -> None:
        plan, last = feed.plan, feed.last
        assert plan is not None
        assert last is not None
        volts = f"{plan.voltage_volt:.3f} V{named(wanted.at)}, limit {plan.limit_ampere * 1e3:.0f} mA"
        self._event(
            f"{wanted.supply.name} on: {volts}, over-voltage {plan.over_voltage_volt:.2f} V; steady at "
            f"{last.voltage_volt:.3f} V, {last.current_ampere * 1e3:.1f} mA"
        )
        self.told(f"power on: {wanted.supply.name} {volts}; it takes {last.current_ampere * 1e3:.1f} mA")

    # ---- load

    def draw(self, wanted: Wanted) -> None:
        """Draw the load current wanted, with the electronic load or, without one, with what somebody puts there."""
        if self.ended:
            raise PowerEnded(self.ended)
        if not wanted.loaded:
            return
        with self._guarded():
            assert self.feed is not None
            self._loading.draw(self.feed, wanted)

    # ---- while it is on

    def tend(self) -> None:
        """Renew the lease and watch; PowerEnded where power went off. Called several times a second."""
        if self.alarm:
            raise OutputStateUnknown(self.alarm)
        if self.feed is None:
            return
        if not self.is_on:
            self._keep_idle(self.feed)
            return
        with self._guarded():
            self._heard()
            self.feed.glance()

    def _keep_idle(self, feed: Feed) -> None:
        """Keep a keeper that holds nothing on; one that has gone (the process stood still) is started anew later."""
        try:
            feed.keeper.renew()
        except OutputStateUnknown as reason:
            self._alarm(str(reason))
            raise
        except InstrumentError as reason:
            self._event(f"the output was off, and its keeper has gone: {reason}")
            self.feed = None

    def steady(self) -> tuple[SupplyPoint, ...]:
        """Return what the supply shows: one point where it stands still, the last few where its current wanders."""
        with self._guarded():
            assert self.feed is not None
            return self.feed.stands(self._heard)

    def stop(self, stop: Stop) -> None:
        """Switch off for a stop rule that somebody else found; power stays off."""
        self._end(stop.line, key=stop.rule is Rule.KEY)

    def again(self, found: str = "") -> None:
        """Let power come up again: the next check begins anew, with everything confirmed.

        Where something else than a key ended it, `found` says what was found and done; without it power stays off.
        """
        if self.alarm or (self.ended and not self.by_key and not found):
            return
        done = f"; found and done: {found}" if found else ""
        self._event(f"power may come up again: {self.ended or 'asked for'}{done}")
        self.ended, self.by_key = "", False
        self.forget()
        self.came_up.clear()

    def forget(self) -> None:
        """Take cells and wiring for unknown: somebody had time to change them; they are asked for before power."""
        self._loading.forget()
        self._confirmed.clear()

    def _heard(self) -> None:
        if self._endings.pause_asked():
            raise Stopped(Stop(Rule.KEY, PAUSED))
        if self.stop_asked():
            raise Stopped(Stop(Rule.KEY, "a key was pressed"))

    def _waited(self, waited_s: float) -> None:
        """Say that no answer comes, and have a key end the wait for anything but being off."""
        before, self.unanswered = self.unanswered, ""
        if waited_s < _NO_ANSWER_S or self.alarm:
            return
        self.unanswered = NO_ANSWER if self.is_on else STILL_OFF
        if self.unanswered != before:
            self.told(self.unanswered)
        if self.stop_asked() and self.is_on:
            raise Stopped(Stop(Rule.KEY, "a key was pressed"))

    # ---- off

    def off(self, why: str) -> OffReport | None:
        """Switch off in good order, so that power may come back later; None where it was not on.

        OutputStateUnknown when nobody can say whether it is off.
        """
        if not self.is_on:
            return None
        with self._guarded():
            return self._off(why)

    def _off(self, why: str) -> OffReport:
        assert self.feed is not None
        self.feed.plan, self.fed, self.feed.drawn_ampere = None, None, 0.0
        report = self.feed.keeper.off()
        self.unanswered = ""
        self._event(f"off ({why}): {report.line}")
        self._endings.restore()
        if report.state is OffState.UNKNOWN:
            self.ended = report.line
            raise OutputStateUnknown(report.line)
        self._tell_off(why, report)
        return report

    def _tell_off(self, why: str, report: OffReport) -> None:
        """Say what was seen of it being off, before anybody reaches for the unit."""
        if report.state is OffState.CHARGED:
            self._discharge(report.line)
        else:
            self.told(f"power off, {why}: {report.line}")

    def _discharge(self, line: str) -> None:
        """Show that charge is left, and have it taken off before anything is touched."""
        self.told(line)
        residual = next((check for check in self.board.checks if check.measurand == "residual_voltage"), None)
        if residual is not None:
            self.hand.discharge(residual)

    def close(self, why: str = "the end of the visit") -> str:
        """Switch off and let supply and load go; return why the output state is unknown, "" when it is not."""
        feed, self.feed = self.feed, None
        if feed is None:
            return self.alarm
        was_on = feed.plan is not None
        try:
            report = feed.keeper.close()
        except OutputStateUnknown as reason:
            return self._alarm(str(reason))
        except InstrumentError as reason:  # it had switched off and gone before
            self._event(f"off: {reason}")
            return self.alarm
        finally:
            self.unanswered = ""
            self._endings.restore()
        if was_on:
            self._event(f"off ({why}): {report.line}")
            if not self.alarm:
                self._tell_off(why, report)
        return self.alarm

    def _alarm(self, reason: str) -> str:
        """Keep the first reason why nobody knows whether it is off, and say it at once."""
        if self.alarm:
            return self.alarm
        self.ended, self.alarm = self.ended or reason, reason
        self.told(UNKNOWN)
        with contextlib.suppress(BenchcheckError):
            self._event(reason)
        return reason

    def _end(self, reason: str, *, trouble: bool = False, key: bool = False) -> PowerEnded:
        """Switch off for good; return what says so. OutputStateUnknown when it cannot be seen off."""
        last = self.feed.last if self.feed is not None else None
        self.ended, self.by_key, self.fed = reason, key, None
        self._event(f"stopped: {reason}")
        self.told(f"switching off: {reason}")
        alarm = self.close("stopped")
        if alarm:
            raise OutputStateUnknown(alarm)
        return PowerEnded(reason, trouble=trouble, key=key, last=last)

    @contextlib.contextmanager
    def _guarded(self) -> Any:
        """Turn whatever ends power on the way into PowerEnded, after it is off."""
        try:
            yield
        except Stopped as stopped:
            raise self._end(stopped.stop.line, key=stopped.stop.rule is Rule.KEY) from stopped
        except OutputStateUnknown as reason:
            self._alarm(str(reason))
            raise
        except InstrumentError as reason:
            raise self._end(str(reason), trouble=True) from reason
        except PowerEnded as reason:
            if not self.ended:
                raise self._end(reason.reason) from reason
            raise

    def _event(self, text: str) -> None:
        self.note("", text)
