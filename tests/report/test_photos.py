"""Photos on the sheet: found by what they hold, shown only where they are pictures, named where they are not."""

from __future__ import annotations

import base64
import hashlib
import struct
import zlib
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.record.journal import Journal
from benchcheck.record.record import Record, read_record
from benchcheck.report import photos
from benchcheck.report.bare_picture import bare_picture
from benchcheck.report.html import sheet_page
from benchcheck.report.photos import photos_of
from tests.record.samples import HEAD
from tests.report.hostile import NASTY
from tests.report.pages import assert_accessible, assert_inert, each, texts
from tests.report.test_bare_picture import MADE, SECRET


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


#: one grey pixel (PNG specification, W3C, clause 5 and 11).
PNG = b"".join(
    (
        b"\x89PNG\r\n\x1a\n",
        chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
        chunk(b"IDAT", zlib.compress(b"\x00\x80")),
        chunk(b"IEND", b""),
    )
)
#: one pixel (GIF89a, 18 to 22), smaller than the other.
GIF = b"GIF89a\1\0\1\0\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\1\0\1\0\0\2\2D\1\0;"
PICTURES = {kind: bare_picture(kind, data) for kind, data in MADE.values()}
NO_PICTURES = {
    "board.svg": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "board.png": b"<!DOCTYPE html><script>alert(1)</script>",
    "board.jpg": b"",
    "riff.webp": b"RIFF\n\x00\x00\x00WAVEfmt ",
}


def visit(records: Path, *named: tuple[str, bytes], check: str = "R14.resistance", note: str = "") -> Record:
    """A record that names photos, whether or not they are there."""
    with Journal.create(records, HEAD, FakeClock()) as journal:
        if note:
            journal.append_event("note", check, note)
        for name, data in named:
            journal.append_event("photo", check, f"{name} {hashlib.sha256(data).hexdigest()}")
    return read_record(journal.path)


def put(folder: Path, name: str, data: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)


@pytest.mark.parametrize(("kind", "data"), PICTURES.items())
def test_a_picture_that_holds_nothing_else_stands_in_the_page_byte_for_byte(
    tmp_path: Path, kind: str, data: bytes
) -> None:
    record = visit(tmp_path, ("a board.bin", data), note='the "new" part')
    put(record.path.parent, "a board.bin", data)
    tree = assert_accessible(sheet_page(record, photos_of(record)))
    assert_inert(tree)
    (image,) = each(tree, "img")
    head, _, held = image.attrib["src"].partition(";base64,")
    assert head == f"data:{kind}"
    assert base64.b64decode(held, validate=True) == data
    assert image.attrib["alt"] == 'Photo of R14.resistance: the "new" part'


@pytest.mark.parametrize(("kind", "data"), MADE.values(), ids=list(MADE))
def test_what_a_camera_wrote_into_a_photo_stays_out_of_the_page(tmp_path: Path, kind: str, data: bytes) -> None:
    record = visit(tmp_path, ("board", data))
    put(record.path.parent, "board", data)
    tree = assert_accessible(sheet_page(record, photos_of(record)))
    held = base64.b64decode(each(tree, "img")[0].attrib["src"].partition(";base64,")[2], validate=True)
    assert SECRET not in held
    assert held == bare_picture(kind, data)
    assert hashlib.sha256(data).hexdigest()[:16] in texts(tree)


def test_a_photo_that_cannot_be_followed_is_named_and_not_shown(tmp_path: Path) -> None:
    record = visit(tmp_path, ("board.png", PNG[:-12]))
    put(record.path.parent, "board.png", PNG[:-12])
    (found,) = photos_of(record)
    assert (found.source, found.why_not) == (
        "", "it ends too early, so that what a camera wrote into it cannot be left out"
    )  # fmt: skip


@pytest.mark.parametrize(("name", "data"), NO_PICTURES.items())
def test_what_is_no_picture_is_named_and_not_shown(tmp_path: Path, name: str, data: bytes) -> None:
    record = visit(tmp_path, (name, data))
    put(record.path.parent, name, data)
    tree = assert_accessible(sheet_page(record, photos_of(record)))
    assert_inert(tree)
    assert not each(tree, "img")
    assert name in texts(tree)
    assert "it is no PNG, JPEG, WebP or GIF" in texts(tree)
    assert hashlib.sha256(data).hexdigest() in texts(tree)


@pytest.mark.parametrize("place", [".", "photos", "../photos"])
def test_a_photo_is_found_by_its_digest_under_any_name(tmp_path: Path, place: str) -> None:
    record = visit(tmp_path, ("board.png", PNG))
    put(record.path.parent / place, "renamed.png", PNG)
    assert [bool(one.source) for one in photos_of(record)] == [True]
    assert [bool(one.source) for one in photos_of(record, (tmp_path / "elsewhere",))] == [False]


def test_another_picture_under_the_name_is_not_shown(tmp_path: Path) -> None:
    record = visit(tmp_path, ("board.png", PNG))
    put(record.path.parent, "board.png", PICTURES["image/gif"])
    (found,) = photos_of(record)
    assert (found.source, found.why_not) == ("", "the file of that name holds something else by now")


def test_a_photo_too_large_for_a_page_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = visit(tmp_path, ("a.png", PNG), ("b.png", PNG + b"x"), ("c.gif", GIF))
    for name, data in (("a.png", PNG), ("b.png", PNG + b"x"), ("c.gif", GIF)):
        put(record.path.parent, name, data)
    monkeypatch.setattr(photos, "LARGEST_BYTES", len(PNG))
    monkeypatch.setattr(photos, "_ALL_BYTES", len(PNG) + 5)
    assert [bool(one.source) for one in photos_of(record)] == [True, False, False]
    assert "larger than" in photos_of(record)[1].why_not
    assert "fill" in photos_of(record)[2].why_not


def test_a_photo_that_is_missing_is_named(tmp_path: Path) -> None:
    record = visit(tmp_path, ("board.png", PNG))
    page = texts(assert_accessible(sheet_page(record, photos_of(record))))
    assert "board.png" in page
    assert "it was not found" in page


@pytest.mark.parametrize("name", [NASTY, "../../etc/passwd", "x" * 5000, "."])
def test_a_hostile_name_stays_text_and_opens_no_other_folder(tmp_path: Path, name: str) -> None:
    record = visit(tmp_path / "records", (name, PNG), note=NASTY)
    put(record.path.parent / "..", "passwd", PNG)
    put(tmp_path, "passwd", PNG)
    found = photos_of(record)
    assert [one.source for one in found] == [""]
    assert_inert(assert_accessible(sheet_page(record, found)))
