"""Files in and out: every bad file told in words, and no half-written one ever seen."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from benchcheck.document import files as files_module
from benchcheck.document import read_document, read_text_capped, write_atomically
from benchcheck.errors import DocumentError, ReadingsError, RecordError


def message(path: Path, size_limit_bytes: int = 4_000_000) -> str:
    """What is said about a file, by both readers alike, with the path left out."""
    said = []
    with pytest.raises(ReadingsError) as readings:
        read_text_capped(path, size_limit_bytes, error=ReadingsError, name="x")
    said.append(str(readings.value))
    with pytest.raises(DocumentError) as document:
        read_document(path, size_limit_bytes=size_limit_bytes, name="x")
    said.append(str(document.value))
    assert said[0] == said[1]
    return said[0]


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    assert message(tmp_path / "none") == "x: cannot be read: there is no such file; check the name"
    (tmp_path / "file").touch()
    below = message(tmp_path / "file" / "x")
    assert below == "x: cannot be read: there is no such file, as a part of its path is no directory; check the name"
    assert message(Path("a\0b")) == "x: cannot be read: embedded null byte; check the name"
    assert message(tmp_path / ("n" * 300)) == (
        "x: cannot be read: its name is longer than the system allows; shorten it"
    )


def test_what_is_no_plain_file_is_told_and_does_not_hang(tmp_path: Path) -> None:
    assert message(tmp_path) == "x: is a directory; give a file in it"
    os.mkfifo(tmp_path / "pipe")
    assert message(tmp_path / "pipe") == "x: is not a plain file; save it to a file first"
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert message(tmp_path / "loop") == (
        "x: cannot be read: its symbolic links lead in a circle; give the file itself"
    )


def test_an_unreadable_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "x").write_text("a = 1")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert message(tmp_path / "x") == "x: cannot be read: it may not be read; change its permissions"


def test_what_the_system_says_beyond_that_is_passed_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "x").write_text("a = 1")

    def fail(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "open", fail)
    assert message(tmp_path / "x") == "x: cannot be read: the system says 'Input/output error'"


def test_a_large_file_is_refused_without_reading_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (tmp_path / "x").open("wb") as file:
        file.truncate(100_000_000)

    def never(*_: object) -> None:
        pytest.fail("the file was opened")

    monkeypatch.setattr(Path, "open", never)
    assert message(tmp_path / "x") == "x: is 100 MB, and at most 4 MB are read; check that it is the right file"


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "x").write_text("a = 1\n" * 10)
    monkeypatch.setattr(files_module, "_refuse_by_status", lambda *_: None)
    assert "at most 3e-05 MB are read" in message(tmp_path / "x", size_limit_bytes=30)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "x: is empty; check that it was saved"),
        (b" \r\n\t\n", "x: is empty; check that it was saved"),
        (b"\xef\xbb\xbf\n", "x: is empty; check that it was saved"),
        (b"\xff\xfea\0", "x:1: is UTF-16; save it as UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0", "x: is a binary file (byte 8 is zero); give a text file"),
        (b"a = 1\nb = '\xe9'\n", "x:2: is not UTF-8: byte 11 is 0xE9; save it as UTF-8"),
        (b"a = 1\n\xed\xa0\x80", "x:2: is not UTF-8: byte 6 is 0xED; save it as UTF-8"),
    ],
)
def test_what_is_no_text_is_told(tmp_path: Path, data: bytes, said: str) -> None:
    (tmp_path / "x").write_bytes(data)
    assert message(tmp_path / "x") == said


def test_a_byte_order_mark_is_dropped_and_line_ends_are_kept(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_bytes(b"\xef\xbb\xbfcheck,reading\r\n\xef\xbb\xbf")
    assert read_text_capped(tmp_path / "x.csv") == "check,reading\r\n\ufeff"


def test_a_message_shows_the_path_with_nothing_hidden_in_it(tmp_path: Path) -> None:
    with pytest.raises(DocumentError) as refused:
        read_text_capped(Path("\x1b[2Jx"))
    assert str(refused.value).startswith("\\u001b[2Jx: cannot be read")


def test_a_written_file_is_whole_private_and_alone(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    write_atomically(path, "µ = 1\r\n")
    assert path.read_bytes() == "µ = 1\r\n".encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    write_atomically(path, "", mode=0o644)
    assert path.read_bytes() == b""
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
    assert os.listdir(tmp_path) == ["x.toml"]


def test_the_mode_does_not_depend_on_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o077)
    try:
        write_atomically(tmp_path / "x", "a", mode=0o664)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "x").stat().st_mode) == 0o664


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_on_the_way_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "x"
    path.write_text("old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(RecordError) as refused:
        write_atomically(path, "new", error=RecordError)
    assert str(refused.value) == f"{path}: cannot be written: the disk is full; make room, nothing was changed"
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["x"]


def test_an_interrupt_on_the_way_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(tmp_path / "x", "new")
    assert os.listdir(tmp_path) == []


def test_the_data_is_on_the_disk_before_the_name_and_the_name_before_returning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    fsync, replace = os.fsync, os.replace

    def noting_fsync(handle: int) -> None:
        steps.append("directory" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        fsync(handle)

    def noting_replace(source: Path, target: Path) -> None:
        steps.append("rename")
        replace(source, target)

    monkeypatch.setattr(os, "fsync", noting_fsync)
    monkeypatch.setattr(os, "replace", noting_replace)
    write_atomically(tmp_path / "x", "new")
    assert steps == ["file", "rename", "directory"]


def test_a_directory_that_cannot_be_flushed_is_let_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fsync = os.fsync

    def files_only(handle: int) -> None:
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(22, "Invalid argument")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", files_only)
    write_atomically(tmp_path / "x", "new")
    assert (tmp_path / "x").read_text() == "new"


def test_a_symbolic_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "there" / "real")
    write_atomically(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there" / "real").read_text() == "new"


def test_what_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(DocumentError, match=r"its directory does not exist; create it or choose another place"):
        write_atomically(tmp_path / "none" / "x", "a")
    with pytest.raises(DocumentError, match=r"a directory stands in its place; choose another name"):
        write_atomically(tmp_path, "a")
    with pytest.raises(DocumentError, match=r"sign 1 of its text is no character of Unicode; remove it"):
        write_atomically(tmp_path / "x", "a\ud800")
    with pytest.raises(DocumentError, match=r"null"):
        write_atomically(Path("a\0b"), "a")
    assert os.listdir(tmp_path) == []


def test_a_device_or_a_pipe_is_never_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to(tmp_path / "pipe")
    for name in ("pipe", "link"):
        with pytest.raises(DocumentError, match=r"is no plain file, and nothing else is replaced; write to a file"):
            write_atomically(tmp_path / name, "a")
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


@pytest.mark.parametrize("step", ["fsync", "chmod", "replace"])
def test_a_kill_on_the_way_leaves_the_old_file_whole(tmp_path: Path, step: str) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    code = (
        "import os, pathlib, signal, sys\n"
        "from benchcheck.document import write_atomically\n"
        f"os.{step} = lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL)\n"
        "write_atomically(pathlib.Path(sys.argv[1]), 'new')\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode == -signal.SIGKILL
    assert path.read_text() == "old"
    assert all(name == "x" or (name.startswith(".") and name.endswith(".tmp")) for name in os.listdir(tmp_path))


def test_the_longest_name_the_system_allows_can_be_written(tmp_path: Path) -> None:
    write_atomically(tmp_path / ("n" * 255), "a")
    assert (tmp_path / ("n" * 255)).read_text() == "a"
