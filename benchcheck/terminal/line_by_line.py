"""Readings taken hands-free without a screen: one line an event, for screen readers and slow lines.

What the meter shows is told only when it means something else than before; a typed line is understood at any time,
and Enter alone says that the tips are on, then that the reading counts as it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.readings.capture import Happening, Seen
from benchcheck.readings.course import Shape
from benchcheck.session.answers import Answer, Hindered, Step, Stop, Taken
from benchcheck.session.live import Glimpse, LiveMeter
from benchcheck.session.meters import Meters
from benchcheck.terminal.actions import Action, meant
from benchcheck.terminal.asking import OPEN_SEEN, Asking, asking_of
from benchcheck.terminal.counted import ALREADY_COUNTED, LastCounted
from benchcheck.terminal.prompt import CLIPPED, PLACED, PromptSource
from benchcheck.terminal.screen import Screen
from benchcheck.terminal.sound import Cue, Sound

__all__ = ["LineByLine"]

_TOLD_SHAPES = (Shape.CHARGING, Shape.SHORT, Shape.BAD_CONTACT, Shape.RESIDUAL_CHARGE, Shape.FALLING)
_SEEN: dict[Happening, tuple[Cue, str]] = {
    Happening.SETTLED: (Cue.SETTLED, ""),
    Happening.MOVED_ON: (Cue.RESEAT, "it moved on: hold still"),
    Happening.RESEAT: (Cue.RESEAT, "it jumped: take the tips off and put them on again"),
    Happening.NO_CONTACT: (Cue.RESEAT, "the contacts do not agree: take the tips off and put them on again"),
    Happening.NOTHING_SEEN: (Cue.RESEAT, OPEN_SEEN),
    Happening.MARKED: (Cue.MARKED, ""),
    Happening.MARK_MISSED: (Cue.RESEAT, ""),
    Happening.MARK_SPOILT: (Cue.RESEAT, ""),
}


def _never() -> str:
    return ""


@dataclass(slots=True)
class LineByLine:
    """Has a linked meter read a check with somebody at a terminal that shows lines.

    `tend` does what must not wait, `power_ended` says why power went off, `switch_off` switches it off at once where
    `live` says that it is on from here;
    `asking` is the check asked for last.
    """

    screen: Screen
    prompts: PromptSource
    meters: Meters
    bench: Bench
    sound: Sound
    clock: Clock
    tend: Callable[[], None] = lambda: None
    power_ended: Callable[[], str] = _never
    switch_off: Callable[[], None] = lambda: None
    live: Callable[[], bool] = lambda: False
    asking: Asking | None = None
    _told: str = ""
    _counted: LastCounted = field(default_factory=LastCounted)

    def placed(self, step: Step, *, clipped: bool = False) -> Answer:
        """Return what the check came to; a load is drawn already.

        `clipped` where they were put on with the power off: the check was shown then, and no lift is waited for.
        """
        meter = self.meters.serving(step.check.function)
        assert meter is not None
        asking = self.asking = asking_of(step, meter, self.bench)
        if clipped:
            self.prompts.begin(step)
            asking.put_down()
        else:
            self.prompts.show(step)
        asking.retries.extend(self.prompts.tries())
        self.screen.prompt(f"  {CLIPPED if clipped else PLACED} > ")
        self._told = ""
        live = self.meters.watch(step.check, meter, lambda: None)
        try:
            with self.screen.listening():
                answer = self._followed(asking, live)
        except EOFError:
            answer = Stop()
        finally:
            live.stop()
            self.meters.watched(meter)
        self.screen.prompt_ends()
        self.prompts.answered(step.check, answer)
        return answer

    def _followed(self, asking: Asking, live: LiveMeter) -> Answer:
        while True:
            self._tell(asking)
            typed = self.screen.line_if_typed()
            if typed is not None:
                self.screen.prompt_answered()
            self.tend()
            ended = self.power_ended() if asking.check.powered else ""
            if ended:
                return Hindered(f"power was switched off: {ended}")
            answer = self._typed(asking, typed.strip()) if typed is not None else None
            if typed and answer is None:
                self.screen.prompt(f"  {PLACED} > ")
            news = live.news()
            if typed is not None and typed.strip():
                news = news[-1:]  # what came while words were asked for is no contact anybody watched
            self._counted.at_s = -math.inf if answer is not None else self._counted.at_s
            answer = answer or self._news(asking, news)
            if answer is not None:
                return answer

    def _typed(self, asking: Asking, typed: str) -> Answer | None:
        if not typed:
            return self._accept(asking)
        action, _ = meant(typed, asking.check) or (None, "")
        match action:
            case Action.ACCEPT:
                return self._taken_as_it_is(asking)
            case Action.REPEAT:
                if asking.latest is not None:
                    asking.refuse(asking.latest.display.text)
                asking.begin_anew()
                self._say("once more: lift the tips, then put them on")
                return None
        answer = self.prompts.understand(asking.check, typed)
        if isinstance(answer, Taken):
            return Taken(tuple(asking.finished(one) for one in answer.readings))
        return answer

    def _accept(self, asking: Asking) -> Answer | None:
        if self._counted.holds_back(asking, self.clock.monotonic_s()):
            self._say(ALREADY_COUNTED)
            self.screen.prompt(f"  {PLACED} > ")
            return None
        if not asking.tips_down:
            asking.put_down()
            once_more = "Enter switches the power off, accept" if self.live() else "Enter once more"
            self._say(f"tips down: reading; {once_more} takes it as it is")
            return None
        if self.live():
            self.switch_off()  # a key while nothing is asked: a word, "take", takes the reading as it is
            return Stop()
        return self._taken_as_it_is(asking)

    def _taken_as_it_is(self, asking: Asking) -> Answer | None:
        reading = asking.by_hand()
        return Taken((reading,)) if reading is not None else None

    def _news(self, asking: Asking, news: list[Glimpse]) -> Answer | None:
        asking.silent(self.clock.monotonic_s())
        for glimpse in news:
            was_away = bool(asking.trouble)
            seen = asking.take(glimpse)
            if bool(asking.trouble) != was_away:
                self.sound.cue(Cue.ATTENTION)
                self._say(f"no reading: {asking.trouble}" if asking.trouble else "the meter is back")
            answer = self._seen(asking, seen) if seen is not None else None
            if answer is not None:
                return answer
            beyond = asking.beyond()
            if beyond is not None:
                return Taken((beyond,))
        return None

    def _seen(self, asking: Asking, seen: Seen) -> Answer | None:
        if seen.happening is Happening.KEPT:
            self._counted.at_s = self.clock.monotonic_s()
            return Taken(asking.readings_of(seen))
        cue, words = _SEEN.get(seen.happening, (None, ""))
        if cue is not None:
            self.sound.cue(cue)
        self._say(words or asking.mark_words(seen))
        return None

    def _tell(self, asking: Asking) -> None:
        """Say what the reading does, once, where that is news to whoever cannot see it."""
        capture = asking.capture
        if asking.latest is None and not asking.waiting:
            return  # nothing was seen yet
        waits = capture is None or capture.shape is Shape.OPEN
        told = asking.waiting.partition(";")[0].partition(" for ")[0] if asking.waiting else ""
        if not told and capture is not None and not asking.trouble:
            told = asking.state() if waits else str(capture.shape) if capture.shape in _TOLD_SHAPES else self._told
        if told and told != self._told:
            self._told = told
            self._say(asking.state() if waits else told)

    def _say(self, words: str) -> None:
        if words:
            self.screen.prompt_ends()
            self.screen.paragraph(words, "  ", "    ")
