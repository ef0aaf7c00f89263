"""A unit's records in order, across benches and wrong clocks: parents first, then by date.

A record names the earlier ones it knew as its parents, so their order holds even where a clock was set back.
Two records with the same parent are a fork, made on two benches or by merging folders; the next record names
both and closes it.
"""

from __future__ import annotations

import heapq
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple, TypeVar

from benchcheck.errors import Fault, RecordError
from benchcheck.record.folders import CONTACTS, SOURCES, unit_path
from benchcheck.record.model import Stage
from benchcheck.record.record import Record, read_record

__all__ = [
    "NO_DATE",
    "Links",
    "Shelf",
    "in_order",
    "latest_open",
    "order_of",
    "parents_for",
    "record_files",
    "records_of",
    "shelf_in",
    "shelf_of",
    "unit_folders",
]

NO_DATE = datetime.min.replace(tzinfo=UTC)

_Item = TypeVar("_Item")


class Links(NamedTuple):
    """What puts a record in its place: date, file name, the seals it is known by, those of its parents."""

    date: datetime
    name: str
    seals: frozenset[str]
    parents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Shelf:
    """A unit's readable records, oldest first, and what was wrong with the files that could not be read."""

    records: tuple[Record, ...]
    faults: tuple[Fault, ...]


def shelf_of(records_dir: Path, unit: str, *, with_budgets: bool = True) -> Shelf:
    """Return the records of a unit; none where it has no folder.

    Raises UsageError for a label that names no folder, RecordError where the folder cannot be read.
    """
    return shelf_in(unit_path(records_dir, unit), with_budgets=with_budgets)


def shelf_in(folder: Path, *, with_budgets: bool = True) -> Shelf:
    """Return the records that stand in one folder; none where there is no such folder.

    Raises RecordError where the folder cannot be read.
    """
    records: list[Record] = []
    faults: list[Fault] = []
    for path in record_files(folder):
        try:
            records.append(read_record(path, with_budgets=with_budgets))
        except RecordError as error:
            faults.extend(error.faults)
    return Shelf(in_order(records), tuple(faults))


def records_of(records_dir: Path, unit: str, *, with_budgets: bool = True) -> tuple[Record, ...]:
    """Return the readable records of a unit, oldest first; `shelf_of` also says what could not be read."""
    return shelf_of(records_dir, unit, with_budgets=with_budgets).records


def latest_open(records_dir: Path, unit: str, spec_digest: str, *, stage: Stage | None = None) -> Record | None:
    """Return the newest record of the unit under this spec that is worth going on with, for `--resume`.

    One that holds anything comes before one that was begun after it and left at once.
    """
    found = None
    for record in reversed(records_of(records_dir, unit)):
        fits = record.head.spec_digest == spec_digest and stage in (None, record.head.stage)
        if fits and record.open and not record.changed:
            if not record.empty:
                return record
            found = found or record
    return found


def parents_for(records_dir: Path, unit: str) -> tuple[str, ...]:
    """Return the seals a new record of the unit names as its parents: those no other record names yet."""
    records = records_of(records_dir, unit, with_budgets=False)
    named = {seal for record in records for seal in record.head.parents or ()}
    return tuple(record.identity for record in records if not _seals(record) & named)


def in_order(records: Iterable[Record]) -> tuple[Record, ...]:
    """Return records oldest first: parents before children, otherwise by date and name."""
    return order_of(
        (Links(record.head.date or NO_DATE, record.path.name, _seals(record), record.head.parents or ()), record)
        for record in records
    )


def order_of(items: Iterable[tuple[Links, _Item]]) -> tuple[_Item, ...]:
    """Return items oldest first by what they say of date and parents; a circle of parents goes by date."""
    by_date = sorted(items, key=lambda item: (item[0].date, item[0].name))
    place = {seal: number for number, (links, _) in enumerate(by_date) for seal in links.seals}
    children: dict[int, list[int]] = {number: [] for number in range(len(by_date))}
    waits_for = dict.fromkeys(children, 0)
    for number, (links, _) in enumerate(by_date):
        for parent in {place[seal] for seal in links.parents if seal in place} - {number}:
            children[parent].append(number)
            waits_for[number] += 1
    ready = [number for number in waits_for if not waits_for[number]]
    order: list[int] = []
    while ready:
        number = heapq.heappop(ready)
        order.append(number)
        for child in children[number]:
            waits_for[child] -= 1
            if not waits_for[child]:
                heapq.heappush(ready, child)
    left = [number for number in waits_for if waits_for[number] > 0]  # a circle: no honest clock made it
    return tuple(by_date[number][1] for number in (*order, *left))


def _seals(record: Record) -> frozenset[str]:
    return frozenset((record.head_seal, record.identity))


def unit_folders(records_dir: Path) -> Iterator[Path]:
    """Yield the folders of units below a records folder, in order of name.

    Raises RecordError where the records folder is not there or cannot be read.
    """
    try:
        names = sorted(entry.name for entry in os.scandir(records_dir) if entry.is_dir())
    except OSError as error:
        raise RecordError(Fault(str(records_dir), "", f"the records cannot be read: {error.strerror}")) from error
    return (records_dir / name for name in names if name not in (SOURCES, CONTACTS) and not name.startswith("."))


def record_files(folder: Path) -> list[Path]:
    """Return the record files of a unit's folder by name; none where there is no such folder."""
    try:
        return [folder / name for name in sorted(os.listdir(folder)) if name.endswith(".toml")]
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        raise RecordError(Fault(folder.name, "", f"the records cannot be read: {error.strerror}")) from error
