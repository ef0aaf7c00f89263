"""What the keys of a check do at the guided screen: accept, type, exchange, repeat, skip, note, photo, why, undo.

A key that answers returns the answer; one that stays at the check returns nothing, and the screen shows what it did.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.kinds.check import Check
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.model import Score
from benchcheck.session.answers import Answer, Exchange, Later, Prefer, Remark, Skip, Stop, Taken, Undo
from benchcheck.spec.board import Board
from benchcheck.terminal.actions import Action, acts_alone, asks_for_words, begins_word, pressed, serves, takes_text
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.counted import ALREADY_COUNTED, LastCounted
from benchcheck.terminal.desk import LONGEST_ENTRY, Desk
from benchcheck.terminal.keyboard import Key
from benchcheck.terminal.photo import photo_at
from benchcheck.terminal.prompt import ACTIONS, PromptSource
from benchcheck.terminal.telling import Weighing
from benchcheck.terminal.whys import why_lines

__all__ = ["CheckKeys", "is_reading"]

_BEGINS_READING = re.compile(r"[0-9+\-.,]")


def is_reading(typed: str) -> bool:
    """Return whether a line begins as what a display shows does: a figure, a sign, OL."""
    return typed[:1] in "0123456789+-.,oO"


_AT_ONCE: dict[Action, Answer] = {Action.UNDO: Undo(), Action.LATER: Later(), Action.STOP: Stop()}


def _nothing() -> None:
    """Nothing must be done."""


@dataclass(slots=True)
class CheckKeys:
    """The keys; `switch_off` switches power off at once, `most_telling` says which check a diagnosis would take next.

    `scored` is the last score, `news_first` what the next check begins
    with.
    """

    desk: Desk
    prompts: PromptSource
    bench: Bench
    clock: Clock
    board: Board | None = None
    switch_off: Callable[[], None] = _nothing
    most_telling: Callable[[Sequence[Reading], Session], str] | None = None
    scored: tuple[Check, Score] | None = None
    news_first: str = ""
    counted: LastCounted = field(default_factory=LastCounted)
    _weighing: Weighing | None = None

    def answer(self, asking: Asking, key: Key) -> Answer | None:
        """Return what a key at a check answers, None where the check is still asked for."""
        if self.desk.power_line():
            return self._under_power(asking, key)
        if key.name == "end":
            return Stop()
        if key.name == "paste":
            text = self.desk.pasted(key)
            return self._typed(asking, text) if text else None
        if key.name == "sign" and _BEGINS_READING.match(key.text):
            return self._typed(asking, key.text)
        if key.name == "enter" or (key.text == " " and not key.came):
            return self._accept(asking)
        return self._letter(asking, key)

    def _letter(self, asking: Asking, key: Key) -> Answer | None:
        """Do what a letter asks for, at once where no word begins so, or begin a word with it."""
        action = pressed(key.text, asking.check, metered=asking.meter is not None, diagnosis=self.desk.diagnosis)
        if action is None:
            return self._no_action(asking, key)
        if key.came:
            return self._in_one_piece(asking, key, action)
        if acts_alone(key.text, "", asking.check):
            return self._act(asking, action)
        return self._perhaps_a_word(asking, key, action)

    def _under_power(self, asking: Asking, key: Key) -> Answer | None:
        """Switch off: any key does while power is on, but for those that type what no link reads."""
        if asking.meter is None and key.name == "sign" and is_reading(key.text):
            self.desk.picture.asks_number = True
            text = self.desk.line(self._wanted(asking.check), key.text, fits=is_reading)
            if text is not None:
                return self._read(asking, text.strip()) if text.strip() else None
        self.switch_off()
        return None

    def _no_action(self, asking: Asking, key: Key) -> Answer | None:
        """Let a letter begin a word; what means nothing says so."""
        if key.text.isalpha() or (key.name == "sign" and (key.came or takes_text(asking.check))):
            return self._typed(asking, key.text)
        if key.text == "?":
            return self._help()
        if key.name == "sign":
            self.desk.picture.say(f'"{key.text}" does nothing here')
        return None

    def _perhaps_a_word(self, asking: Asking, key: Key, action: Action) -> Answer | None:
        """Do what a letter asks for unless a word goes on with it; Enter does it at once, Escape not at all."""
        following = self.desk.followed(key.text, str(action))
        if following is None:
            return self._act(asking, action)
        if following.name == "enter":
            return self._understood(asking, key.text) if takes_text(asking.check) else self._act(asking, action)
        if following.name in ("escape", "back", "clear"):
            return None
        self.desk.put_back(following)
        if following.name not in ("sign", "paste"):
            return None
        if following.name == "paste" and asks_for_words(action) and not takes_text(asking.check):
            return self._act(asking, action)
        if following.name == "sign" and acts_alone(key.text, following.text, asking.check):
            return self._act(asking, action)
        if asks_for_words(action) and not takes_text(asking.check):
            return self._word_or_words(asking, key, action)
        return self._typed(asking, key.text)

    def _in_one_piece(self, asking: Asking, key: Key, action: Action) -> Answer | None:
        """Take a sign that came in one piece with others for the beginning of what they say, never for its key."""
        if not asks_for_words(action) or takes_text(asking.check):
            return self._typed(asking, key.text)
        self.desk.holds_enter = key.came == "line"  # a line that is no word known is looked at first
        try:
            return self._word_or_words(asking, key, action)
        finally:
            self.desk.holds_enter = False

    def _word_or_words(self, asking: Asking, key: Key, action: Action) -> Answer | None:
        """Take what goes on as a word for as long as it is one known; then it is what the key asks to be typed."""
        typed = key.text

        def fits(text: str) -> bool:
            nonlocal typed
            typed = text
            return begins_word(text)

        text = self.desk.line(self._wanted(asking.check), key.text, fits=fits)
        if text is not None:
            return self._understood(asking, text) if text.strip() else None
        return None if begins_word(typed) else self._act(asking, action, typed[len(key.text) :])

    def _help(self) -> Answer | None:
        """Show what may be typed and pressed."""
        return Stop() if self.desk.turn_page(ACTIONS) else None

    def _act(self, asking: Asking, action: Action, start: str = "") -> Answer | None:
        match action:
            case Action.ACCEPT:
                return self._accept(asking)
            case Action.TYPE:
                return self._typed(asking, start)
            case Action.OVERLOAD:
                return self._read(asking, str(action))
            case Action.YES | Action.NO:
                return self._read(asking, str(action))
            case Action.MOST_TELLING:
                return self._prefer(asking)
            case Action.UNDO | Action.LATER | Action.STOP:
                return _AT_ONCE[action]
            case _:
                return self._aside(asking, action, start)

    def _aside(self, asking: Asking, action: Action, start: str) -> Answer | None:
        """Do what stays at the check, or needs words first."""
        match action:
            case Action.SKIP:
                reason = self.desk.line("why is it left out?", start)
                return Skip(reason.strip()) if reason and reason.strip() else None
            case Action.NOTE:
                text = self.desk.line("note", start)
                return Remark(text.strip()) if text and text.strip() else None
            case Action.PHOTO:
                return self._photo(start)
            case Action.WHY:
                lines = why_lines(asking.check, self.bench, asking.step.session, self.board, self.scored)
                return Stop() if self.desk.turn_page(lines) else None
            case Action.REPEAT:
                if asking.latest is not None:
                    asking.refuse(asking.latest.display.text)
                asking.begin_anew()
                self.desk.picture.messages = ()
                self.desk.picture.say("once more: lift the tips, then put them on")
            case Action.EXCHANGE:
                self.desk.picture.say("the other way round")  # seen at once, while the meter is let go
                self.desk.paint()
                return Exchange()
            case _:
                pass
        return None

    def _photo(self, path: str) -> Answer | None:
        """Return the photo of a path that is typed, to be mended where there is none."""
        while (typed := self.desk.line("path of the photo", path)) and typed.strip():
            found = photo_at(typed)
            if not isinstance(found, str):
                return found
            self.desk.picture.say(found)
            path = typed
        return None

    def _prefer(self, asking: Asking) -> Answer | None:
        weigh = self.most_telling
        if weigh is None or self._weighing is not None:
            return None
        self.desk.picture.say("weighing what has been read; go on meanwhile")
        readings = [one for taken in asking.step.read.values() for one in taken]
        session = asking.step.session
        self._weighing = Weighing(lambda: weigh(readings, session), self.desk.keyboard.wake)
        return None

    def weighed(self, asking: Asking) -> Answer | None:
        """Bring the check forward that a weighing has named, once it is done."""
        name = self._weighing.name if self._weighing is not None else None
        if name is None or asking.check.powered:
            return None
        self._weighing = None
        if name in {one.id for one in asking.step.left if not one.powered}:
            self.news_first = f"tells most now: {name}"
            return Prefer(name)
        self.desk.picture.say("nothing tells more than this check")
        return None

    def _accept(self, asking: Asking) -> Answer | None:
        """Take what the meter shows; the first press only says that the tips are down."""
        if asking.capture is None:
            return self._typed(asking, "")
        if self.counted.holds_back(asking, self.clock.monotonic_s()):
            self.desk.picture.say(ALREADY_COUNTED)
            return None
        if not asking.tips_down:
            asking.put_down()
            self.desk.picture.say("tips down: reading; once more takes it as it is")
            return None
        reading = asking.by_hand()
        return Taken((reading,)) if reading is not None else None

    # ---- typing

    def _typed(self, asking: Asking, start: str) -> Answer | None:
        text = self.desk.line(self._wanted(asking.check), start[:LONGEST_ENTRY])
        return self._understood(asking, text) if text and text.strip() else None

    def _wanted(self, check: Check) -> str:
        if check.answers:
            return " or ".join(check.answers)
        return "what the display shows" if check.function is not Function.VISUAL else "what is seen"

    def _understood(self, asking: Asking, text: str) -> Answer | None:
        """Return what a typed line answers; a word of action does what its key does."""
        check = asking.check
        if text.strip().casefold() in ("help", "?"):
            return self._help()
        found = self.prompts.meant(check, text)
        if found is None:
            return None
        asked, words = found
        if asked is None:
            return self._read(asking, text.strip())
        if not serves(asked, check, metered=asking.meter is not None, diagnosis=self.desk.diagnosis):
            self.desk.picture.say(f'"{asked}" does nothing here')
            return None
        return self.prompts.with_words(asked, words) if words else self._act(asking, asked)

    def _read(self, asking: Asking, text: str) -> Answer | None:
        answer = self.prompts.reading(asking.check, text)
        if isinstance(answer, Taken):
            return Taken(tuple(asking.finished(one) for one in answer.readings))
        return answer
