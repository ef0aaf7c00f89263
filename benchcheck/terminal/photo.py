"""A photo named at the bench: its file name and SHA-256 go into the record, the file stays where it is."""

from __future__ import annotations

import hashlib
from pathlib import Path

from benchcheck.session.answers import Photo

__all__ = ["photo_at"]

_LARGEST_BYTES = 200_000_000


def photo_at(text: str) -> Photo | str:
    """Return the photo a path names, or in words why it is none."""
    path = Path(text.strip().strip("'\"")).expanduser()
    try:
        if not path.is_file():
            return f'"{path.name}" is not a file; write the path of the photo'
        if path.stat().st_size > _LARGEST_BYTES:
            return f'"{path.name}" is larger than {_LARGEST_BYTES // 1_000_000} MB; name a photo'
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        return f"it cannot be read: {getattr(error, 'strerror', None) or error}"
    if not path.name.isprintable():
        return "its name holds signs that cannot be printed; rename it"
    return Photo(path.name, digest)
