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
import sys
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

        path = self._path(name)
        try:
            data = read_bytes_capped(path, _MOST_BYTES_EACH)
            os.utime(path)
        except (DocumentError, OSError):
            return None
        if hashlib.sha256(data[_DIGEST_BYTES:]).digest() != data[:_DIGEST_BYTES]:
            return None
        with np.load(io.BytesIO(data[_DIGEST_BYTES:]), allow_pickle=False) as kept:
            return {key: kept[key] for key in kept.files}

    def put(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep arrays under a name; where they are too large or cannot be written, nothing is done."""
        import numpy as np

        whole = io.BytesIO()
        np.savez(whole, **arrays)  # type: ignore[arg-type]  # the stub takes its own option's type for all names
        data = hashlib.sha256(whole.getbuffer()).digest() + whole.getvalue()
        if len(data) > min(self._most_bytes, _MOST_BYTES_EACH):
            return
        with suppress(DocumentError, OSError):
            self._directory.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._make_room(self._most_bytes - len(data))
            write_bytes_atomically(self._path(name), data)

    def _make_room(self, for_bytes: int) -> None:
        """Remove those not used for longest, so that the others take no more than this."""
        own = (path for pattern in _OWN for path in self._directory.glob(pattern))
        found = [(path.stat(), path) for path in own]
        together = 0
        for status, path in sorted(found, key=lambda each: each[0].st_mtime_ns, reverse=True):
            together += status.st_size
            if together > for_bytes:
                path.unlink(missing_ok=True)

    def _path(self, name: str) -> Path:
        return self._directory / f"{hashlib.sha256(f'{_program()} {name}'.encode()).hexdigest()}{_ENDING}"


def shelf_of_user() -> FileShelf | None:
    """Return where this user's dictionaries are kept; None where they are not to be."""
    named = os.environ.get(DIRECTORY)
    if named is not None:
        return FileShelf(Path(named)) if named else None
    usual = user_cache_path("benchcheck", appauthor=False)
    return FileShelf(usual / "dictionaries") if usual.is_absolute() else None  # "~" where nobody's home is known


@functools.cache
def _program() -> str:
    """Return a digest of what works dictionaries out: the package's files, Python, numpy and scipy."""
    from importlib.metadata import version

    package = Path(__file__).parent
    whole = hashlib.sha256(f"{sys.version} {version('numpy')} {version('scipy')}".encode())
    for path in sorted([*package.rglob("*.py"), *package.rglob("*.toml")]):
        data = path.read_bytes()
        whole.update(f"{path.relative_to(package).as_posix()} {len(data)} ".encode() + data)
    return whole.hexdigest()
