"""The source that reads instruments: a hand places the probes, linked meters read, a supply gives power.

What no link can answer goes to whoever is there: looked at by the hand, or asked for at the terminal. Trouble with
an instrument is an error of that check and never a fail.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.checklist.order import Checklist
from benchcheck.errors import InstrumentError, OutputStateUnknown
from benchcheck.kinds.check import Check
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.reading import Reading
from benchcheck.readings.typed import read_typed
from benchcheck.session.answers import Answer, Note, Source, Step, Taken, Trouble
from benchcheck.session.hand import Hand
from benchcheck.session.meters import Meters

__all__ = ["InstrumentedSource"]


def _nothing(step: Step) -> Answer | None:
    return None


@dataclass(slots=True)
class InstrumentedSource:
    """Answers each check from instruments.

    `typed` is asked where no linked meter serves; without it the hand reads the display. `announce` shows a check
    before the probes are placed and may return another answer instead (skip, later, undo, stop).
    """

    meters: Meters
    hand: Hand
    typed: Source | None = None
    announce: Callable[[Step], Answer | None] = _nothing
    _note: Note = field(default=lambda check, text: None)

    def prepare(self, checklist: Checklist) -> None:
        """Open the linked meters; BenchError or InstrumentError when one cannot be had."""
        self.meters.open(self.tend)

    def identities(self) -> Mapping[str, str]:
        """Return what each linked instrument says it is."""
        return self.meters.identities()

    def own_checks(self) -> tuple[Check, ...]:
        """Return the meter's own checks that a linked meter can take."""
        return tuple(check for check in session_checks() if check.subject == "meter" and self._linked(check))

    def _linked(self, check: Check) -> bool:
        return self.meters.serving(check.function) is not None

    def begin(self, note: Note) -> None:
        """Take what keeps events."""
        self._note = note

    def tend(self) -> None:
        """Do what must not wait."""

    def end(self) -> str:
        """Let the meters go."""
        self.meters.close()
        return ""

    def answer(self, step: Step) -> Answer:
        """Return the readings of a check, or why there are none."""
        try:
            if step.again:
                self.hand.discharge(step.check)
            return self._answered(step)
        except OutputStateUnknown:
            raise
        except InstrumentError as reason:
            return Trouble(str(reason))

    def _answered(self, step: Step) -> Answer:
        check = step.check
        meter = self.meters.serving(check.function)
        if meter is None:
            return self.typed.answer(step) if self.typed is not None else Taken((self._by_eye(check),))
        instead = self.announce(step) or self.hand.place(check)
        if instead is not None:
            return instead
        try:
            return Taken(self.meters.read(check, meter))
        finally:
            self.hand.lift()

    def _by_eye(self, check: Check) -> Reading:
        """Return what the hand sees: a part, or the display of a meter without a link."""
        if check.function is Function.VISUAL:
            return read_typed(check, self.hand.look(check))
        meter = self.meters.bench.meter_for(check.function) if check.function.metered else None
        name = meter.name if meter is not None else ""
        self.hand.place(check)
        try:
            return read_typed(check, self.hand.read(check, name), meter=name)
        finally:
            self.hand.lift()
