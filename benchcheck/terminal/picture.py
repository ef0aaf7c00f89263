"""What stands on the screen of a guided visit, kept between two paintings: from the state of a check to a view."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import BenchcheckError
from benchcheck.kinds.check import Check
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.capturing import shown_value
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.capability import expected_value
from benchcheck.score.judge import judge
from benchcheck.score.model import Score
from benchcheck.session.answers import Step
from benchcheck.terminal.actions import LIVE_KEYS, keys_for
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.bar import Gauge
from benchcheck.terminal.face import Last, View
from benchcheck.terminal.instructing import READ_BY_SUPPLY, instruction_rows, spoken
from benchcheck.terminal.lines import outcome_word, shown_text
from benchcheck.terminal.page import folded_page
from benchcheck.terminal.prompt import PromptSource

__all__ = ["Picture"]

_MESSAGES = 3


_SOAK = "The unit runs: stay beside it."


@dataclass(slots=True)
class Picture:
    """The screen's memory; `entry` is the line being typed, None where keys act alone."""

    title: str
    bench: Bench
    last: Last | None = None
    messages: tuple[str, ...] = ()
    entry: str | None = None
    prompt: str = ""
    page: tuple[str, ...] = ()
    soak_follows: bool = False
    asks_number: bool = False
    keys: tuple[tuple[str, str], ...] = ()  # those that serve instead of a check's own, where there are any
    _progress: str = ""
    _stage: str = ""
    _driven: bool = False
    _choices: tuple[tuple[str, str], ...] = ()
    _rows: tuple[tuple[str, str], ...] = ()
    _gauge: Gauge | None = None
    _gauged: str = ""

    def asked(self, asking: Asking, prompts: PromptSource, progress: str) -> None:
        """Take in which check is asked for now."""
        expected = prompts.expect(asking.check, asking.step.session)
        self._driven = prompts.driven()
        self._rows = instruction_rows(asking.step, expected, driven=self._driven)
        self._progress, self._gauged = progress, ""
        self._gauge = _gauge_of(_supposed(asking.check), asking.check, self.bench, asking.step.session, shown=False)

    def asking_no_more(self, ends_s: float | None = None) -> None:
        """Take in that nothing is left to ask, and after how many seconds the visit ends by itself."""
        self._progress, self._rows, self._gauge = "all asked", (), None
        self._stage = "That was the last check."
        if ends_s is not None:
            self._stage += f" All is kept; the checks end by themselves after {ends_s:.0f} s."

    def power_stopped(self, step: Step, reason: str, anew: str, keys: tuple[tuple[str, str], ...]) -> None:
        """Take in that power is off because somebody wanted it, and which keys serve then."""
        self._progress, self._gauge, self._choices = f"{step.place} of {step.total}", None, keys
        self._rows = (("power", f"off: {reason}"), ("check", step.check.id), ("then", anew))
        self._stage = "Power is off."

    def going_on(self) -> None:
        """Take in that somebody has chosen what comes next."""
        self._choices, self._rows, self.messages = (), (), ()

    def soaking(self, minutes: float = 0.0) -> None:
        """Take in that the unit runs on for some minutes with somebody beside it."""
        self._progress = f"soak of {minutes:g} min" if minutes else "soak"
        self._stage = _SOAK

    def spoken(self, asking: Asking) -> str:
        """Return what is said aloud of a check: where the tips go."""
        return spoken(self._rows)

    def say(self, words: str) -> None:
        """Show a message, the oldest giving way."""
        if words and words not in self.messages:
            self.messages = (*self.messages, words)[-_MESSAGES:]

    def scored(self, score: Score) -> None:
        """Take in what a check came to."""
        because = score.because if not score.change else f"{score.because}. What would change it: {score.change}"
        self.last = Last(score.check, outcome_word(score), shown_text(score), because)

    def page_rows(self, columns: int, rows: int) -> int:
        """Return how many lines of a page fit at once."""
        size, used = 0, 0
        for line in self.page:
            used += len(folded_page(line, columns))
            if used > rows - 3:
                break
            size += 1
        return max(1, size)

    def view(self, asking: Asking | None, power: str, *, diagnosis: bool = False) -> View:
        """Return what the screen shows now."""
        if asking is None and not self.page:
            return self._without_check(power)
        if self.page or asking is None:
            return View(self.title, self._progress, "", page=self.page, keys=(("any key", "goes on"), ("q", "quits")))
        check, metered = asking.check, asking.meter is not None
        return View(
            title=self.title,
            progress=self._progress,
            check=f"{check.id}{'   red and black exchanged' if asking.exchanged else ''}",
            rows=tuple(row for row in self._rows if row[0] != "leads"),  # the line above says it
            reading=asking.latest.display.text if asking.latest is not None else "",
            state=asking.state(),
            gauge=self._live_gauge(asking),
            last=self.last,
            after=_where(asking.step.after, driven=self._driven),
            messages=self.messages,
            entry=self.entry,
            prompt=self.prompt,
            power=power,
            keys=self._typing(power)
            if self.entry is not None
            else self.keys or keys_for(check, metered=metered, diagnosis=diagnosis, live=bool(power)),
        )

    def _without_check(self, power: str) -> View:
        """Return what the screen shows without a check: nothing left to ask, the soak, power that was stopped."""
        ends = "begins the soak" if self.soak_follows else "ends the visit"
        keys = self._choices or (LIVE_KEYS if power else (("Enter", ends), ("u", "undo")))
        return View(
            self.title,
            self._progress,
            self._stage if power or self._stage != _SOAK else "Before the soak, power off.",
            rows=self._rows if self._choices else (),
            last=self.last,
            power=power,
            messages=self.messages,
            entry=self.entry,
            prompt=self.prompt,
            keys=keys if self.entry is None else self._typing(power),
        )

    def _typing(self, power: str) -> tuple[tuple[str, str], ...]:
        """Return what keys do while a line is typed; a question under power gives way to the wish to have it off."""
        if power and self.prompt.endswith("yes or no"):
            return (("yes, no, Enter", "answer"), ("any other key", "power off"))
        if power and self.asks_number:
            return (("digits, Enter", "answer"), ("any other key", "power off"))
        return (("Enter", "takes it"), ("Esc", "back"))

    def _live_gauge(self, asking: Asking) -> Gauge | None:
        """Return the bar with the reading in it, computed anew only where the reading changed."""
        latest = asking.latest
        if self._gauge is None:
            return None
        if latest is None or asking.in_the_air:
            self._gauged = ""
            return replace(self._gauge, value=None, expanded_uncertainty=None)
        if latest.display.text != self._gauged:
            self._gauged = latest.display.text
            found = _gauge_of(latest, asking.check, self.bench, asking.step.session, shown=True)
            value = shown_value(latest)
            self._gauge = replace(self._gauge, value=value, expanded_uncertainty=None) if found is None else found
        return self._gauge


def _gauge_of(reading: Reading | None, check: Check, bench: Bench, session: Session, *, shown: bool) -> Gauge | None:
    """Return the bar of a reading; one that is only supposed lends its guard band and is not drawn."""
    limits = check.limits
    if check.function is Function.VISUAL or (limits.lower is None and limits.upper is None):
        return None
    plain = Gauge(check.quantity_unit, limits.lower, limits.upper)
    if reading is None or reading.display.state is not DisplayState.VALUE:
        return replace(plain, value=shown_value(reading)) if reading is not None and shown else plain
    try:
        score = judge(check, (reading,), bench, session)
    except BenchcheckError:
        return plain
    value = reading.display.value if shown else None
    half = score.expanded_uncertainty if shown else None
    return replace(plain, guard_band=score.guard_band, value=value, expanded_uncertainty=half)


def _supposed(check: Check) -> Reading | None:
    """Return a reading as a good unit gives it, for want of a real one."""
    value = expected_value(check)
    if value is None:
        return None
    display = Display(f"{value:g}", DisplayState.VALUE, value, 0.0)
    return Reading(check.id, display, check.quantity_unit, Origin.TYPED)


def _where(after: Check | None, *, driven: bool) -> str:
    if after is None:
        return ""
    if driven and after.measurand in READ_BY_SUPPLY:
        return after.id
    if after.function is Function.VISUAL and after.red is not None:
        return f"{after.id}: {after.red.point}"
    points = [f"{name} {probe.point}" for name, probe in (("red", after.red), ("black", after.black)) if probe]
    return f"{after.id}: {', '.join(points)}" if points else after.id
