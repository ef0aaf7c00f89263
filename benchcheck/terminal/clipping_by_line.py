"""Line by line: tips that no meter sees touch are clipped on with the power off, and looked for once it is on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check
from benchcheck.session.answers import Answer, Step, Stop, Taken
from benchcheck.session.clips import noted
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.terminal.asking import asking_of
from benchcheck.terminal.line_by_line import LineByLine
from benchcheck.terminal.wrapping import wrapped

__all__ = ["ByLine", "Clips"]

_CLIP_ON = (
    "power is off: clip both tips on, so that they stay. Enter says that they are on and brings power up; "
    "what stands still then counts"
)
_NO_READING = "power is off: nothing can be read yet"
_ASKED = "  tips clipped on, or a word; Enter > "


def _unseen(check: Check) -> str:
    return ""


@dataclass(slots=True)
class Clips:
    """The clips of one visit; `seen` says how clips were seen on, with power on, and raises where they were not."""

    lines: LineByLine
    seen: Callable[[Check], str] = _unseen
    on: str = ""  # the check whose tips were said to be clipped on
    how: str = ""  # and how they were seen on their points

    def put_on(self, step: Step, power_off: Callable[[], object]) -> Answer | None:
        """Have tips clipped on with the power off where no meter can see them touch; None once they are on.

        Another answer may be given instead.
        """
        meter = self.lines.meters.serving(step.check.function)
        rule = asking_of(step, meter, self.lines.bench).rule
        if rule is None or not rule.open_is_good:
            return None
        power_off()
        prompts = self.lines.prompts
        prompts.show(step)
        self._say(_CLIP_ON)
        try:
            while typed := prompts.ask(_ASKED).strip():
                answer = prompts.understand(step.check, typed)
                if answer is not None and not isinstance(answer, Taken):
                    return prompts.answered(step.check, answer)
                self._say(_NO_READING if answer is not None else "")
        except EOFError:
            return Stop()
        self.on = step.check.id
        return None

    def look(self, step: Step) -> Answer | None:
        """Have a linked meter read a check, after clips on it were looked for where they were put on for it."""
        clipped, self.on = self.on == step.check.id, ""
        if clipped and self.lines.live():
            self.how = self.seen(step.check)
        return self.lines.placed(step, clipped=clipped)

    def noted(self, answer: Answer) -> Answer:
        """Return the answer with how its clips were seen on, in the note of each reading."""
        how, self.how = self.how, ""
        return noted(answer, how)

    def _say(self, words: str) -> None:
        for line in wrapped(words, "  ", "  ", self.lines.prompts.width()) if words else ():
            self.lines.prompts.tell(line)


@dataclass
class ByLine(InstrumentedSource):
    """The instruments of a visit line by line, with clips put on before power is brought up for what they read."""

    clips: Clips | None = field(default=None, kw_only=True)

    def answer(self, step: Step) -> Answer:
        """Have tips clipped on where they must be, then answer the check."""
        power, clips = self.power, self.clips
        if clips is None or power is None or not step.check.powered:
            return InstrumentedSource.answer(self, step)
        unseen = not power.ended and not power.alarm and step.check.function is not Function.DC_CURRENT
        instead = clips.put_on(step, lambda: self.rest("tips go on with the power off")) if unseen else None
        return instead if instead is not None else clips.noted(InstrumentedSource.answer(self, step))
