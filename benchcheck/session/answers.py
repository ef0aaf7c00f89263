"""What a source of readings may answer when it is asked for one, and how it is asked.

A source is a person at a prompt, a file, instruments with a hand at the probes, or a script in a test; the visit
treats them alike. One that holds instruments is also told when a visit begins, goes on and ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

from benchcheck.checklist.order import Checklist
from benchcheck.kinds.check import Check
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.model import Score

__all__ = [
    "Again",
    "Answer",
    "Attended",
    "Exchange",
    "Hindered",
    "Later",
    "LeavePower",
    "Note",
    "Observer",
    "Photo",
    "Prefer",
    "Remark",
    "Skip",
    "Source",
    "Step",
    "Stop",
    "Taken",
    "Trouble",
    "Undo",
]

#: keeps an event of the visit: the check it is about ("" for none), and what happened in words.
Note = Callable[[str, str], object]


def _unkept(shown: str) -> None:
    """Nobody keeps tries."""


@dataclass(frozen=True, slots=True)
class Step:
    """One request: the check, its place among those asked (from 1), how many there are, and the session so far.

    `again` says why a check that was read already is asked again, "" where it was not. `after` is the check that
    is likely to be asked next, None at the end; `left` are all that will be asked after this one, as far as is known.
    With `exchanged` somebody has said that red and black are exchanged for this reading. `tries` are the displays
    that were refused at this check before, which its reading carries; `refuse` keeps one more at once. `read` is all
    that stands of this visit, by check, whoever began it.
    """

    check: Check
    place: int
    total: int
    session: Session
    again: str = ""
    after: Check | None = None
    left: tuple[Check, ...] = ()
    exchanged: bool = False
    tries: tuple[str, ...] = ()
    refuse: Callable[[str], None] = field(default=_unkept, compare=False)
    read: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict, compare=False)


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
    """Come back to this check after the others; the reason may be empty (wet, hot, out of reach)."""

    reason: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Keep a note about the check; it is asked again."""

    text: str


@dataclass(frozen=True, slots=True)
class Photo:
    """Keep the name and SHA-256 of a photo of the check; it is asked again."""

    name: str
    digest: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """Red and black are exchanged for the next reading of this check, or as told again; it is asked again."""


@dataclass(frozen=True, slots=True)
class Prefer:
    """Ask another check of the list first, by its id; this one comes after it."""

    check: str


@dataclass(frozen=True, slots=True)
class Again:
    """Ask the check again from the beginning, with what must be in order before it looked at again.

    `found` says in words what was found and done where a stop rule had ended power; `afresh` are the checks, by id,
    that are then read again first.
    """

    found: str = ""
    afresh: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LeavePower:
    """Come back to this and every other powered check after all the rest; with nothing else left, stop here."""

    reason: str = ""


@dataclass(frozen=True, slots=True)
class Stop:
    """End the visit here; everything accepted is kept."""


@dataclass(frozen=True, slots=True)
class Hindered:
    """The check cannot be taken now, for a reason that lies with the unit or its power: it is blocked."""

    reason: str


@dataclass(frozen=True, slots=True)
class Trouble:
    """An instrument did not do as asked, so nothing is known of the check: an error, never a fail."""

    reason: str


Answer = (
    Taken | Skip | Undo | Later | Stop | Hindered | Trouble | Remark | Photo | Exchange | Prefer | Again | LeavePower
)


class Source(Protocol):
    """Where readings come from."""

    def answer(self, step: Step) -> Answer:
        """Return what came of asking for the check."""
        ...


@runtime_checkable
class Attended(Source, Protocol):
    """A source that holds instruments, and perhaps power."""

    def prepare(self, checklist: Checklist) -> None:
        """Look at everything a visit needs before anything is recorded; BenchcheckError when it cannot begin."""
        ...

    def identities(self) -> Mapping[str, str]:
        """Return what each instrument says it is, by its name on the bench, once prepared."""
        ...

    def own_checks(self) -> tuple[Check, ...]:
        """Return the checks of the meters themselves that are worth asking for before the unit's."""
        ...

    def begin(self, note: Note) -> None:
        """Take what keeps events: the record is open."""
        ...

    def tend(self) -> None:
        """Do what must not wait (renew the lease of power); called between steps, raises nothing."""
        ...

    def soak(self, minutes: float) -> str:
        """Run the unit for some minutes, attended and watched; return in one line how that went."""
        ...

    def end(self) -> str:
        """Switch off, let all instruments go; return why the output state is unknown, "" when it is not."""
        ...


class Observer(Protocol):
    """Who watches a visit: a screen, a log, a test."""

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Tell that a check was scored."""
        ...

    def undone(self, check: Check | None) -> None:
        """Tell that a check was taken back; None where there was nothing to take back."""
        ...
