"""The appending end of a record: what it has returned from is on the disk, sealed, and stays there.

Each block is one write and one flush. A write that fails is taken back, so that the file ends with a sealed
block again; a flush that fails, or a file that changed under our hands, ends the journal, because nobody can
then say what is on the disk. One process at a time may append: the file is locked from first to last.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Self

from benchcheck.clock import Clock, file_stamp
from benchcheck.errors import Fault, RecordError
from benchcheck.readings.reading import Reading
from benchcheck.record.codec import body_of, reading_fields, score_fields
from benchcheck.record.files import TornTail, create_record, draw_id, open_record, read_all, set_tail_aside
from benchcheck.record.folders import unit_path
from benchcheck.record.head import FORMAT_VERSION, event_fields, head_fields, result_fields
from benchcheck.record.model import Event, EventKind, Head, Result
from benchcheck.record.record import read_record_bytes
from benchcheck.record.seal import seal_line, seal_of
from benchcheck.record.shelf import parents_for
from benchcheck.score.model import Score

__all__ = ["Journal"]


@dataclass(slots=True)
class Journal:
    """A record open for appending. Use it as a context manager, or call `close`.

    Make one with `Journal.create` or `Journal.resume`. Every `append_...` returns the seals of what it wrote
    once that is on the disk, and raises RecordError when it is not: then nothing of it is in the record.
    `torn` is what a resume had to set aside, if anything.
    """

    path: Path
    clock: Clock
    last_seal: str
    torn: TornTail | None = None
    _handle: int = -1
    _length: int = 0
    _count: int = 1
    _standing: dict[str, Reading] = field(default_factory=dict)  # by seal, oldest first
    _broken: str = ""

    @classmethod
    def create(cls, records_dir: Path, head: Head, clock: Clock) -> Journal:
        """Return the journal of a new record of the unit, with its head on the disk.

        The date is the clock's and the parents are those of the unit's folder unless the head has its own.
        Raises UsageError for a label that names no folder, RecordError where nothing can be written.
        """
        folder = unit_path(records_dir, head.unit)
        parents = head.parents if head.parents is not None else parents_for(records_dir, head.unit)
        head = replace(head, id=draw_id(), date=head.date or clock.now(), parents=parents)
        body = body_of(f"benchcheck_record = {FORMAT_VERSION}", head_fields(head))
        seal = seal_of("", body)
        block = body + seal_line(seal)
        path = folder / f"{file_stamp(clock.now())}-{head.id}.toml"
        handle = create_record(path, block)
        return cls(path, clock, seal, _handle=handle, _length=len(block))

    @classmethod
    def resume(cls, path: Path, clock: Clock) -> Journal:
        """Return the journal of a record that goes on, a torn tail set aside in a `.torn` file beside it.

        Raises RecordError where another process has it open, where it is no record, or where it was changed
        after it was written: nothing is appended to what is not proven.
        """
        handle = open_record(path)
        try:
            data = read_all(handle)
            record = read_record_bytes(data, path)
            if record.changed or record.format_version > FORMAT_VERSION:
                advice = "begin a new visit" + (", or put back a copy of the file" if record.changed else "")
                raise RecordError([*record.problems, Fault(path.name, "", f"nothing is appended to it; {advice}")])
            torn = set_tail_aside(path, handle, data, record.proven_bytes) if record.torn else None
            length = record.proven_bytes if torn else len(data)  # a blank line may follow the last block
            journal = cls(path, clock, record.last_seal, torn, handle, length, record.blocks)
            journal._standing = {entry.seal: entry.value for entry in record.standing}
            if not data[: record.proven_bytes].endswith(b"\n"):
                journal._write(b"\n", "the line end of the last block")
        except OSError as error:
            os.close(handle)
            raise RecordError(Fault(path.name, "", f"cannot be resumed: {error.strerror}")) from error
        except BaseException:
            os.close(handle)
            raise
        return journal

    def readings(self) -> tuple[Reading, ...]:
        """Return the readings in the record that were not taken back, oldest first."""
        return tuple(self._standing.values())

    def append_reading(self, reading: Reading) -> str:
        """Put one accepted reading on the disk and return its seal."""
        return self.append_readings((reading,))[0]

    def append_readings(self, readings: Iterable[Reading]) -> tuple[str, ...]:
        """Put readings on the disk with one flush and return their seals; all of them are kept, or none."""
        readings = tuple(readings)
        names = ", ".join(dict.fromkeys(reading.check for reading in readings))
        seals = self._append([("reading", reading_fields(reading)) for reading in readings], names)
        self._standing.update(zip(seals, readings, strict=True))
        return seals

    def append_score(self, score: Score) -> str:
        """Put one score on the disk and return its seal."""
        return self.append_scores((score,))[0]

    def append_scores(self, scores: Iterable[Score]) -> tuple[str, ...]:
        """Put scores on the disk with one flush and return their seals; all of them are kept, or none."""
        return self._append([("score", score_fields(score)) for score in scores], "scores")

    def append_event(
        self,
        kind: EventKind | str,
        check: str = "",
        text: str = "",
        *,
        amends: Iterable[str] | None = None,
        operator: str = "",
    ) -> str:
        """Put an event on the disk and return its seal; `amends` are the seals of the blocks it is about.

        An undo without them takes back every reading of the check that still stands; RecordError if none does.
        """
        kind = EventKind(kind)
        given = tuple(amends or ())
        if kind is EventKind.UNDO and amends is None:
            given = tuple(seal for seal, reading in self._standing.items() if reading.check == check)
            if not given:
                raise RecordError(Fault("undo", check, "no reading of it stands; there is nothing to take back"))
        event = Event(kind, check, text, given, operator, self.clock.now())
        seal = self._append([("event", event_fields(event))], f"the {kind} of {check}" if check else kind)[0]
        if kind is EventKind.UNDO:
            self._standing = {one: reading for one, reading in self._standing.items() if one not in given}
        return seal

    def append_result(self, result: Result) -> str:
        """Put the result of a run on the disk and return its seal, which is then the record's last."""
        result = replace(result, at=result.at or self.clock.now(), last_seal=self.last_seal)
        return self._append([("result", result_fields(result))], "the result")[0]

    def close(self) -> None:
        """Close the file and let go of its lock; closing twice does nothing."""
        if self._handle >= 0:
            handle, self._handle = self._handle, -1
            os.close(handle)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _append(self, blocks: list[tuple[str, Mapping[str, object]]], what: str) -> tuple[str, ...]:
        seals: list[str] = []
        pieces: list[bytes] = []
        previous = self.last_seal
        for kind, fields in blocks:
            body = body_of(f"[[{kind}]]", fields)
            previous = seal_of(previous, body)
            seals.append(previous)
            pieces += (b"\n", body, seal_line(previous))
        if pieces:
            self._write(b"".join(pieces), what)
            self.last_seal = previous
            self._count += len(seals)
        return tuple(seals)

    def _write(self, data: bytes, what: str) -> None:
        """Write and flush, or take back what was written and raise RecordError."""
        self._refuse_if_broken(what)
        flushing = False
        try:
            view = memoryview(data)
            while view:
                view = view[os.write(self._handle, view) :]
            flushing = True
            os.fsync(self._handle)
        except OSError as error:
            self._take_back(f"the disk did not confirm a write ({error.strerror})" if flushing else "")
            raise RecordError(Fault(self.path.name, "", self._refusal(what, error))) from error
        except BaseException:
            self._take_back("")
            raise
        self._length += len(data)

    def _refuse_if_broken(self, what: str) -> None:
        if self._handle < 0:
            raise RecordError(Fault(self.path.name, "", f"{what}: not recorded; the record is closed already"))
        if not self._broken:
            status = os.fstat(self._handle)
            if status.st_nlink == 0:
                self._broken = "the file was deleted or replaced while it was being written"
            elif status.st_size != self._length:
                self._broken = "another program changed the file while it was being written"
        if self._broken:
            message = f"{what}: not recorded; {self._broken}. {self._safe()} Stop here and go on with --resume"
            raise RecordError(Fault(self.path.name, "", message))

    def _take_back(self, reason: str) -> None:
        """Cut the file back to its last sealed block; where that fails, or for a reason, never write again."""
        self._broken = reason
        try:
            os.ftruncate(self._handle, self._length)
            os.fsync(self._handle)
        except OSError as error:
            self._broken = reason or f"a write that failed could not be taken back ({error.strerror})"

    def _refusal(self, what: str, error: OSError) -> str:
        advice = "Make room or put the disk right, then enter it again"
        if self._broken:
            advice = "Stop here, put the disk right and go on with --resume"
        return f"{what}: not recorded, {error.strerror}. {self._safe()} {advice}"

    def _safe(self) -> str:
        return f"The {self._count} blocks before are safe." if self._count > 1 else "The head is safe."
