"""The photos a record names, found again by their SHA-256 and made part of a page.

A record keeps name and digest only; the file stays where it was taken to. What is shown is what the digest vouches
for, and only picture formats that cannot run anything, told by their first bytes and never by their name. What a
camera wrote into them (place, time, serial number) stays out of the page.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from markupsafe import Markup

from benchcheck.record.model import Event, EventKind
from benchcheck.record.record import Record
from benchcheck.report.bare_picture import NotFollowed, bare_picture
from benchcheck.report.wording import one_line

__all__ = ["LARGEST_BYTES", "Picture", "photo_folders", "photos_of"]

#: bytes of one photo that a page may hold, and of all of them; four thirds of it in the page.
LARGEST_BYTES = 10_000_000
_ALL_BYTES = 60_000_000
#: files of a folder that are looked at for a photo that has another name by now.
_FILES = 2000
_TEXT = re.compile(r"(?P<name>.*) (?P<digest>[0-9a-f]{64})", re.DOTALL)
#: how files begin: PNG (W3C, 5.2), JPEG (ITU-T T.81, B.1.1.3: SOI and a marker), GIF89a (17), WebP (RFC 9649, 2.4).
_BEGINNINGS = (
    (re.compile(rb"\x89PNG\r\n\x1a\n"), "image/png"),
    (re.compile(rb"\xff\xd8\xff"), "image/jpeg"),
    (re.compile(rb"GIF8[79]a"), "image/gif"),
    (re.compile(rb"RIFF....WEBP", re.DOTALL), "image/webp"),
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo as a page shows it: `source` is a data URI, "" where `why_not` says what it is not shown for.

    `digest` is that of the file; what `source` holds is the picture in it without its metadata.
    """

    check: str
    name: str
    digest: str
    words: str
    source: str = ""
    why_not: str = ""


def photo_folders(record: Record) -> tuple[Path, ...]:
    """Return where photos are looked for unless told: beside the record, in `photos` there, in that of all units."""
    unit = record.path.parent
    return (unit, unit / "photos", unit.parent / "photos")


def photos_of(record: Record, folders: Sequence[Path] | None = None) -> tuple[Picture, ...]:
    """Return every photo the record names, in its order, with what `folders` hold of them."""
    found = []
    room = _ALL_BYTES
    known: dict[str, bytes | str] = {}
    for event in record.events:
        match = _TEXT.fullmatch(event.text) if event.kind is EventKind.PHOTO else None
        if match is None:
            continue
        name, digest = match["name"], match["digest"]
        if digest not in known:
            known[digest] = _looked_up(photo_folders(record) if folders is None else folders, name, digest)
        data = known[digest]
        if isinstance(data, bytes) and len(data) > room:
            data = f"the photos before it fill {_ALL_BYTES // 1_000_000} MB already"
        room -= len(data) if isinstance(data, bytes) else 0
        found.append(_picture(event, name, digest, _notes(record, event.check), data))
    return tuple(found)


def _notes(record: Record, check: str) -> str:
    """Return what was noted of a check, for those who do not see the photo."""
    noted = [one.text for one in record.events if one.kind is EventKind.NOTE and one.check == check]
    read = [one.note for one in record.readings if one.note and one.check == check]
    return "; ".join((*noted, *read))


def _picture(event: Event, name: str, digest: str, notes: str, data: bytes | str) -> Picture:
    about = f"Photo of {event.check}" if event.check else "Photo of the unit"
    words = one_line(f"{about}: {notes}" if notes else about, 300)
    if isinstance(data, str):
        return Picture(event.check, name, digest, words, why_not=data)
    kind = _media_type(data)
    if not kind:
        return Picture(event.check, name, digest, words, why_not="it is no PNG, JPEG, WebP or GIF")
    try:
        bare = bare_picture(kind, data)
    except NotFollowed as error:
        why_not = f"{error}, so that what a camera wrote into it cannot be left out"
        return Picture(event.check, name, digest, words, why_not=why_not)
    return Picture(event.check, name, digest, words, Markup(f"data:{kind};base64,") + base64.b64encode(bare).decode())


def _media_type(data: bytes) -> str:
    return next((kind for beginning, kind in _BEGINNINGS if beginning.match(data)), "")


def _looked_up(folders: Sequence[Path], name: str, digest: str) -> bytes | str:
    """Return the bytes that have the digest, or why there are none."""
    other = ""
    for path in _candidates(folders, name):
        try:
            if not path.is_file():
                continue
            if path.stat().st_size > LARGEST_BYTES:
                other = other or (f"it is larger than {LARGEST_BYTES // 1_000_000} MB" if path.name == name else "")
                continue
            data = path.read_bytes()
        except (OSError, ValueError):
            continue
        if hashlib.sha256(data).hexdigest() == digest:
            return data
        if path.name == name:
            other = "the file of that name holds something else by now"
    return other or "it was not found; --photos names the folder"


def _candidates(folders: Sequence[Path], name: str) -> Iterator[Path]:
    """Yield files that may be the photo: those of its name first, then the others in the folders."""
    if name == Path(name).name:
        yield from (folder / name for folder in folders)
    for folder in folders:
        try:
            yield from islice((path for path in sorted(folder.iterdir()) if path.name != name), _FILES)
        except (OSError, ValueError):
            continue
