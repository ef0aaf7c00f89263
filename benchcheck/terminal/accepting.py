"""From a typed line to the reading it is: what is doubtful about it is asked before it is taken.

A size that is unlikely, words that are another name than the one asked for, lines that came as a paste: what is not
kept is remembered as a try, with the check and with the reading that comes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from benchcheck.errors import ReadingsError
from benchcheck.kinds.check import Check
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading
from benchcheck.readings.typed import magnitude_question, read_typed
from benchcheck.session.answers import Step, Taken
from benchcheck.terminal.actions import takes_text

__all__ = ["Accepting"]


@dataclass(slots=True)
class Accepting:
    """Takes typed lines as readings of the check begun.

    `say` shows words, `yes` asks a question until it is answered, `meter_of` names the meter used for a check,
    `drained` throws away lines that wait and returns whether there were any. `sure` are free words of which somebody
    has said that they are the answer.
    """

    say: Callable[[str], None]
    yes: Callable[[str], bool]
    meter_of: Callable[[Check], str]
    drained: Callable[[], bool]
    sure: str = ""
    _step: Step | None = None  # the check asked for
    _retries: list[str] = field(default_factory=list)

    def begin(self, step: Step) -> None:
        """Begin a check, with what was tried at it before."""
        self._step, self._retries, self.sure = step, list(step.tries), ""

    def tries(self) -> list[str]:
        """Return, and let go of, the tries that are remembered of the check begun."""
        found, self._retries = self._retries, []
        return found

    def reading(self, check: Check, typed: str) -> Taken | None:
        """Return the reading that a typed line is, asked about where its size is unlikely; None where it is none."""
        try:
            reading = read_typed(check, typed, meter=self.meter_of(check))
        except ReadingsError as error:
            self.say(error.faults[0].message)
            return None
        if self._part_of_a_paste(check, reading) or self._another_name(check, reading, typed):
            return None
        question = magnitude_question(check, reading)
        if question is None:
            return self._taken(reading)
        if self.yes(question.keep):
            self.say(f"kept: {question.shown}")
            return self._taken(replace(reading, note="unlikely size, confirmed when asked"))
        self._refuse(reading.display.text)
        self.say(f"not kept; {question.otherwise}")
        return None

    def _refuse(self, shown: str) -> None:
        """Keep what was tried and not accepted: with the check, and with the reading that comes."""
        if self._step is not None:
            self._step.refuse(shown)
        self._retries.append(shown)

    def _part_of_a_paste(self, check: Check, reading: Reading) -> bool:
        """Whether free words came with more lines behind them, as pasted text does; nothing of it counts then."""
        free = reading.display.state is DisplayState.TEXT and reading.display.text != check.name_asked
        if not (takes_text(check) and free and self.drained()):
            return False
        self.say(
            f'"{reading.display.text[:40]}" came with more lines behind it, as pasted text does: all of it is '
            "left out; type the answer, one line of at most 200 signs"
        )
        return True

    def _another_name(self, check: Check, reading: Reading, typed: str) -> bool:
        """Whether words are another name than the one asked for and, when asked, not what is printed there.

        They fail the check; words of another sort, such as a reason typed behind the key alone, must not.
        """
        shown = reading.display
        asked = " ".join(check.name_asked.casefold().split())
        other = shown.state is DisplayState.TEXT and " ".join(shown.text.casefold().split()) != asked
        if not (asked and takes_text(check) and other) or typed == self.sure:
            return False
        question = f'"{shown.text}" is not "{check.name_asked}", so the check fails. Is that what is printed there?'
        if self.yes(question):
            return False
        self.say('not kept; type what is printed there, or "skip" and why it cannot be read')
        return True

    def _taken(self, reading: Reading) -> Taken:
        polarity = "swapped" if self._step is not None and self._step.exchanged else ""
        return Taken((replace(reading, retries=tuple(self._retries), polarity=polarity),))
