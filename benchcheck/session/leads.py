"""Which checks are to be read with red and black exchanged: said before the reading, kept until it is there.

It is kept as an event of the record, so that a note, or a visit that is killed and gone on with, forgets nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from benchcheck.readings.reading import Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Event, EventKind
from benchcheck.record.record import Record

__all__ = ["AS_TOLD", "EXCHANGED", "Leads", "exchanged_in"]

EXCHANGED = "red and black are exchanged for the next reading"
AS_TOLD = "red and black are as told again for the next reading"
_PUT_BY = (EventKind.SKIP, EventKind.LATER)


@dataclass(slots=True)
class Leads:
    """The checks, by id, whose next reading is taken with the leads exchanged."""

    journal: Journal
    exchanged: set[str] = field(default_factory=set)

    def turn(self, check: str) -> None:
        """Have the leads of a check exchanged, or as told again, and keep that."""
        self.exchanged ^= {check}
        text = EXCHANGED if check in self.exchanged else AS_TOLD
        self.journal.append_event(EventKind.INSTRUMENT, check, text)

    def answered(self, check: str) -> None:
        """Forget about a check that was answered or put off: its next reading is asked for as told."""
        self.exchanged.discard(check)


def exchanged_in(record: Record) -> tuple[str, ...]:
    """Return the checks of a record whose next reading was to be taken with the leads exchanged."""
    happened: list[tuple[int, Reading | Event]] = [(one.number, one.value) for one in record.all_readings]
    happened += [(one.number, one.value) for one in record.all_events]
    found: dict[str, bool] = {}
    for _, one in sorted(happened, key=lambda numbered: numbered[0]):
        if isinstance(one, Event) and one.kind is EventKind.INSTRUMENT and one.text in (EXCHANGED, AS_TOLD):
            found[one.check] = one.text == EXCHANGED
        elif not isinstance(one, Event) or one.kind in _PUT_BY:
            found.pop(one.check, None)
    return tuple(check for check, turned in found.items() if turned)
