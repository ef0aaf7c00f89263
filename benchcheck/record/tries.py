"""Tries at a check that were refused: in the record at once, then with the reading that came."""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.record.model import EventKind
from benchcheck.record.record import Record

__all__ = ["open_tries"]


def open_tries(record: Record) -> Mapping[str, tuple[str, ...]]:
    """Return by check what was tried and refused since its last reading, oldest first: no reading carries these."""
    read = {entry.value.check: entry.number for entry in record.all_readings}
    found: dict[str, tuple[str, ...]] = {}
    for entry in record.all_events:
        event = entry.value
        if event.kind is EventKind.TRY and entry.number > read.get(event.check, 0):
            found[event.check] = (*found.get(event.check, ()), event.text)
    return found
