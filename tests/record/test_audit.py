"""The check of records: what was changed or is missing is serious, what a shop lives with is a remark."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.errors import RecordError
from benchcheck.record.audit import NOT_SHOWN, check_records
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Result
from benchcheck.record.record import read_record
from benchcheck.record.sources import keep_source
from benchcheck.report.text import audit_lines
from tests.record.samples import HEAD, READINGS


def write(records: Path, head: Head = HEAD, *, clock: FakeClock | None = None, finish: bool = True) -> Path:
    known = replace(head, spec_digest=keep_source(records, "benchcheck = 1\n"), bench_digest="")
    with Journal.create(records, known, clock or FakeClock()) as journal:
        journal.append_readings(READINGS)
        if finish:
            journal.append_result(Result(0))
    return journal.path


def three(records: Path) -> list[Path]:
    clock = FakeClock()
    paths = []
    for _ in range(3):
        paths.append(write(records, clock=clock))
        clock.sleep(86400)
    return paths


def edit(path: Path, old: bytes, new: bytes) -> None:
    path.write_bytes(path.read_bytes().replace(old, new))


def found(records: Path, *, serious: bool) -> list[str]:
    return [str(one) for one in check_records(records).findings if one.serious is serious]


def test_whole_records_are_sound_and_what_seals_cannot_show_is_said(tmp_path: Path) -> None:
    three(tmp_path)
    write(tmp_path, replace(HEAD, unit="another"))
    told: list[tuple[int, int]] = []
    audit = check_records(tmp_path, progress=lambda done, total: told.append((done, total)))
    assert audit.sound
    assert audit.findings == ()
    assert (audit.units, audit.records, audit.blocks) == (2, 4, 4 * 6)
    assert told == [(1, 2), (2, 2)]
    assert audit.not_shown == NOT_SHOWN
    assert "newest record" in audit.not_shown[0]
    assert check_records(tmp_path, "another").records == 1


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda paths: edit(paths[1], b"8.97", b"9.97"), "does not carry its seal"),
        (lambda paths: paths[1].unlink(), "follows a record with the seal"),
        (lambda paths: paths[1].write_bytes(paths[1].read_bytes()[:-400]), "follows a record with the seal"),
        (lambda paths: paths[1].write_bytes(b""), "is empty"),
        (lambda paths: paths[1].write_bytes(b"\x00" * 100), "is not a record of benchcheck"),
        (lambda paths: edit(paths[2], b"exit_code = 0", b"exit_code = 1"), "does not carry its seal"),
        (
            lambda paths: shutil.copy(paths[0], paths[0].parent.parent / "elsewhere" / paths[0].name),
            "belongs in the folder pr-3%20nr.%2042",
        ),
        (
            lambda paths: next((paths[0].parents[1] / "sources").iterdir()).unlink(),
            "the copy of this source is not there",
        ),
    ],
)
def test_what_was_changed_or_is_missing_is_serious(
    tmp_path: Path, spoil: Callable[[list[Path]], object], words: str
) -> None:
    paths = three(tmp_path)
    (tmp_path / "elsewhere").mkdir()
    spoil(paths)
    assert not check_records(tmp_path).sound
    assert any(words in line for line in found(tmp_path, serious=True))


def test_a_write_cut_short_an_open_visit_and_a_torn_file_are_remarks(tmp_path: Path) -> None:
    path = write(tmp_path, finish=False)
    path.write_bytes(path.read_bytes() + b"\n[[reading]]\nche")
    path.with_name(path.name + ".torn").write_bytes(b"x")
    assert check_records(tmp_path).sound
    remarks = found(tmp_path, serious=False)
    assert len(remarks) == 3
    assert "carry no seal (a write that was cut short)" in remarks[0]
    assert "--resume goes on with it" in remarks[1]
    assert "nothing in it had been accepted" in remarks[2]


def test_a_fork_is_a_remark_that_names_both(tmp_path: Path) -> None:
    root = write(tmp_path)
    other = tmp_path / "bench 2"
    shutil.copytree(tmp_path / root.parent.name, other / root.parent.name)
    here, there = write(tmp_path), write(other)
    shutil.copy(there, here.parent)
    shutil.rmtree(other)
    audit = check_records(tmp_path)
    assert audit.sound
    (fork,) = audit.findings
    assert set(fork.where.split(" and ")) == {here.name, there.name}
    assert "a fork, as two benches make it" in fork.message


def test_a_copy_is_a_remark_and_a_record_continued_twice_is_serious(tmp_path: Path) -> None:
    path = write(tmp_path, finish=False)
    copy = path.with_name("20990101T000000Z-ffffff.toml")
    shutil.copy(path, copy)
    assert any("is a copy of" in line for line in found(tmp_path, serious=False))
    with Journal.resume(copy, FakeClock()) as journal:
        journal.append_event("note", text="went on here")
    assert any("one record was continued twice" in line for line in found(tmp_path, serious=True))


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="the records cannot be read"):
        check_records(tmp_path / "nowhere")
    assert check_records(tmp_path, "nobody").records == 0


def of_version_2(path: Path, **changes: str) -> None:
    """Make a record one of a format to come: another version, other words, a head whose seal holds all the same."""
    head, _, rest = path.read_bytes().partition(b"\nseal = ")
    head = head.replace(b"benchcheck_record = 1", b"benchcheck_record = 2") + b"\n"
    for old, new in changes.items():
        head = head.replace(f'{old} = "as-left"'.encode(), f'{old} = "{new}"'.encode())
    path.write_bytes(head + b'seal = "' + hashlib.sha256(head).hexdigest().encode() + rest[rest.index(b'"\n') :])


def test_nobody_is_told_to_go_on_with_a_record_that_resume_refuses(tmp_path: Path) -> None:
    changed, newer = write(tmp_path / "changed"), write(tmp_path / "newer")
    edit(changed, b"8.97", b"9.97")
    of_version_2(newer)
    assert any("does not carry its seal" in line for line in found(tmp_path / "changed", serious=True))
    for path in (changed, newer):
        assert not [line for line in found(path.parents[1], serious=False) if "--resume" in line]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: of_version_2(path, stage="on loan"),
        lambda path: path.write_bytes(b'benchcheck_record = 2\nseal = "another chain"\n'),
    ],
    ids=["other words", "other seals"],
)
def test_a_record_of_a_future_version_is_named_as_that_and_not_as_changed(
    tmp_path: Path, spoil: Callable[[Path], object]
) -> None:
    spoil(write(tmp_path))
    audit = check_records(tmp_path)
    assert audit.sound
    assert "is of format version 2 and this benchcheck reads 1" in str(audit.findings[0])
    assert {finding.unread for finding in audit.findings} == {True}
    told = "\n".join(audit_lines(audit))
    assert "\nchanged or missing" not in f"\n{told}"
    assert told.startswith("not read: ")


def test_a_parent_that_may_be_one_of_those_not_read_is_not_called_missing(tmp_path: Path) -> None:
    first, *_ = three(tmp_path)
    first.write_bytes(b'benchcheck_record = 2\nseal = "another chain"\n')
    audit = check_records(tmp_path)
    assert audit.sound
    assert any("is not read here, missing, changed or cut short" in finding.message for finding in audit.findings)


def test_a_sealed_block_of_a_kind_to_come_is_not_called_changed(tmp_path: Path) -> None:
    path = write(tmp_path)
    body = b"[[hologram]]\nx = 1\n"
    last = read_record(path).last_seal
    path.write_bytes(
        path.read_bytes() + body + f'seal = "{hashlib.sha256(last.encode() + body).hexdigest()}"\n'.encode()
    )
    audit = check_records(tmp_path)
    assert audit.sound
    assert [finding.unread for finding in audit.findings if "hologram" in finding.message] == [True]


def test_a_clock_that_was_set_back_is_named_and_no_damage(tmp_path: Path) -> None:
    write(tmp_path, clock=FakeClock(datetime(2026, 5, 1, tzinfo=UTC)))
    back = write(tmp_path, clock=FakeClock(datetime(2025, 5, 1, tzinfo=UTC)))
    audit = check_records(tmp_path)
    assert audit.sound
    (finding,) = audit.findings
    assert finding.where.endswith(back.name)
    assert "dated before the record it follows, 2026-05-01 00:00 UTC" in finding.message
