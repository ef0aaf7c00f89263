"""Fault dictionaries in files: what comes back, what is damaged, what makes room, what is not touched."""

from __future__ import annotations

import hashlib
import os
import random
from pathlib import Path

import numpy as np
import pytest

from benchcheck import shelf as shelves
from benchcheck.shelf import DIRECTORY, FileShelf, shelf_of_user

ARRAYS = {"mean": np.array([[1.0, np.nan], [-0.0, 2.5]]), "entry": np.array([3, -1], np.int32)}


def files(directory: Path) -> list[Path]:
    return sorted(directory.glob("*.dictionary"))


def test_arrays_come_back_as_they_were(tmp_path: Path) -> None:
    FileShelf(tmp_path).put("one", ARRAYS)
    back = FileShelf(tmp_path).taken("one")
    assert back is not None
    assert back.keys() == ARRAYS.keys()
    for name, array in ARRAYS.items():
        assert back[name].dtype == array.dtype
        assert back[name].tobytes() == array.tobytes()


def test_what_was_not_put_there_is_not_there(tmp_path: Path) -> None:
    shelf = FileShelf(tmp_path / "new")
    assert shelf.taken("one") is None
    shelf.put("one", ARRAYS)
    assert shelf.taken("other") is None


def test_only_its_user_may_read_it(tmp_path: Path) -> None:
    FileShelf(tmp_path / "new").put("one", ARRAYS)
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
    assert files(tmp_path / "new")[0].stat().st_mode & 0o777 == 0o600


def test_another_version_of_the_program_reads_nothing_of_this_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    FileShelf(tmp_path).put("one", ARRAYS)
    monkeypatch.setattr(shelves, "_program", lambda: "another")
    assert FileShelf(tmp_path).taken("one") is None


@pytest.mark.parametrize("seed", range(8))
def test_what_is_damaged_is_as_if_it_were_not_there(seed: int, tmp_path: Path) -> None:
    shelf, chance = FileShelf(tmp_path), random.Random(seed)
    shelf.put("one", ARRAYS)
    (path,) = files(tmp_path)
    whole = bytearray(path.read_bytes())
    whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    path.write_bytes(whole)
    assert shelf.taken("one") is None
    shelf.put("one", ARRAYS)
    assert shelf.taken("one") is not None


@pytest.mark.parametrize("inside", [b"", b"no archive", b"PK\x03\x04 nor this", b"\x93NUMPY\x01\x00 nor this"])
def test_what_is_no_archive_is_as_if_it_were_not_there(inside: bytes, tmp_path: Path) -> None:
    shelf = FileShelf(tmp_path)
    shelf.put("one", ARRAYS)
    (path,) = files(tmp_path)
    path.write_bytes(hashlib.sha256(inside).digest() + inside)
    assert shelf.taken("one") is None


def test_a_shelf_that_may_only_be_read_serves_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    FileShelf(tmp_path).put("one", ARRAYS)

    def refused(*_: object) -> None:
        raise PermissionError("read only")

    monkeypatch.setattr(os, "utime", refused)
    assert FileShelf(tmp_path).taken("one") is not None


@pytest.mark.parametrize("error", [FileNotFoundError("no files of Python"), ImportError("no metadata")])
def test_a_program_that_nothing_tells_from_another_version_keeps_nothing(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown() -> str:
        raise error

    monkeypatch.setattr(shelves, "_program", unknown)
    shelf = FileShelf(tmp_path)
    shelf.put("one", ARRAYS)
    assert shelf.taken("one") is None
    assert files(tmp_path) == []


def test_the_program_is_its_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelves, "__file__", str(tmp_path / "shelf.py"))
    digest = shelves._program.__wrapped__
    with pytest.raises(FileNotFoundError):
        digest()
    (tmp_path / "one.py").write_text("one = 1\n")
    (tmp_path / "two.toml").write_text("two = 2\n")
    (tmp_path / ".#editing.py").symlink_to(tmp_path / "nowhere")  # as an editor leaves it
    first = digest()
    (tmp_path / "two.toml").write_text("two = 3\n")
    second = digest()
    (tmp_path / "one.py").rename(tmp_path / "other.py")
    assert len({first, second, digest()}) == 3


@pytest.mark.parametrize("left", [0, 1, 31, 32, 100])
def test_what_was_cut_short_is_as_if_it_were_not_there(left: int, tmp_path: Path) -> None:
    shelf = FileShelf(tmp_path)
    shelf.put("one", ARRAYS)
    (path,) = files(tmp_path)
    path.write_bytes(path.read_bytes()[:left])
    assert shelf.taken("one") is None


def test_a_directory_in_its_place_stops_nothing(tmp_path: Path) -> None:
    shelf = FileShelf(tmp_path)
    shelf.put("one", ARRAYS)
    (path,) = files(tmp_path)
    path.unlink()
    path.mkdir()
    assert shelf.taken("one") is None
    shelf.put("one", ARRAYS)
    assert shelf.taken("one") is None


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a directory")
    shelf = FileShelf(tmp_path / "file")
    shelf.put("one", ARRAYS)
    assert shelf.taken("one") is None


def test_those_not_used_for_longest_make_room(tmp_path: Path) -> None:
    FileShelf(tmp_path / "other").put("size", ARRAYS)
    shelf = FileShelf(tmp_path, most_bytes=3 * files(tmp_path / "other")[0].stat().st_size)
    for day, name in enumerate(("one", "two", "three")):
        before = files(tmp_path)
        shelf.put(name, ARRAYS)
        (new,) = set(files(tmp_path)) - set(before)
        os.utime(new, (86400 * day, 86400 * day))
    assert shelf.taken("one") is not None  # used just now
    shelf.put("four", ARRAYS)
    assert [name for name in ("one", "two", "three", "four") if shelf.taken(name)] == ["one", "three", "four"]


def test_what_another_process_removed_or_cannot_be_removed_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = FileShelf(tmp_path, most_bytes=2000)
    (tmp_path / f"{'0' * 64}.dictionary").symlink_to(tmp_path / "removed meanwhile")
    (tmp_path / f"{'1' * 64}.dictionary").mkdir()
    for name in ("one", "two", "three"):
        shelf.put(name, ARRAYS)
        assert shelf.taken(name) is not None


def test_what_is_larger_than_all_there_may_be_is_not_kept(tmp_path: Path) -> None:
    shelf = FileShelf(tmp_path, most_bytes=200)
    shelf.put("one", ARRAYS)
    assert files(tmp_path) == []


def test_files_of_others_are_left_alone(tmp_path: Path) -> None:
    others = [tmp_path / name for name in ("record.toml", "my.dictionary", ".mine.tmp")]
    for path in others:
        path.write_bytes(b"x" * 5000)
        os.utime(path, (0, 0))
    FileShelf(tmp_path, most_bytes=4000).put("one", ARRAYS)
    assert all(path.exists() for path in others)
    assert len(files(tmp_path)) == 2


def test_what_was_left_half_way_makes_room_too(tmp_path: Path) -> None:
    half = tmp_path / ".0123456789abcdef.tmp"
    half.write_bytes(b"x" * 5000)
    os.utime(half, (0, 0))
    FileShelf(tmp_path, most_bytes=4000).put("one", ARRAYS)
    assert not half.exists()


def test_the_environment_says_where_or_that_nothing_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DIRECTORY, "")
    assert shelf_of_user() is None
    monkeypatch.setenv(DIRECTORY, str(tmp_path))
    shelf = shelf_of_user()
    assert shelf is not None
    shelf.put("one", ARRAYS)
    assert len(files(tmp_path / "dictionaries")) == 1
    monkeypatch.setenv(DIRECTORY, "near/by")  # of where one happens to stand
    assert shelf_of_user() is None


def test_by_default_it_is_the_users_directory_for_such_things(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(DIRECTORY)
    monkeypatch.setattr(shelves, "user_cache_path", lambda name, **_: tmp_path / name)
    shelf = shelf_of_user()
    assert shelf is not None
    shelf.put("one", ARRAYS)
    assert len(files(tmp_path / "benchcheck" / "dictionaries")) == 1


def test_a_user_without_a_home_keeps_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(DIRECTORY)
    monkeypatch.setattr(shelves, "user_cache_path", lambda name, **_: Path("~/.cache") / name)
    assert shelf_of_user() is None
