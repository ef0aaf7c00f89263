"""Fault dictionaries kept between runs, in the user's directory of things that can be made again.

To work one out takes seconds, and a repairer asks after every reading. A file is called by a digest of what the
dictionary is of and of the program's own files, so another version never reads it. One that is damaged, or of which
there is no room, is as if it were not there: what is kept makes an answer quicker and never another one.
"""

from __future__ import annotations

import functools
import hashlib
import io
import os
import platform
import sys
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from platformdirs import user_cache_path

from benchcheck.document import read_bytes_capped, write_bytes_atomically
from benchcheck.errors import DocumentError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["DIRECTORY", "FileShelf", "shelf_of_user"]

#: the environment variable that names another directory, or, empty, none.
DIRECTORY = "BENCHCHECK_DICTIONARIES"
#: what all files together may take, and one of them.
_MOST_BYTES, _MOST_BYTES_EACH = 500_000_000, 250_000_000
_ENDING = ".dictionary"
#: files of this directory's own, those left half-way by what was killed among them.
_OWN = f"{'[0-9a-f]' * 64}{_ENDING}", f".{'[0-9a-f]' * 16}.tmp"
_DIGEST_BYTES = 32
#: what a file that cannot be had, or is none of these, is told by: an answer comes all the same.
_NOT_THERE = (DocumentError, OSError, ValueError, EOFError, KeyError, MemoryError, ImportError, zipfile.BadZipFile)


class FileShelf:
    """Dictionaries as files in one directory; those not used for longest make room for new ones.

    A file is the SHA-256 of the rest of it, then an archive of numpy's.
    """

    def __init__(self, directory: Path, most_bytes: int = _MOST_BYTES) -> None:
        """Take the directory, made when the first is put there, and how much there may be in it."""
        self._directory, self._most_bytes = directory, most_bytes

    def taken(self, name: str) -> dict[str, NDArray[Any]] | None:
        """Return the arrays kept under a name, None where there are none that can be read."""
        import numpy as np  # heavy

        with suppress(*_NOT_THERE):
            path = self._path(name)
            data = memoryview(read_bytes_capped(path, _MOST_BYTES_EACH))
            with suppress(OSError):  # of a shelf that may only be read
                os.utime(path)
            if hashlib.sha256(data[_DIGEST_BYTES:]).digest() == data[:_DIGEST_BYTES]:
                with np.load(io.BytesIO(data[_DIGEST_BYTES:]), allow_pickle=False) as kept:
                    return {key: kept[key] for key in kept.files}
        return None

    def put(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep arrays under a name; where they are too large or cannot be written, nothing is done."""
        import numpy as np

        whole = io.BytesIO()
        with suppress(*_NOT_THERE):
            np.savez(whole, **arrays)  # type: ignore[arg-type]  # the stub takes its own option's type for all names
            data = hashlib.sha256(whole.getbuffer()).digest() + whole.getbuffer()
            if len(data) > min(self._most_bytes, _MOST_BYTES_EACH):
                return
            self._directory.mkdir(mode=0o700, parents=True, exist_ok=True)
            path = self._path(name)
            write_bytes_atomically(path, data)
            self._make_room(self._most_bytes - len(data), path)

    def _make_room(self, for_bytes: int, new: Path) -> None:
        """Remove those not used for longest, so that all but the new one take no more than this."""
        found = []
        for path in {path for pattern in _OWN for path in self._directory.glob(pattern)} - {new}:
            with suppress(OSError):  # another process made room
                found.append((path.stat(), path))
        together = 0
        for status, path in sorted(found, key=lambda each: each[0].st_mtime_ns, reverse=True):
            together += status.st_size
            if together > for_bytes:
                with suppress(OSError):
                    path.unlink()

    def _path(self, name: str) -> Path:
        return self._directory / f"{hashlib.sha256(f'{_program()} {name}'.encode()).hexdigest()}{_ENDING}"


def shelf_of_user() -> FileShelf | None:
    """Return where this user's dictionaries are kept; None where they are not to be."""
    named = os.environ.get(DIRECTORY)
    if named == "":
        return None
    place = user_cache_path("benchcheck", appauthor=False) if named is None else Path(named).expanduser()
    return FileShelf(place / "dictionaries") if place.is_absolute() else None  # "~" where nobody's home is known


@functools.cache
def _program() -> str:
    """Return a digest of what works dictionaries out: the package's files, Python, numpy, scipy, the machine.

    Raises OSError where the package is no directory of files: then nothing tells one version from another.
    """
    from importlib.metadata import version

    package = Path(__file__).parent
    versions = sys.version, platform.machine(), version("numpy"), version("scipy")
    whole = hashlib.sha256(repr(versions).encode())
    paths = [path for path in sorted([*package.rglob("*.py"), *package.rglob("*.toml")]) if path.is_file()]
    if not paths:
        raise FileNotFoundError(f"{package} has no files of Python")
    for path in paths:
        data = path.read_bytes()
        whole.update(f"{path.relative_to(package).as_posix()} {len(data)} ".encode() + data)
    return whole.hexdigest()
