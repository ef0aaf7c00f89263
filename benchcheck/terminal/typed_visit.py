"""A visit at a terminal without linked instruments: it begins like any other with the meter's own checks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchcheck.bench.model import Bench
from benchcheck.checklist.order import Checklist
from benchcheck.kinds.check import Check
from benchcheck.kinds.session_checks import session_checks
from benchcheck.session.answers import Answer, Attended, Note, Source, Step
from benchcheck.session.power_by_hand import PowerByHand

__all__ = ["TypedVisit"]


@dataclass(slots=True)
class TypedVisit(Attended):
    """Has everything answered by a person, at the screen or line by line; `confirm` asks for a yes."""

    source: Source
    bench: Bench
    confirm: Callable[[str], bool]
    _by_hand: PowerByHand = field(init=False)

    def __post_init__(self) -> None:
        """Nothing was confirmed yet."""
        self._by_hand = PowerByHand(self.confirm)

    def prepare(self, checklist: Checklist) -> None:
        """Nothing has to be looked at."""

    def identities(self) -> Mapping[str, str]:
        """Nothing answers."""
        return {}

    def own_checks(self) -> tuple[Check, ...]:
        """Return the checks of the meters themselves that this bench can take."""
        meters = (check for check in session_checks() if check.subject == "meter")
        return tuple(check for check in meters if self.bench.meter_for(check.function) is not None)

    def begin(self, note: Note) -> None:
        """Take what keeps what was confirmed."""
        self._by_hand.note = note

    def tend(self) -> None:
        """Nothing must be done meanwhile."""

    def soak(self, minutes: float) -> str:
        """Run nothing: no supply is linked."""
        return "no soak: no supply is linked"

    def end(self) -> str:
        """Nothing was switched on."""
        return ""

    def answer(self, step: Step) -> Answer:
        """Ask the person."""
        return self._by_hand.refused(step) or self.source.answer(step)
