"""What a source of readings may answer when it is asked for one, and how it is asked.

A source is a person at a prompt, a file, or a scripted hand in a test; the visit treats them alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from benchcheck.kinds.check import Check
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.model import Score

__all__ = ["Answer", "Later", "Observer", "Skip", "Source", "Step", "Stop", "Taken", "Undo"]


@dataclass(frozen=True, slots=True)
class Step:
    """One request: the check, its place among those asked (from 1), how many there are, and the session so far.

    `again` says why a check that was read already is asked again, "" where it was not.
    """

    check: Check
    place: int
    total: int
    session: Session
    again: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """The readings accepted for the check, oldest first; at least one."""

    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Skip:
    """The check is left out, for a reason in words."""

    reason: str


@dataclass(frozen=True, slots=True)
class Undo:
    """Take back the last answer, reading or skip, and ask its check again."""


@dataclass(frozen=True, slots=True)
class Later:
    """Come back to this check after the others."""


@dataclass(frozen=True, slots=True)
class Stop:
    """End the visit here; everything accepted is kept."""


Answer = Taken | Skip | Undo | Later | Stop


class Source(Protocol):
    """Where readings come from."""

    def answer(self, step: Step) -> Answer:
        """Return what came of asking for the check."""
        ...


class Observer(Protocol):
    """Who watches a visit: a screen, a log, a test."""

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Tell that a check was scored."""
        ...

    def undone(self, check: Check | None) -> None:
        """Tell that a check was taken back; None where there was nothing to take back."""
        ...
