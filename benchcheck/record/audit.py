"""Whether records are whole: every seal, every parent, every source, and in words what no seal can show.

Serious findings mean that something was changed or is missing. Unread is what is sealed and yet says nothing here,
as records of a newer format do. Remarks are what a shop lives with: a write that was cut short, a fork made on two
benches, a visit never finished.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from benchcheck.errors import Fault, RecordError
from benchcheck.record.folders import unit_folder
from benchcheck.record.head import FORMAT_VERSION
from benchcheck.record.record import NEWER_FORMAT, Record, read_record
from benchcheck.record.shelf import record_files, unit_folders
from benchcheck.record.sources import read_source

__all__ = ["NOT_SHOWN", "Audit", "Finding", "check_records"]

NOT_SHOWN = (
    "that a newest record, or the end of one, was taken away: compare the last seal printed on the sheet",
    "that somebody who can compute SHA-256 made records anew: the seals find accidents and careless edits",
    "that what was typed is what the meter showed",
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: where, in words what, whether something was changed or is missing, or only not read here."""

    where: str
    message: str
    serious: bool
    unread: bool = False

    def __str__(self) -> str:
        """Return the finding as one line."""
        return f"{self.where}: {self.message}"


@dataclass(frozen=True, slots=True)
class Audit:
    """What a check of records found; `not_shown` says what no seal can show."""

    units: int
    records: int
    blocks: int
    findings: tuple[Finding, ...]
    not_shown: tuple[str, ...] = NOT_SHOWN

    @property
    def sound(self) -> bool:
        """Whether nothing was changed and nothing is missing, as far as seals can show."""
        return not any(finding.serious for finding in self.findings)


def check_records(
    records_dir: Path, unit: str | None = None, *, progress: Callable[[int, int], None] = lambda done, total: None
) -> Audit:
    """Return what is wrong with all records of a folder, or with those of one unit.

    `progress` hears how many unit folders are done, of how many. Memory holds one unit's records at a time.
    Raises RecordError where the folder cannot be read, UsageError for a label that names no folder.
    """
    folders = [records_dir / unit_folder(unit)] if unit is not None else list(unit_folders(records_dir))
    auditor = _Auditor(records_dir)
    for number, folder in enumerate(folders, start=1):
        auditor.take(folder)
        progress(number, len(folders))
    return Audit(len(folders), auditor.records, auditor.blocks, tuple(auditor.findings))


@dataclass(slots=True)
class _Auditor:
    """What has been found so far; sources are read once however many records name them."""

    records_dir: Path
    records: int = 0
    blocks: int = 0
    findings: list[Finding] = field(default_factory=list)
    _sources: dict[str, str] = field(default_factory=dict)

    def take(self, folder: Path) -> None:
        records: list[Record] = []
        before = len(self.findings)
        for path in record_files(folder):
            try:
                records.append(read_record(path, with_budgets=False))
            except RecordError as error:
                newer = any(fault.key == NEWER_FORMAT for fault in error.faults)
                self._faults(error.faults, serious=not newer, unread=newer)
        for record in records:
            self.records += 1
            self.blocks += record.blocks
            self._seals(record)
            self._place(record)
            self._named_sources(record)
        self._torn(folder)
        self._copies(records)
        self._parents(records, unread=any(finding.unread for finding in self.findings[before:]))

    def _note(self, where: str, message: str, *, serious: bool, unread: bool = False) -> None:
        self.findings.append(Finding(where, message, serious, unread))

    def _faults(self, faults: Iterable[Fault], *, serious: bool, unread: bool = False) -> None:
        for fault in faults:
            message = ": ".join(word for word in (fault.key, fault.message) if word)
            self._note(fault.where, message, serious=serious, unread=unread)

    def _seals(self, record: Record) -> None:
        newer = record.format_version > FORMAT_VERSION
        cut_short = record.torn and not any(block.seal for block in record.unproven)
        self._faults(record.unread, serious=False, unread=True)
        for fault in record.problems[len(record.unread) :]:
            self._faults((fault,), serious=fault.key == "amends" or not (cut_short or record.sealed))
        if record.open and not (record.changed or newer):
            self._note(record.name, "the visit has no result that counts; --resume goes on with it", serious=False)

    def _place(self, record: Record) -> None:
        folder = unit_folder(record.head.unit)
        if folder != record.path.parent.name:
            message = f'is of the unit "{record.head.unit}" and belongs in the folder {folder}'
            self._note(record.name, message, serious=True)

    def _named_sources(self, record: Record) -> None:
        for digest in filter(None, (record.head.spec_digest, record.head.bench_digest)):
            if digest not in self._sources:
                self._sources[digest] = self._source(digest)
            if self._sources[digest]:
                self._note(record.name, self._sources[digest], serious=True)

    def _source(self, digest: str) -> str:
        try:
            read_source(self.records_dir, digest)
        except RecordError as error:
            return str(error)
        return ""

    def _torn(self, folder: Path) -> None:
        for path in sorted(folder.glob("*.torn")) if folder.is_dir() else ():
            message = "holds what was left of a write that was cut short; nothing in it had been accepted"
            self._note(f"{folder.name}/{path.name}", message, serious=False)

    def _copies(self, records: Iterable[Record]) -> None:
        seen: dict[str, Record] = {}
        for record in records:
            first = seen.setdefault(record.head_seal, record)
            if first is not record and first.last_seal == record.last_seal:
                self._note(record.name, f"is a copy of {first.path.name}; one of them will do", serious=False)
            elif first is not record:
                message = f"begins like {first.path.name} and goes on differently: one record was continued twice"
                self._note(record.name, message, serious=True)

    def _clock(self, record: Record, dates: Mapping[str, datetime | None]) -> None:
        before = [date for parent in record.head.parents or () if (date := dates.get(parent)) is not None]
        if record.head.date is not None and before and record.head.date < max(before):
            message = f"is dated before the record it follows, {max(before):%Y-%m-%d %H:%M} UTC: a clock was wrong"
            self._note(record.name, f"{message}, and trends rest on such dates", serious=False)

    def _parents(self, records: Iterable[Record], *, unread: bool) -> None:
        what = "not read here, missing, changed or cut short" if unread else "missing, changed or cut short"
        known = {seal for record in records for seal in (record.head_seal, record.identity)}
        dates = {seal: record.head.date for record in records for seal in (record.head_seal, record.identity)}
        children: dict[str, list[str]] = {}
        for record in records:
            self._clock(record, dates)
            for parent in record.head.parents or ():
                children.setdefault(parent, []).append(record.path.name)
                if parent not in known:
                    message = f"follows a record with the seal {parent[:12]}... that is {what}"
                    self._note(record.name, message, serious=not unread, unread=unread)
        for parent, names in children.items():
            if len(names) > 1:
                message = f"follow the same record {parent[:12]}...: a fork, as two benches make it"
                self._note(" and ".join(names), message, serious=False)
