"""Copies of spec and bench: kept once, proven by their name, without addresses."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest

from benchcheck.errors import RecordError
from benchcheck.record.sources import keep_bench, keep_source, read_source, without_addresses

SPEC = 'benchcheck = 1\n[board]\nmodel = "Marrowby PR-3"  # größer\n'


def test_a_source_is_kept_under_its_digest_and_comes_back(tmp_path: Path) -> None:
    digest = keep_source(tmp_path / "records", SPEC)
    path = tmp_path / "records" / "sources" / f"{digest}.toml"
    assert digest == hashlib.sha256(SPEC.encode("utf-8")).hexdigest()
    assert path.read_bytes() == SPEC.encode("utf-8")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert read_source(tmp_path / "records", digest) == SPEC


@pytest.mark.parametrize("text", ["a\r\nb\r\n", "\ufeffx = 1\n", ""])
def test_line_ends_and_marks_stay_as_they_were(tmp_path: Path, text: str) -> None:
    assert read_source(tmp_path, keep_source(tmp_path, text)) == text


def test_a_source_is_written_once_and_put_right_where_it_was_damaged(tmp_path: Path) -> None:
    digest = keep_source(tmp_path, SPEC)
    path = tmp_path / "sources" / f"{digest}.toml"
    before = path.stat().st_ino
    keep_source(tmp_path, SPEC)
    assert path.stat().st_ino == before
    path.write_text("something else")
    with pytest.raises(RecordError, match="was changed: its text does not have the digest it is named by"):
        read_source(tmp_path, digest)
    keep_source(tmp_path, SPEC)
    assert read_source(tmp_path, digest) == SPEC


@pytest.mark.parametrize(
    ("digest", "words"),
    [
        ("0" * 64, "is not there; copy the folder along with the records"),
        ("../../etc/passwd", "is not a digest"),
        ("", "is not a digest"),
    ],
)
def test_a_source_that_is_not_there_is_said(tmp_path: Path, digest: str, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        read_source(tmp_path, digest)


def test_a_source_of_other_bytes_is_said(tmp_path: Path) -> None:
    digest = keep_source(tmp_path, SPEC)
    (tmp_path / "sources" / f"{digest}.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(RecordError, match="cannot be read: it is not UTF-8"):
        read_source(tmp_path, digest)


def test_a_source_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "sources").write_text("a file in the way")
    with pytest.raises(RecordError, match="the copy cannot be kept: Not a directory"):
        keep_source(tmp_path, SPEC)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ('resource = "TCPIP0::10.0.0.7::5025::SOCKET"', 'resource = "withheld"'),
        ("resource = 'USB0::0x1234::0x5678::MY1::INSTR'  # left", 'resource = "withheld"  # left'),
        ('"resource" = """\nASRL/dev/ttyUSB0::INSTR"""', '"resource" = "withheld"'),
        (r'resource="odd \" quote" # x', 'resource="withheld" # x'),
        ("link = { a = 'b', resource = 'lab-pc:5025' }", "link = { a = 'b', resource = \"withheld\" }"),
        ("# was TCPIP::scope.lan::INSTR before", "# was withheld before"),
        ("# scope at 192.168.1.40:5025, shelf 3", "# scope at withheld, shelf 3"),
        ("# firmware 1.2.3.4.5", "# firmware 1.2.3.4.5"),
        ('my_resource = "spare"', 'my_resource = "spare"'),
        ('accuracy = "0.8 % + 3"', 'accuracy = "0.8 % + 3"'),
    ],
)  # fmt: skip
def test_the_bench_copy_holds_no_instrument_address(given: str, kept: str) -> None:
    assert without_addresses(given) == kept


def test_a_bench_is_kept_without_addresses_under_the_digest_of_what_is_kept(tmp_path: Path) -> None:
    digest = keep_bench(tmp_path, 'benchcheck_bench = 1\nresource = "GPIB0::22::INSTR"\n')
    assert read_source(tmp_path, digest) == 'benchcheck_bench = 1\nresource = "withheld"\n'
