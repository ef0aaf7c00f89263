"""The guided screen put together for one visit: what it asks with, what it shows of power, how it lets go."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.clock import SystemClock
from benchcheck.session.answers import Answer, Step
from benchcheck.session.clips import clips_seen
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.meters import Meters
from benchcheck.session.power_words import UNKNOWN
from benchcheck.session.run import Conduct, Report
from benchcheck.spec.board import Board
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.desk import Desk
from benchcheck.terminal.expecting import expectation, meter_name
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.hand import PersonHand
from benchcheck.terminal.keyboard import Keyboard
from benchcheck.terminal.manner import Manner
from benchcheck.terminal.picture import Picture
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.sound import Sound

__all__ = ["GuidedConduct", "guided_screen", "instrumented", "power_line"]


@dataclass
class GuidedConduct(Conduct):
    """A conduct that gives the terminal back however it ends."""

    leave: Callable[[], None] = lambda: None

    def run(self, board: Board, selected: tuple[str, ...], stop_after: int = 0) -> Report:
        """Conduct the visit; see `Conduct.run`."""
        try:
            return Conduct.run(self, board, selected, stop_after)
        finally:
            self.leave()


@dataclass
class _Shown(InstrumentedSource):
    """The instruments, with each check on the screen before power is brought up for it."""

    guided: Guided | None = None

    def answer(self, step: Step) -> Answer:
        """Show the check that comes, then answer it."""
        if self.guided is None or not step.check.powered:
            return InstrumentedSource.answer(self, step)
        power = self.power
        unseen = power is not None and not power.ended and step.check.function is not Function.DC_CURRENT
        instead = self.guided.clipped_on(step, lambda: self.rest("tips go on with the power off")) if unseen else None
        if instead is not None:
            return instead
        self.guided.coming(step)
        try:
            return self.guided.noted(InstrumentedSource.answer(self, step))
        finally:
            self.guided.desk.keys_stop = False

    def soak(self, minutes: float) -> str:
        """Run the unit for some minutes with its looks on the screen; any key switches off."""
        if self.guided is None or not self.guided.desk.is_open:
            return InstrumentedSource.soak(self, minutes)
        desk = self.guided.desk
        desk.asking, desk.keys_stop = None, True
        desk.picture.soaking(minutes)
        try:
            return InstrumentedSource.soak(self, minutes)
        finally:
            desk.keys_stop = False


def guided_screen(bench: Bench, title: str, manner: Manner) -> Guided:
    """Return the guided screen for a bench; the terminal is taken when it is first needed."""
    canvas = Canvas()
    sound = Sound(canvas.bell, on=not manner.silent, speak=manner.spoken)
    prompts = PromptSource(_unasked, _untold, meter_name(bench), expectation(bench))
    desk = Desk(Picture(title, bench), canvas, Keyboard())
    guided = Guided(desk, prompts, sound, SystemClock(), bench)
    desk.meanwhile = guided.meanwhile
    prompts.ask, prompts.tell = guided.ask, guided.tell
    prompts.width = lambda: sys.maxsize  # the screen folds what it is told for its own size
    return guided


def instrumented(guided: Guided, meters: Meters, told: Callable[[str], None]) -> InstrumentedSource:
    """Return the source that reads linked instruments with a person at the guided screen."""
    source = _Shown(
        meters, PersonHand(guided.prompts), guided, guided.placed, told, stop_asked=lambda: _stop(guided, source)
    )
    source.guided = guided
    guided.meters, guided.tend = meters, source.tend
    guided.desk.power_line = lambda: power_line(source)
    guided.power_ended, guided.rest, guided.desk.let_go = source.why_off, source.rest, source.let_go
    source.power_stopped, source.power_ruled = guided.power_stopped, guided.power_ruled
    guided.clips_seen = lambda check: clips_seen(check, source.power.board, meters) if source.power else ""
    guided.prompts.driven = lambda: source.power is not None
    guided.keys.switch_off = source.switch_off_by_key
    return source


def _stop(guided: Guided, source: InstrumentedSource) -> bool:
    """Whether a key was pressed while a unit comes up; at a check its keys mean what the screen says.

    Where no answer comes from what gives power, any key is to switch off.
    """
    unanswered = source.power is not None and bool(source.power.unanswered)
    return (guided.desk.keys_stop or unanswered) and guided.desk.any_key()


def power_line(source: InstrumentedSource) -> str:
    """Return what the supply gives, "" while it is off; that nobody knows whether it is comes before all."""
    power = source.power
    if power is not None and (power.alarm or power.unanswered):
        return f"POWER ON?  {UNKNOWN if power.alarm else power.unanswered}"
    feed = power.feed if power is not None else None
    if feed is None or feed.plan is None:
        return ""
    limit = f"limit {feed.plan.limit_ampere * 1e3:.0f} mA"
    if feed.last is None:
        return f"POWER ON  {limit}"
    load = f", load {feed.drawn_ampere * 1e3:.0f} mA" if feed.drawn_ampere else ""
    return f"POWER ON  {feed.last.voltage_volt:.3f} V  {feed.last.current_ampere * 1e3:.1f} mA  {limit}{load}"


def _unasked(prompt: str) -> str:
    raise EOFError(prompt)


def _untold(line: str) -> None:
    """Nobody is there yet."""
