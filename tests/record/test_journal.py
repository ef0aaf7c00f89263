"""The journal: what it has returned from is on the disk; what it refuses is not in the file."""

from __future__ import annotations

import errno
import os
import re
import resource
import signal
import stat
import subprocess
import sys
import textwrap
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.errors import RecordError
from benchcheck.readings.reading import Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.record.seal import seal_line, seal_of
from benchcheck.record.store import latest_open, parents_for, read_record, records_of
from tests.record.samples import HEAD, READINGS, RESULT, SCORES, SPEC_DIGEST, value, write_visit


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


@pytest.fixture
def journal(tmp_path: Path, clock: FakeClock) -> Journal:
    return Journal.create(tmp_path / "records", HEAD, clock)


def test_a_visit_comes_back_as_it_was_written(tmp_path: Path) -> None:
    record = read_record(write_visit(tmp_path))
    assert record.sealed
    assert record.problems == ()
    assert record.readings == READINGS[:3]
    assert tuple(entry.value for entry in record.all_readings) == READINGS
    assert record.scores == SCORES
    assert [event.kind for event in record.events] == [EventKind.UNDO, EventKind.SKIP]
    result = record.result
    assert result is not None
    assert (result.exit_code, result.counts) == (RESULT.exit_code, RESULT.counts)
    assert result.last_seal == record.all_scores[-1].seal
    assert record.last_seal == record.all_results[-1].seal
    assert record.head.date == datetime(2026, 1, 31, 10, 15, tzinfo=UTC)


def test_the_file_is_named_by_utc_time_and_belongs_to_its_owner_alone(tmp_path: Path) -> None:
    records = tmp_path / "records"
    path = write_visit(records)
    assert re.fullmatch(r"20260131T101500Z-[0-9a-f]{8}\.toml", path.name)
    assert path.parent.name == "pr-3%20nr.%2042"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert stat.S_IMODE(records.stat().st_mode) == 0o700


def test_each_accepted_reading_is_flushed_before_append_returns(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed: list[int] = []

    def fsync(handle: int) -> None:
        flushed.append(os.fstat(handle).st_size)

    monkeypatch.setattr(os, "fsync", fsync)
    journal.append_reading(READINGS[0])
    assert flushed == [journal.path.stat().st_size]
    journal.append_readings(READINGS[1:])
    assert len(flushed) == 2, "a file of readings is flushed once"
    journal.close()


def test_nothing_to_append_writes_nothing(journal: Journal) -> None:
    before = journal.path.read_bytes()
    assert journal.append_readings(()) == ()
    assert journal.append_scores(()) == ()
    journal.close()
    assert journal.path.read_bytes() == before


def test_an_undo_takes_back_all_standing_readings_of_its_check_and_erases_nothing(journal: Journal) -> None:
    with journal:
        first = journal.append_readings((value("A.x", "1", 1.0), value("A.x", "2", 2.0, repeat=2)))
        other = journal.append_reading(value("B.x", "3", 3.0))
        journal.append_event("undo", "A.x", "probe slipped")
        again = journal.append_reading(value("A.x", "4", 4.0))
        journal.append_event("undo", "A.x")
        with pytest.raises(RecordError, match=r"A\.x: no reading of it stands"):
            journal.append_event("undo", "A.x")
        assert [reading.check for reading in journal.readings()] == ["B.x"]
    record = read_record(journal.path)
    assert [event.amends for event in record.events] == [first, (again,)]
    assert [entry.seal for entry in record.standing] == [other]
    assert len(record.all_readings) == 4


def test_a_score_older_than_the_undo_of_its_reading_does_not_count(journal: Journal) -> None:
    with journal:
        journal.append_reading(READINGS[0])
        journal.append_score(SCORES[0])
        journal.append_event("undo", "R14.resistance")
        assert read_record(journal.path).scores == ()
        journal.append_reading(READINGS[0])
        journal.append_score(SCORES[0])
    assert read_record(journal.path).scores == (SCORES[0],)


def test_an_undo_of_an_undo_brings_the_reading_back(journal: Journal) -> None:
    with journal:
        journal.append_reading(READINGS[0])
        undo = journal.append_event("undo", "R14.resistance")
        journal.append_event("undo", "R14.resistance", amends=(undo,))
    assert read_record(journal.path).readings == (READINGS[0],)


def test_a_resumed_record_goes_on_with_the_same_chain(tmp_path: Path, clock: FakeClock) -> None:
    path = write_visit(tmp_path)
    before = path.read_bytes()
    with Journal.resume(path, clock) as journal:
        assert journal.torn is None
        assert journal.readings() == READINGS[:3]
        journal.append_event("undo", "R14.resistance")
        assert journal.readings() == READINGS[1:3]
        journal.append_reading(READINGS[0])
        journal.append_score(SCORES[0])
        assert read_record(path).result is None
        journal.append_result(RESULT)
    record = read_record(path)
    assert path.read_bytes().startswith(before)
    assert record.sealed
    assert len(record.results) == 2
    assert record.identity == record.all_results[0].seal
    assert {score.check for score in record.scores} == {"D3.reverse", "R14.resistance"}


def test_resume_sets_a_torn_tail_aside_whatever_byte_it_ends_at(tmp_path: Path, clock: FakeClock) -> None:
    whole = write_visit(tmp_path).read_bytes()
    last_three = [mark.end() for mark in re.finditer(rb'^seal = ".*"\n', whole, re.MULTILINE)][-4:]
    path = tmp_path / "20260131T101500Z-abcdef.toml"
    for cut in range(last_three[0], len(whole)):
        path.write_bytes(whole[:cut])
        before = read_record(path)
        with Journal.resume(path, clock) as journal:
            journal.append_reading(READINGS[0])
        after = read_record(path)
        assert after.sealed, cut
        assert after.blocks == before.blocks + 1, cut
        torn = path.with_name(path.name + ".torn")
        assert torn.exists() == before.torn, cut
        if before.torn:
            assert journal.torn is not None
            assert torn.read_bytes() == whole[before.proven_bytes : cut]
            torn.unlink()


def test_an_earlier_torn_tail_is_kept_too(tmp_path: Path, clock: FakeClock) -> None:
    path = write_visit(tmp_path)
    for name in (".torn", ".2.torn"):
        path.write_bytes(path.read_bytes() + b"\n[[reading]]\nche")
        with Journal.resume(path, clock) as journal:
            assert journal.torn is not None
            assert journal.torn.path.name == path.name + name
            assert str(journal.torn) == f"16 bytes of a write that was cut short were moved to {path.name}{name}"


def test_an_edited_record_is_not_appended_to(tmp_path: Path, clock: FakeClock) -> None:
    path = write_visit(tmp_path)
    edited = path.read_bytes().replace(b"8.97", b"9.02")
    path.write_bytes(edited)
    with pytest.raises(RecordError, match=r"block 4 of 11 does not carry its seal(?s:.*)begin a new visit"):
        Journal.resume(path, clock)
    assert path.read_bytes() == edited
    assert [one.name for one in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("content", [b"", b"[board]\n", b"\x00\xff" * 40, b"benchcheck_record = 1\nunit = "])
def test_what_is_no_record_is_not_resumed_and_not_touched(tmp_path: Path, clock: FakeClock, content: bytes) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(RecordError, match=r"x\.toml"):
        Journal.resume(path, clock)
    assert path.read_bytes() == content


def test_a_record_of_a_later_format_is_not_appended_to(tmp_path: Path, clock: FakeClock) -> None:
    body = b'benchcheck_record = 2\nunit = "x"\nstage = "as-left"\n'
    path = tmp_path / "x.toml"
    path.write_bytes(body + seal_line(seal_of("", body)))
    with pytest.raises(
        RecordError, match=r"is of format version 2(?s:.*)nothing is appended to it; begin a new visit$"
    ):
        Journal.resume(path, clock)


def test_a_record_with_cr_lf_line_ends_goes_on(tmp_path: Path, clock: FakeClock) -> None:
    path = write_visit(tmp_path)
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    with Journal.resume(path, clock) as journal:
        journal.append_reading(READINGS[0])
    record = read_record(path)
    assert record.sealed
    assert record.readings == (*READINGS[:3], READINGS[0])


@pytest.mark.parametrize("call", ["pread", "ftruncate"])
def test_a_resume_the_disk_refuses_lets_go_of_the_record(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = write_visit(tmp_path)
    torn = path.read_bytes() + b"\n[[reading]]\n"
    path.write_bytes(torn)
    monkeypatch.setattr(os, call, refuse(errno.EIO))
    with pytest.raises(RecordError, match="cannot be resumed: Input/output error"):
        Journal.resume(path, clock)
    monkeypatch.undo()
    assert path.read_bytes() == torn
    Journal.resume(path, clock).close()


def test_a_torn_tail_that_cannot_be_kept_is_not_cut_off(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_visit(tmp_path)
    torn = path.read_bytes() + b"\n[[reading]]\n"
    path.write_bytes(torn)
    monkeypatch.setattr(os, "fsync", refuse(errno.ENOSPC))
    with pytest.raises(RecordError, match="cannot be resumed: No space left on device"):
        Journal.resume(path, clock)
    assert path.read_bytes() == torn
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_a_disk_that_cannot_lock_is_said(tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_visit(tmp_path)
    monkeypatch.setattr("fcntl.flock", refuse(errno.ENOLCK))
    with pytest.raises(RecordError, match="cannot be resumed: it cannot be locked here; keep records on a disk"):
        Journal.resume(path, clock)
    with pytest.raises(RecordError, match="no record can be begun here: it cannot be locked here"):
        Journal.create(tmp_path, HEAD, clock)


def test_an_interrupt_while_a_record_is_begun_leaves_no_file(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        Journal.create(tmp_path, HEAD, clock)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_a_missing_record_is_not_resumed(tmp_path: Path, clock: FakeClock) -> None:
    with pytest.raises(RecordError, match="cannot be resumed: it is not there; check the name"):
        Journal.resume(tmp_path / "x.toml", clock)


def test_only_one_journal_at_a_time_may_write_a_record(journal: Journal, clock: FakeClock) -> None:
    with pytest.raises(RecordError, match="another benchcheck is writing to this record"):
        Journal.resume(journal.path, clock)
    journal.append_reading(READINGS[0])
    journal.close()
    Journal.resume(journal.path, clock).close()


def test_a_closed_journal_refuses(journal: Journal) -> None:
    journal.close()
    journal.close()
    with pytest.raises(RecordError, match=r"R14\.resistance: not recorded; the record is closed already"):
        journal.append_reading(READINGS[0])


# --- disks that fail


def test_a_full_disk_is_said_and_the_same_reading_can_be_entered_again(journal: Journal) -> None:
    """RLIMIT_FSIZE gives a real short write followed by a real refusal of the system."""
    journal.append_reading(READINGS[0])
    before = journal.path.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 40, hard))
    try:
        with pytest.raises(RecordError) as refusal:
            journal.append_reading(READINGS[2])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert str(refusal.value) == (
        f"{journal.path.name}: VSW.voltage[120mA]: not recorded, File too large. "
        "The 2 blocks before are safe. Make room or put the disk right, then enter it again"
    )
    assert journal.path.read_bytes() == before
    journal.append_reading(READINGS[2])
    journal.close()
    assert read_record(journal.path).readings == (READINGS[0], READINGS[2])


def test_short_writes_are_completed(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    write = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: write(handle, data[:7]))
    journal.append_readings(READINGS)
    monkeypatch.undo()
    journal.close()
    assert read_record(journal.path).readings == READINGS


def test_after_a_flush_that_failed_nothing_more_is_written(
    journal: Journal, monkeypatch: pytest.MonkeyPatch, clock: FakeClock
) -> None:
    """Once fsync has failed the system may have dropped the pages; a later success would prove nothing."""
    journal.append_reading(READINGS[0])
    fsync = os.fsync
    monkeypatch.setattr(os, "fsync", refuse(errno.EIO))
    with pytest.raises(RecordError, match=r"not recorded, Input/output error(?s:.*)go on with --resume"):
        journal.append_reading(READINGS[1])
    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(RecordError, match=r"D3\.reverse: not recorded; the disk did not confirm a write"):
        journal.append_reading(READINGS[1])
    journal.close()
    assert read_record(journal.path).readings == (READINGS[0],)
    Journal.resume(journal.path, clock).close()


def test_where_a_failed_write_cannot_be_taken_back_the_journal_ends(
    journal: Journal, monkeypatch: pytest.MonkeyPatch, clock: FakeClock
) -> None:
    write = os.write
    spare = iter((40,))

    def nearly_full(handle: int, data: memoryview) -> int:
        for size in spare:
            return write(handle, data[:size])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "write", nearly_full)
    monkeypatch.setattr(os, "ftruncate", refuse(errno.EIO))
    with pytest.raises(RecordError, match="No space left on device"):
        journal.append_reading(READINGS[0])
    monkeypatch.undo()
    with pytest.raises(RecordError, match="a write that failed could not be taken back"):
        journal.append_reading(READINGS[0])
    journal.close()
    assert read_record(journal.path).torn
    with Journal.resume(journal.path, clock) as resumed:
        assert resumed.torn is not None
        assert resumed.torn.size_bytes == 40


def test_an_interrupt_in_the_middle_of_a_write_leaves_whole_blocks(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(handle: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        journal.append_reading(READINGS[0])
    monkeypatch.undo()
    assert read_record(journal.path).sealed
    journal.append_reading(READINGS[1])
    journal.close()
    assert read_record(journal.path).readings == (READINGS[1],)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), "the file was deleted or replaced while it was being written"),
        (lambda path: path.replace(path.with_name("elsewhere")), ""),
        (lambda path: path.write_bytes(b"short"), "another program changed the file"),
    ],
)
def test_a_file_changed_under_the_journal_ends_it(
    journal: Journal, spoil: Callable[[Path], object], words: str
) -> None:
    spoil(journal.path)
    if not words:  # moved, not lost: the reading goes with it
        journal.append_reading(READINGS[0])
        journal.close()
        assert read_record(journal.path.with_name("elsewhere")).readings == (READINGS[0],)
        return
    with pytest.raises(RecordError, match=words):
        journal.append_reading(READINGS[0])
    journal.close()


def test_no_half_written_record_is_left_where_the_head_cannot_be_written(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "write", refuse(errno.ENOSPC))
    with pytest.raises(RecordError, match="no record can be begun here: the disk is full; make room"):
        Journal.create(tmp_path, HEAD, clock)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES])
def test_a_read_only_place_is_said(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """Root may write anywhere, so the system's refusal is played."""
    monkeypatch.setattr(os, "open", refuse(number))
    with pytest.raises(RecordError, match=r"no record can be begun here: .*choose another place with --records"):
        Journal.create(tmp_path, HEAD, clock)


def test_a_file_in_place_of_the_records_folder_is_said(tmp_path: Path, clock: FakeClock) -> None:
    (tmp_path / "records").write_text("not a folder")
    with pytest.raises(RecordError, match="a file stands where a folder should be; move it away"):
        Journal.create(tmp_path / "records", HEAD, clock)


# --- clocks and benches


def test_a_clock_set_back_changes_neither_order_nor_names(tmp_path: Path, clock: FakeClock) -> None:
    paths = []
    for days in (0, -400, 30, -2):
        clock.set_wall(datetime(2026, 1, 31, 10, 15, tzinfo=UTC) + timedelta(days=days))
        paths.append(write_visit(tmp_path, clock=clock))
    assert [record.path for record in records_of(tmp_path, HEAD.unit)] == paths
    assert len(set(paths)) == 4


def test_two_records_begun_in_one_second_do_not_meet(tmp_path: Path, clock: FakeClock) -> None:
    first, second = Journal.create(tmp_path, HEAD, clock), Journal.create(tmp_path, HEAD, clock)
    assert first.path != second.path
    assert first.last_seal != second.last_seal, "records are known by their seals"
    first.close()
    second.close()


def test_a_record_names_the_first_result_of_the_one_before_or_its_head(tmp_path: Path, clock: FakeClock) -> None:
    begun = Journal.create(tmp_path, HEAD, clock)
    assert parents_for(tmp_path, HEAD.unit) == (begun.last_seal,)
    second = read_record(write_visit(tmp_path, clock=clock))
    assert second.head.parents == (begun.last_seal,)
    begun.append_result(RESULT)  # the parent is known by its head still
    begun.close()
    assert parents_for(tmp_path, HEAD.unit) == (second.all_results[0].seal,)
    third = read_record(write_visit(tmp_path, clock=clock))
    assert third.head.parents == (second.all_results[0].seal,)


def test_what_is_left_open_is_found_again(tmp_path: Path, clock: FakeClock) -> None:
    write_visit(tmp_path, clock=clock)
    assert latest_open(tmp_path, HEAD.unit, SPEC_DIGEST) is None
    with Journal.create(tmp_path, HEAD, clock) as journal:
        journal.append_reading(READINGS[0])
    found = latest_open(tmp_path, "pr-3 NR. 42", SPEC_DIGEST)
    assert found is not None
    assert found.path == journal.path
    assert latest_open(tmp_path, HEAD.unit, "00" * 32) is None


def test_a_visit_left_before_its_first_reading_hides_none_that_has_some(tmp_path: Path, clock: FakeClock) -> None:
    with Journal.create(tmp_path, HEAD, clock) as journal:
        journal.append_reading(READINGS[0])
    clock.sleep(60.0)
    Journal.create(tmp_path, HEAD, clock).close()
    found = latest_open(tmp_path, HEAD.unit, SPEC_DIGEST)
    assert found is not None
    assert found.path == journal.path


# --- real processes

CHILD = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from tests.record.samples import HEAD, value
    from benchcheck.clock import SystemClock
    from benchcheck.record.journal import Journal
    place = Path(sys.argv[1])
    journal = Journal.resume(place, SystemClock()) if place.is_file() else Journal.create(place, HEAD, SystemClock())
    print(journal.path, flush=True)
    number = 0
    while True:
        number += 1
        journal.append_reading(value("R14.resistance", str(number), float(number), repeat=number))
        print(number, flush=True)
    """
)


def start_child(place: Path) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(place)], stdout=subprocess.PIPE, text=True, env=environment
    )


@pytest.mark.parametrize("accepted", [0, 1, 17, 60])
def test_a_killed_process_loses_nothing_it_had_accepted(tmp_path: Path, clock: FakeClock, accepted: int) -> None:
    child = start_child(tmp_path)
    assert child.stdout is not None
    path = Path(child.stdout.readline().strip())
    for _ in range(accepted):
        child.stdout.readline()
    child.send_signal(signal.SIGKILL)
    told = accepted + len([line for line in child.stdout if line.endswith("\n")])
    child.stdout.close()
    assert child.wait() == -signal.SIGKILL
    with Journal.resume(path, clock) as journal:
        journal.append_reading(READINGS[0])
    record = read_record(path)
    numbers = [reading.display.value for reading in record.readings[:-1]]
    assert numbers == [float(number) for number in range(1, len(numbers) + 1)]
    assert told <= len(numbers) <= told + 1
    assert record.sealed


def test_another_process_that_writes_is_respected_until_it_dies(tmp_path: Path, clock: FakeClock) -> None:
    child = start_child(tmp_path)
    assert child.stdout is not None
    path = Path(child.stdout.readline().strip())
    try:
        with pytest.raises(RecordError, match="another benchcheck is writing to this record"):
            Journal.resume(path, clock)
    finally:
        child.kill()
        child.wait()
        child.stdout.close()
    Journal.resume(path, clock).close()
    assert read_record(path).sealed


def refuse(number: int) -> Callable[..., int]:
    def refused(*_: object, **__: object) -> int:
        raise OSError(number, os.strerror(number))

    return refused


def test_an_unknown_kind_of_event_is_a_defect_of_the_caller(journal: Journal) -> None:
    with journal, pytest.raises(ValueError, match="'erase' is not a valid EventKind"):
        journal.append_event("erase")


def test_a_text_that_is_no_unicode_is_refused_and_leaves_no_trace(journal: Journal) -> None:
    before = journal.path.read_bytes()
    spoilt: Reading = value("R14.resistance", "4.68k", 4680.0, note="half \ud800")
    with pytest.raises(RecordError, match="note"):
        journal.append_reading(spoilt)
    journal.close()
    assert journal.path.read_bytes() == before
