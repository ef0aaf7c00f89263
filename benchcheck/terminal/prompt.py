"""Plain prompts: one check at a time, what to touch, what to set, what to expect; then a line is typed.

Beside a reading a person may type a word of action, or its key: skip and a reason, undo, later, why, note, photo,
exchange, quit (see `actions`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.clock import Clock, SystemClock
from benchcheck.kinds.check import Check, Phase
from benchcheck.readings.reading import Reading, Session
from benchcheck.session.answers import Answer, Exchange, Later, Prefer, Remark, Skip, Step, Stop, Taken, Undo
from benchcheck.terminal.accepting import Accepting
from benchcheck.terminal.actions import Action, meant, takes_text, word_for
from benchcheck.terminal.instructing import instruction_rows, instructions, limits_window, spoken
from benchcheck.terminal.lines import kept_words
from benchcheck.terminal.pace import Pace
from benchcheck.terminal.page import folded_page
from benchcheck.terminal.photo import photo_at
from benchcheck.terminal.telling import weighed_by_line
from benchcheck.terminal.wrapping import WIDTH, wrapped

__all__ = [
    "ACTIONS",
    "PromptSource",
    "asked_for_last_word",
]

ACTIONS = (
    "Type what the meter shows: 4.68k, 0.532, OL. Or a word, or its key alone:",
    "s  skip and why      leave this check out",
    "l  later             ask it after the others; why may follow: later wet",
    "u  undo              take the last answer back; again for the one before",
    "w  why               what this check is for, where its limits come from",
    "n  note and words    keep a note;  at a question for yes or no, n is no",
    "p  photo and a path  keep which photo it was",
    "x  exchange          the next reading is with red and black exchanged",
    "r  repeat            not this reading of a linked meter",
    "a  accept            as a linked meter shows it now",
    "o  OL                what the display shows is overload",
    "m  most              bring the check forward that would tell most now",
    "q  quit              end here; everything is kept, and --resume goes on",
)
#: what is asked where a linked meter reads; Enter alone says that the tips are on.
PLACED = "tips on, hold still; or Enter"
#: and where tips were clipped on with the power off.
CLIPPED = "reading; accept takes it as it is, Enter switches the power off"
_METER_FIRST = "none is brought forward: the meter itself comes first"
_NONE_FORWARD = "none is brought forward here: power is on, or there is no circuit to weigh"
#: what a line is that somebody has given up with Escape.
GIVEN_UP = "\x1b"
_YES, _NO = ("y", "yes"), ("n", "no")
_PATH = "  path of the photo, Enter alone for none > "
_OF_THE_METER = "The meter itself comes first, then the board; later leaves a check of it out."
#: what is said where an action needs words behind it.
_IN_ONE_LINE = {
    Action.SKIP: 'say why in the same line, for example "skip cannot reach the pad"',
    Action.NOTE: 'write it in the same line, for example "note pad lifted"',
    Action.PHOTO: 'write its path in the same line, for example "photo pads.jpg"',
    Action.TYPE: "type what the display shows",
}


def _silent(words: str) -> None:
    """Nobody listens."""


def asked_for_last_word(ask: Callable[[str], str], tell: Callable[[str], None]) -> bool:
    """Return whether somebody takes the last answer back now that nothing is left to ask; Enter ends the visit."""
    tell("")
    tell("Nothing is left to ask. Enter ends the checks; undo takes the last answer back,")
    tell("and again the one before it.")
    try:
        while True:
            said = ask("> ").strip().casefold()
            if said in ("undo", "u"):
                return True
            if said in ("", "quit", "q", "stop"):
                return False
            tell("  Enter alone, or undo")
    except EOFError:
        tell("")
        return False


@dataclass(slots=True)
class PromptSource:
    """Asks a person, line by line.

    `ask` shows a prompt and returns the line typed, raising EOFError at the end of input; `tell` shows words in
    lines that fit, after an indent; `meter_of` names the meter that will be used for a check, `expect` says in
    words what it shows on a good unit. What is told is folded to `width` columns.
    `say` has words said aloud. `driven` says whether supply and load are set from here. `most_telling` weighs which
    check would tell most now, None where nothing can be weighed.
    `explain` says in lines what a check shows here and how the one before was decided. `drained` throws away lines
    that wait to be read and returns whether there were any, `line_if_typed` waits a little for a line. `pace` says
    how long the rest takes, which is told where it is news.
    """

    ask: Callable[[str], str]
    tell: Callable[[str], None]
    meter_of: Callable[[Check], str]
    expect: Callable[[Check, Session], str] = limits_window
    width: Callable[[], int] = lambda: WIDTH
    say: Callable[[str], None] = _silent
    driven: Callable[[], bool] = lambda: False
    most_telling: Callable[[Sequence[Reading], Session], str] | None = None
    explain: Callable[[Check, Session], Sequence[str]] | None = None
    drained: Callable[[], bool] = lambda: False
    line_if_typed: Callable[[float], str | None] = lambda within_s: None
    pace: Pace = field(default_factory=Pace)
    clock: Clock = field(default_factory=SystemClock)
    _time_told: str = ""
    _step: Step | None = None  # the check asked for
    _of_the_meter: bool = False  # said that its own checks come first
    _news: str = ""
    _session: Session = field(default_factory=Session)
    _accepting: Accepting = field(init=False)

    def __post_init__(self) -> None:
        self._accepting = Accepting(self._say, self._yes, self.meter_of, self._rest_dropped)

    def answer(self, step: Step) -> Answer:
        """Show the check and return what was typed for it, asking again until it makes sense."""
        self.show(step)
        try:
            while True:
                answer = self._understand(step.check, self.ask("> ").strip())
                if answer is not None:
                    return self.answered(step.check, answer)
        except EOFError:
            self.tell("")
            return Stop()

    def show(self, step: Step) -> None:
        """Begin a check: show what was kept before it, and what to do; say where the tips go."""
        self.begin(step)
        self.tell("")
        news, self._news = self._news, ""
        self._say(news)
        if step.check.phase is Phase.SESSION and not self._of_the_meter:
            self._of_the_meter = True
            self._say(_OF_THE_METER, "")
            self.tell("")
        expected, driven = self.expect(step.check, step.session), self.driven()
        left = self._news_of_time(step)
        for line in instructions(step, expected, driven=driven, width=self.width(), left=left):
            self.tell(line)
        self.say(spoken(instruction_rows(step, expected, driven=driven)))

    def _news_of_time(self, step: Step) -> str:
        """Return in words how long the rest takes, "" where that was said of the check before as well."""
        left = self.pace.left((step.check, *step.left)) if step.check.phase is not Phase.SESSION else ""
        news, self._time_told = left if left != self._time_told else "", left
        return news

    def placed(self, step: Step) -> Answer | None:
        """Show the check and wait until the tips are on and the meter may read; None then.

        A word of action, or a reading typed all the same, comes back as the answer instead.
        """
        self.show(step)
        try:
            while True:
                typed = self.ask("  tips on, hold still, Enter > ").strip()
                answer = self._understand(step.check, typed) if typed else None
                if answer is not None:
                    return self.answered(step.check, answer)
                if not typed:
                    return None
        except EOFError:
            self.tell("")
            return Stop()

    def confirmed(self, question: str) -> bool:
        """Return whether a person says yes to a question, asked again whole until it is answered; the end is no."""
        try:
            return self._yes(question)
        except EOFError:
            return False

    def answered(self, check: Check, answer: Answer) -> Answer:
        """Take in what was answered: the readings of this visit, and what is said before the next check."""
        self.pace.answered(check, self.clock.monotonic_s(), read=isinstance(answer, Taken))
        self._news = kept_words(answer)
        return answer

    def begin(self, step: Step) -> None:
        """Begin a check, with what was tried at it before."""
        self._step, self._session = step, step.session
        self._accepting.begin(step)

    def tries(self) -> list[str]:
        """Return, and let go of, the tries that are remembered of the check begun."""
        return self._accepting.tries()

    def understand(self, check: Check, typed: str) -> Answer | None:
        """Return what a typed line answers: a reading, or a word of action; None where it has to be typed again."""
        return self._understand(check, typed)

    def _understand(self, check: Check, typed: str) -> Answer | None:
        if typed.casefold() in ("", "help", "?"):
            self.help()
            return None
        found = self.meant(check, typed)
        if found is None:
            return None
        asked, words = found
        if asked is None:
            return self.reading(check, typed)
        return self.with_words(asked, words) if words else self._without_words(check, asked)

    def help(self) -> None:
        """Say what may be typed."""
        for line in ACTIONS:
            for part in folded_page(f"  {line}", self.width()):
                self.tell(part)

    def meant(self, check: Check, typed: str) -> tuple[Action | None, str] | None:
        """Return the action a typed line asks for and the words behind it, no action where it answers the check.

        Where a check takes free words nobody can tell a lot "L" from the key for later: then it is asked, and None
        where that is answered with neither: nothing is taken then.
        """
        found = meant(typed, check)
        if found is None:
            return None, ""
        if not takes_text(check) or self._clear(found, check, typed):
            return found
        question = f'"{typed}" is also what asks for {found[0]}. Is it the answer to the check? Enter alone: neither.'
        said = self._said(question, neither=True)
        if said in _YES:
            self._accepting.sure = typed
            return None, ""
        return found if said in _NO else None

    def _clear(self, found: tuple[Action, str], check: Check, typed: str) -> bool:
        """Whether no name reads so: yes or no, or a whole word of action with words behind it."""
        action, words = found
        whole = bool(words) and typed.strip().casefold().startswith(f"{word_for(action)} ")
        return (whole or action in (Action.YES, Action.NO)) and typed.casefold() != check.name_asked.casefold()

    def with_words(self, action: Action, words: str) -> Answer | None:
        """Return what an action with words behind it answers: a reason, a note, a path."""
        match action:
            case Action.SKIP:
                return Skip(words)
            case Action.NOTE:
                return Remark(words)
            case Action.PHOTO:
                return self._photo(words)
            case _:
                return Later(words)

    def _without_words(self, check: Check, action: Action) -> Answer | None:
        match action:
            case Action.UNDO:
                return Undo()
            case Action.LATER:
                return Later()
            case Action.STOP:
                return Stop()
            case Action.OVERLOAD | Action.YES | Action.NO:
                return self.reading(check, str(action))
            case Action.MOST_TELLING:
                return self._prefer(check)
            case Action.WHY:
                self._explain(check)
            case Action.EXCHANGE if check.function is not Function.VISUAL:
                return Exchange()
            case _:
                self._say(_IN_ONE_LINE.get(action, f'"{action}" does nothing here; type what is seen or shown'))
        return None

    def _prefer(self, check: Check) -> Answer | None:
        """Bring the check forward that would tell most, where there is a circuit to weigh and no power on."""
        weigh, session = self.most_telling, self._session
        read = dict(self._step.read) if self._step is not None else {}
        if weigh is None or check.powered or check.phase is Phase.SESSION:
            self._say(_METER_FIRST if check.phase is Phase.SESSION else _NONE_FORWARD)
            return None
        self._say("weighing what has been read: this takes some seconds, and Enter stops it")
        name, typed = weighed_by_line(
            lambda: weigh([one for taken in read.values() for one in taken], session), self.line_if_typed, self._say
        )
        if typed is not None:
            self._say("stopped: the order stays as it is")
            return self._understand(check, typed.strip()) if typed.strip() else None
        if name and name != check.id and name not in read:
            self._say(f"tells most now: {name}")
            return Prefer(name)
        self._say("nothing tells more than this check")
        return None

    def _explain(self, check: Check) -> None:
        """Say what a check shows here, the circuit around it, and how the one before was decided."""
        if self.explain is None:
            self._say(f"{check.why} Limits: {check.limits.origin}.".strip())
            return
        for line in self.explain(check, self._session):
            for part in folded_page(line, self.width()):
                self.tell(part)

    def _say(self, words: str, indent: str = "  ") -> None:
        for line in wrapped(words, indent, indent, self.width()):
            self.tell(line)

    def _photo(self, path: str) -> Answer | None:
        """Return the photo of a path, which is asked for again where there is none."""
        while path:
            found = photo_at(path)
            if not isinstance(found, str):
                return found
            self._say(found)
            path = self.ask(_PATH).strip().removeprefix(GIVEN_UP)
        return None

    def reading(self, check: Check, typed: str) -> Answer | None:
        """Return the reading that a typed line is, asked about where it is doubtful; None where it is none."""
        return self._accepting.reading(check, typed)

    def _rest_dropped(self) -> bool:
        return self.drained()  # looked up each time: the screen gives it after the prompts are made

    def _yes(self, question: str) -> bool:
        """Return whether a question is answered with yes, asked again whole until it is answered."""
        return self._said(question) in _YES

    def _said(self, question: str, *, neither: bool = False) -> str:
        """Return what a question is answered with, yes or no; "" where it may be neither, or was given up."""
        while True:
            self._say(question)
            said = self.ask("  yes or no > ").strip().casefold()
            if said in (*_YES, *_NO):
                return said
            if said == GIVEN_UP or (neither and not said):
                return ""
