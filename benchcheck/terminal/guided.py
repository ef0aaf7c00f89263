"""The guided visit: one check at a time, single keys, readings taken hands-free from a linked meter.

Everything happens in one loop that waits for a key, for news of the meter or for a tenth of a second, whichever
comes first; so a key shows at once while the meter is being read, and the lease of power is renewed meanwhile.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from benchcheck.bench.meter import Meter
from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.kinds.check import Check, Probe
from benchcheck.readings.capture import Happening, Seen
from benchcheck.score.model import Score
from benchcheck.session.answers import Answer, Exchange, Hindered, Photo, Remark, Step, Stop, Taken
from benchcheck.session.clips import noted
from benchcheck.session.exit_code import PASSED
from benchcheck.session.live import LiveMeter
from benchcheck.session.meters import Meters
from benchcheck.terminal.after_stop import wish_at_desk
from benchcheck.terminal.asking import OPEN_SEEN, Asking, asking_of
from benchcheck.terminal.check_keys import CheckKeys, is_reading
from benchcheck.terminal.clipping import clips_wish
from benchcheck.terminal.desk import Desk
from benchcheck.terminal.lines import kept_words
from benchcheck.terminal.pace import Pace
from benchcheck.terminal.picture import Picture
from benchcheck.terminal.prompt import GIVEN_UP, PromptSource
from benchcheck.terminal.sound import Cue, Sound

__all__ = ["Guided"]

_YES_OR_NO = "yes or no"
#: how long the last answer can be taken back where all is well and no hand is free (no source).
_ENDS_ITSELF_S = 20.0


def _nothing() -> None:
    """Nothing must be done meanwhile."""


#: answers after which the same check is asked again at once: its meter is read on, and no key waits for it.
_STAYS = (Exchange, Photo, Remark)


def _is_answer(typed: str) -> bool:
    return any(word.startswith(typed.casefold()) for word in ("yes", "no"))


@dataclass(slots=True)
class Guided:
    """A source and observer with a screen of its own; `leave` gives the terminal back.

    `meters` are the linked ones, None without any. `tend` does what must not wait, `power_ended` says why power
    went off, `rest` has it off while nothing is measured, `keys` is what the keys of a check do. `cautions` are shown
    again before power comes up again, `pace` says how long the rest takes. `clips_seen` says how clips that no
    reading sees were seen on their points, once power is up, and raises where they were not.
    """

    desk: Desk
    prompts: PromptSource
    sound: Sound
    clock: Clock
    bench: Bench
    meters: Meters | None = None
    tend: Callable[[], None] = _nothing
    power_ended: Callable[[], str] = lambda: ""
    rest: Callable[[], None] = _nothing
    cautions: tuple[str, ...] = ()
    pace: Pace = field(default_factory=Pace)
    clips_seen: Callable[[Check], str] = lambda check: ""
    keys: CheckKeys = field(init=False)
    _live: LiveMeter | None = None
    _watched: tuple[str, str] | None = None  # the check and the meter that are read, while one is
    _at: tuple[Probe | None, Probe | None] | None = None  # where a linked meter's tips were last asked for
    _seen_on: str = ""  # how the clips of the check on show were seen on
    _clipped: str = ""  # the check whose tips were said to be clipped on

    def __post_init__(self) -> None:
        """Nothing was pressed yet."""
        self.keys = CheckKeys(self.desk, self.prompts, self.bench, self.clock)

    # ---- the terminal

    def leave(self) -> None:
        """Give the terminal back and be silent."""
        self._stop_watching()
        self.sound.close()
        self.desk.leave()

    def begins(self, lines: tuple[str, ...]) -> bool:
        """Show a page, wait for a key and return whether to begin: q, Ctrl-D or a closed terminal say no."""
        self.desk.enter()
        try:
            return not self.desk.turn_page(lines)
        except EOFError:
            return False

    # ---- a source of readings

    @property
    def picture(self) -> Picture:
        """What stands on the screen."""
        return self.desk.picture

    def answer(self, step: Step) -> Answer:
        """Ask a person for a check that no linked meter reads."""
        return self._asked(step, None)

    def placed(self, step: Step) -> Answer:
        """Have a linked meter read a check hands-free, and return what it came to; a load is drawn already."""
        meter = self.meters.serving(step.check.function) if self.meters is not None else None
        if self._clipped == step.check.id and self.desk.power_line():
            self._seen_on = self.clips_seen(step.check)
        return self._asked(step, meter)

    def noted(self, answer: Answer) -> Answer:
        """Return the answer to a powered check with how its clips were seen on, in the note of each reading."""
        words, self._seen_on = self._seen_on, ""
        return noted(answer, words)

    def coming(self, step: Step) -> None:
        """Show a check for which power is brought up first; until it is asked for, any key switches off."""
        self.desk.enter()
        self._stop_watching()
        self.desk.asking = Asking(step)
        self.picture.asked(self.desk.asking, self.prompts, self._remaining(step))
        self.desk.keys_stop = True
        self.desk.paint()

    def _contact_known(self, asking: Asking) -> None:
        """Take in, under power, what is known of the tips: no key can say then that they are on.

        Clips on the points asked for just before need not leave; that they touch is seen all the same. Where it
        cannot be seen they were clipped on with the power off.
        """
        check, before = asking.check, self._at
        self._at = (check.red, check.black) if asking.meter is not None else None
        clipped, self._clipped = self._clipped == check.id, ""
        if not self.desk.power_line() or asking.capture is None:
            return
        if clipped:
            asking.put_down()
        elif before == self._at:
            asking.capture.lifted = True

    def clipped_on(self, step: Step, power_off: Callable[[], object]) -> Answer | None:
        """Have tips clipped on with the power off where no meter can see them touch; None once they are on.

        Another answer may be given instead.
        """
        meter = self.meters.serving(step.check.function) if self.meters is not None else None
        asking = asking_of(step, meter, self.bench)
        if asking.rule is None or not asking.rule.open_is_good:
            return None
        self._stop_watching()
        power_off()
        self.desk.enter()
        self.desk.asking, self.desk.keys_stop = replace(asking, meter=None, rule=None), False
        self.picture.asked(asking, self.prompts, self._remaining(step))
        try:
            answer = clips_wish(self.desk, self.keys, self.desk.asking)
        except EOFError:
            return Stop()
        self._clipped = step.check.id if answer is None else ""
        return answer

    def power_stopped(self, step: Step, reason: str) -> Answer:
        """Return what somebody wants who has switched power off with a key, or has not confirmed something."""
        return self._wished(step, reason, ruled=False)

    def power_ruled(self, step: Step, reason: str) -> Answer:
        """Return what somebody wants where a stop rule or an instrument has switched power off."""
        self.sound.cue(Cue.ATTENTION)
        return self._wished(step, reason, ruled=True)

    def _wished(self, step: Step, reason: str, *, ruled: bool) -> Answer:
        self._stop_watching()
        try:
            return wish_at_desk(self.desk, step, reason, self.cautions, ruled=ruled)
        except EOFError:
            return Stop()

    def _asked(self, step: Step, meter: Meter | None) -> Answer:
        self.desk.enter()
        asking = self.desk.asking = asking_of(step, meter, self.bench)
        self._contact_known(asking)
        self.prompts.begin(step)
        asking.retries.extend(self.prompts.tries())
        self.picture.asked(asking, self.prompts, self._remaining(step))
        self.picture.say(self.keys.news_first)
        self.keys.news_first = ""
        self.sound.say(self.picture.spoken(asking))
        self._watch(asking)
        self.desk.keys_stop = False
        stays = False
        try:
            while True:
                answer = self._turn(asking)
                if answer is not None:
                    self.pace.answered(step.check, self.clock.monotonic_s(), read=isinstance(answer, Taken))
                    if not isinstance(answer, Hindered):
                        self.picture.messages = ()
                    self.keys.news_first = self.keys.news_first or kept_words(answer)
                    stays = isinstance(answer, _STAYS) and not step.check.powered
                    return answer
        except EOFError:
            return Stop()
        finally:
            if not stays:
                self._stop_watching()
            self.desk.keys_stop = step.check.powered

    def _remaining(self, step: Step) -> str:
        if step.check.subject == "meter":
            return f"of the meter itself {step.place} of {step.total}"
        left = self.pace.left((step.check, *step.left))
        return f"{step.place} of {step.total}" + (f", {left}" if left else "")

    def _watch(self, asking: Asking) -> None:
        wanted = (asking.check.id, asking.meter.name) if asking.meter is not None else None
        if self._live is not None and wanted != self._watched:
            self._stop_watching()
        if asking.meter is not None and self.meters is not None and self._live is None:
            self._live, self._watched = (
                self.meters.watch(asking.check, asking.meter, self.desk.keyboard.wake),
                wanted,
            )

    def _stop_watching(self) -> None:
        live, self._live = self._live, None
        if live is not None:
            live.stop()
            if self._watched is not None and self.meters is not None:
                self.meters.watched(self.bench.meters[self._watched[1]])

    # ---- one turn of the loop

    def _turn(self, asking: Asking) -> Answer | None:
        key = self.desk.key()
        ended = self.power_ended() if asking.check.powered else ""
        if ended:
            return Hindered(f"power was switched off: {ended}")
        answer = self.keys.answer(asking, key) if key.name else self.keys.weighed(asking)
        if answer is not None:
            self.keys.counted.at_s = -math.inf
            return answer
        return self._news(asking)

    def meanwhile(self) -> None:
        """Do what must not wait; what the meter shows while a line is typed is shown, not captured."""
        self.tend()
        if self.picture.entry is None and not self.picture.page:
            return
        for glimpse in self._live.news() if self._live is not None else ():
            if self.desk.asking is not None:
                self.desk.asking.latest, self.desk.asking.trouble = glimpse.reading, glimpse.trouble

    def _news(self, asking: Asking) -> Answer | None:
        asking.silent(self.clock.monotonic_s())
        for glimpse in self._live.news() if self._live is not None else ():
            was_away = bool(asking.trouble)
            seen = asking.take(glimpse)
            if bool(asking.trouble) and not was_away:
                self.sound.cue(Cue.ATTENTION)
            answer = self._seen(asking, seen) if seen is not None else None
            if answer is not None:
                return answer
            beyond = asking.beyond()
            if beyond is not None:
                return Taken((beyond,))
        return None

    def _seen(self, asking: Asking, seen: Seen) -> Answer | None:
        match seen.happening:
            case Happening.SETTLED:
                self.sound.cue(Cue.SETTLED)
            case Happening.MARKED:
                self.picture.messages = ()
                self.sound.cue(Cue.MARKED)
            case Happening.MARK_SPOILT | Happening.MARK_MISSED:
                self.sound.cue(Cue.RESEAT)
                self.picture.messages = ()
                self.picture.say(asking.mark_words(seen))
            case Happening.MOVED_ON:
                self.picture.say("it moved on: hold still")
            case Happening.NOTHING_SEEN:
                self.sound.cue(Cue.RESEAT)
                self.picture.messages = ()
                self.picture.say(OPEN_SEEN)
            case Happening.RESEAT | Happening.NO_CONTACT:
                self.sound.cue(Cue.RESEAT)
                words = "take the tips off and put them on again"
                why = "the contacts do not agree" if seen.happening is Happening.NO_CONTACT else "it jumped"
                self.picture.say(f"{why}: {words}")
            case Happening.KEPT:
                self.keys.counted.at_s = self.clock.monotonic_s()
                return Taken(asking.readings_of(seen))
            case _:
                pass
        return None

    # ---- a person asked

    def ask(self, prompt: str) -> str:
        """Return a line typed on the screen, what stands for Escape where it was given up; EOFError at its end.

        Under power a key that begins no answer switches off, as anywhere else.
        """
        prompt = prompt.rstrip(" >")
        live = bool(self.desk.power_line())
        yes_or_no = prompt.endswith(_YES_OR_NO)
        fits = (_is_answer if yes_or_no else is_reading) if live else None
        self.picture.asks_number = live and not yes_or_no
        text = self.desk.line(prompt, fits=fits)
        if text is not None:
            return text
        if live:
            self.keys.switch_off()
        return "no" if live else GIVEN_UP

    def tell(self, line: str) -> None:
        """Show a line among the messages, at once: what comes next may take a while."""
        self.picture.say(line.strip())
        if self.desk.is_open:
            self.desk.paint()

    def last_word(self) -> bool:
        """Return whether the last answer is to be taken back, power being off; a visit that passed ends by itself."""
        if not self.desk.is_open or self.keys.scored is None:
            return False
        self.desk.asking, self.desk.keys_stop = None, False
        self.rest()
        passed = self.keys.scored[1].verdict in PASSED
        self.picture.asking_no_more(_ENDS_ITSELF_S if passed else None)
        ends_s = self.clock.monotonic_s() + (_ENDS_ITSELF_S if passed else math.inf)
        try:
            while self.clock.monotonic_s() < ends_s:
                key = self.desk.key()
                if key.came:
                    continue  # text that was pasted decides nothing
                if key.text.casefold() == "u":
                    return True
                if key.name in ("enter", "end") or key.text.casefold() in ("q", "a", " "):
                    return False
        except EOFError:
            pass
        return False

    # ---- an observer

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Show and sound what a check came to."""
        self.keys.scored = (check, score)
        self.picture.scored(score)
        self.sound.scored(score)

    def undone(self, check: Check | None) -> None:
        """Say what was taken back."""
        self.picture.last = None
        self.picture.say(f"taken back: {check.id}" if check else "nothing was answered yet that could be taken back")
