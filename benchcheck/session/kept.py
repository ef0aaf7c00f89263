"""What a visit knows already when it begins: what a record holds, or what a file of readings brought.

A visit that goes on from a record stands exactly where it was: the same readings, the same skips with their
reasons, the same checks put off, and the same trail for undo to walk back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from benchcheck.readings.reading import Reading
from benchcheck.record.model import EventKind
from benchcheck.record.record import Record
from benchcheck.record.tries import open_tries
from benchcheck.session.leads import exchanged_in

__all__ = ["Answered", "Kept", "by_check", "kept_in"]


@dataclass(frozen=True, slots=True)
class Answered:
    """One step of the trail: the check, and the seal of its skip, "" where it was read."""

    check: str
    skip_seal: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """`readings` and reasons of `skips` by check id, ids `put_off` oldest first, and the `trail` of answers.

    `exchanged` are ids of checks whose next reading is taken with red and black exchanged, `tries` what was
    refused at a check since it was read last.
    """

    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    skips: Mapping[str, str] = field(default_factory=dict)
    put_off: tuple[str, ...] = ()
    trail: tuple[Answered, ...] = ()
    exchanged: tuple[str, ...] = ()
    tries: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def kept_in(record: Record) -> Kept:
    """Return what of a record still stands: readings and skips that were not taken back, in the order given."""
    readings = [(entry.number, Answered(entry.value.check)) for entry in record.standing]
    events = [entry for entry in record.all_events if entry.seal not in record.undone]
    skips = [entry for entry in events if entry.value.kind is EventKind.SKIP]
    trail = sorted(
        [*readings, *((entry.number, Answered(entry.value.check, entry.seal)) for entry in skips)],
        key=lambda numbered: numbered[0],
    )
    return Kept(
        by_check(record.readings),
        {entry.value.check: entry.value.text for entry in skips},
        tuple(entry.value.check for entry in events if entry.value.kind is EventKind.LATER),
        tuple(answered for _, answered in trail),
        exchanged_in(record),
        open_tries(record),
    )


def by_check(readings: Iterable[Reading]) -> dict[str, tuple[Reading, ...]]:
    """Return readings by the id of their check, each in the order given."""
    collected: dict[str, list[Reading]] = {}
    for reading in readings:
        collected.setdefault(reading.check, []).append(reading)
    return {check: tuple(taken) for check, taken in collected.items()}
