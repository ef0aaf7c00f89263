"""The kits for sources of readings: one that is asked check by check, and one that reads a file whole."""

from __future__ import annotations

import contextlib
import copy
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, ClassVar

from benchcheck.conformance.sample import require, sample_bench, sample_board
from benchcheck.errors import InputError
from benchcheck.kinds.check import Check
from benchcheck.readings.file import ReadingsFile
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.session.answers import Answer, Hindered, Later, Skip, Source, Step, Stop, Taken, Trouble, Undo
from benchcheck.session.sources import FileSetting, ReadingSource, Setting, source_faults

__all__ = ["FileSourceKit", "SourceKit"]


class SourceKit:
    """Subclass as `Test...` and give `source`, and `setting` where it needs more than a bench.

    `asked` are the checks it is asked, by id, on the sample board: R1 (4k7), D1 (a diode), C1 (100 uF), the supply
    VIN and the rail OUT.
    """

    source: ClassVar[ReadingSource]
    asked: ClassVar[tuple[str, ...]] = ("R1.resistance", "D1.forward_drop")

    def setting(self) -> Setting:
        """Return what the source is opened with; override it to script a person or to name a port."""
        return Setting(sample_bench())

    def opened(self) -> Source:
        """Return the source, open."""
        require(self.source.open is not None, "this kit is for sources that are asked; FileSourceKit for files")
        assert self.source.open is not None
        return self.source.open(self.setting())

    def step(self, identity: str) -> Step:
        """Return the request for a check of the sample board."""
        return Step(sample_board().by_id[identity], 1, len(self.asked), Session())

    def test_it_has_all_a_source_needs(self) -> None:
        """Name, summary and exactly one of open and read."""
        faults = tuple(source_faults(self.source))
        require(not faults, "; ".join(faults))

    def test_it_answers_what_it_is_asked(self) -> None:
        """Each answer is one there is, and a reading is one of the check that was asked, in its quantity unit."""
        with _closing(self.opened()) as source:
            for identity in self.asked:
                step = self.step(identity)
                answer = source.answer(step)
                _require_answer(answer, step.check)

    def test_it_leaves_what_it_is_given_alone(self) -> None:
        """The step is not changed: limits are the board's, not the source's."""
        with _closing(self.opened()) as source:
            step = self.step(self.asked[0])
            before = copy.deepcopy(step)
            source.answer(step)
            require(step == before, "the source changed the step it was given")

    def test_the_same_check_can_be_asked_again(self) -> None:
        """After an undo a check comes again; that is no error."""
        with _closing(self.opened()) as source:
            for _ in range(2):
                step = self.step(self.asked[0])
                _require_answer(source.answer(step), step.check)

    def test_what_it_cannot_read_is_no_crash(self) -> None:
        """A check it cannot take is answered with Skip, Hindered or Trouble and a reason."""
        with _closing(self.opened()) as source:
            step = self.step("C1.esr")
            try:
                answer = source.answer(step)
            except Exception as error:
                raise AssertionError(f"asked for C1.esr it raised {type(error).__name__}: {error}") from error
            _require_answer(answer, step.check)
            reason = answer.reason if isinstance(answer, Skip | Hindered | Trouble) else "read"
            require(reason.strip(), "it gives no reason for what it could not read")


class FileSourceKit:
    """Subclass as `Test...` and give `source`, an `example` file's bytes, and `expected`: check id -> display.

    `unknown` is a file of the same shape with a reading of a check the sample board has not.
    """

    source: ClassVar[ReadingSource]
    example: ClassVar[bytes]
    expected: ClassVar[Mapping[str, str]]
    unknown: ClassVar[bytes] = b""
    name: ClassVar[str] = "readings.txt"

    def read(self, folder: Path, content: bytes | None) -> Any:
        """Return what the source makes of a file with this content; None for a file that is not there."""
        path = folder / self.name
        if content is not None:
            path.write_bytes(content)
        board = sample_board()
        require(self.source.read is not None, "this kit is for sources that read a file; SourceKit for the others")
        assert self.source.read is not None
        return self.source.read(FileSetting(path, board.by_id, sample_bench(), board.withheld))

    def test_it_has_all_a_source_needs(self) -> None:
        """Name, summary and exactly one of open and read."""
        faults = tuple(source_faults(self.source))
        require(not faults, "; ".join(faults))

    def test_it_reads_what_the_file_says(self, tmp_path: Path) -> None:
        """Every reading of the example, no more and no less, with the display kept as it was."""
        found = self.read(tmp_path, self.example)
        require(isinstance(found, ReadingsFile), f"it returned a {type(found).__name__}, not a ReadingsFile")
        shown = {one.check: one.display.text for one in found.readings}
        require(shown == dict(self.expected), f"it read {shown}, expected {dict(self.expected)}")
        for one in found.readings:
            require(one.origin is Origin.FILE, f"{one.check} says it is {one.origin}; a file's readings are FILE")
        require(len(found.digest) == 64, "its digest is no SHA-256 in hexadecimal: records keep it")

    def test_it_reads_the_same_twice(self, tmp_path: Path) -> None:
        """Nothing is kept between files."""
        first, second = self.read(tmp_path, self.example), self.read(tmp_path, self.example)
        require(first == second, "the same file gives other readings the second time")

    def test_it_leaves_the_folder_as_it_was(self, tmp_path: Path) -> None:
        """Reading writes nothing."""
        self.read(tmp_path, self.example)
        names = [path.name for path in tmp_path.iterdir()]
        require(names == [self.name], f"beside the file there is now {names}")
        require((tmp_path / self.name).read_bytes() == self.example, "the file was changed")

    def test_readings_of_unknown_checks_are_refused_by_name(self, tmp_path: Path) -> None:
        """A check the board has not is an error with a sentence, never a reading that is dropped."""
        if self.unknown:
            self._refuses(tmp_path, self.unknown, "a check that the board does not have")

    def test_what_is_no_such_file_is_refused(self, tmp_path: Path) -> None:
        """A missing file and bytes that mean nothing are errors of the user's, not crashes."""
        self._refuses(tmp_path, None, "a file that is not there")
        self._refuses(tmp_path, bytes(range(256)) * 8, "bytes that mean nothing")

    def _refuses(self, folder: Path, content: bytes | None, what: str) -> None:
        try:
            self.read(folder, content)
        except InputError as error:
            require(str(error).strip(), f"{what} is refused without a word")
        except Exception as error:
            raise AssertionError(f"{what}: raised {type(error).__name__}, not ReadingsError: {error}") from error
        else:
            raise AssertionError(f"{what} was accepted")


def _require_answer(answer: Answer, check: Check) -> None:
    known = isinstance(answer, Taken | Skip | Undo | Later | Stop | Hindered | Trouble)
    require(known, f"{check.id}: {answer!r} is no answer; they are in benchcheck.session.answers")
    if not isinstance(answer, Taken):
        return
    readings: Any = answer.readings
    require(isinstance(readings, tuple) and readings, f"{check.id}: Taken holds no readings")
    for one in readings:
        require(isinstance(one, Reading), f"{check.id}: {one!r} is no Reading")
        require(one.check == check.id, f"asked for {check.id} it gave a reading of {one.check}")
        right = one.quantity_unit == check.quantity_unit
        require(right, f"{check.id} is read in {check.quantity_unit}, not in {one.quantity_unit}")


@contextlib.contextmanager
def _closing(source: Source) -> Iterator[Source]:
    """Close a source that has a `close` at the end; let the others be."""
    try:
        yield source
    finally:
        close = getattr(source, "close", None)
        if callable(close):
            close()
