"""The record's file on the disk: made once, locked by whoever appends, cut back only after a copy was kept."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from benchcheck.errors import Fault, RecordError

__all__ = [
    "TornTail",
    "create_record",
    "draw_id",
    "flush_folder",
    "make_folder",
    "open_record",
    "read_all",
    "set_tail_aside",
]

_FLAGS = os.O_RDWR | os.O_APPEND | os.O_CLOEXEC
_ATTEMPTS = 100
_ADVICE = {
    errno.ENOSPC: "the disk is full; make room",
    errno.EDQUOT: "the quota is used up; make room",
    errno.EROFS: "the disk is read-only; choose another place with --records",
    errno.EACCES: "it may not be written to; change its permissions, or choose another place with --records",
    errno.EPERM: "it may not be written to; change its permissions, or choose another place with --records",
    errno.ENOTDIR: "a file stands where a folder should be; move it away, or choose another place with --records",
    errno.EEXIST: "a file stands where a folder should be; move it away, or choose another place with --records",
    errno.ENOENT: "it is not there; check the name",
    errno.EISDIR: "it is a folder; name a record in it",
    errno.ENOLCK: "it cannot be locked here; keep records on a disk of this computer",
    errno.ENOTSUP: "it cannot be locked here; keep records on a disk of this computer",
}


@dataclass(frozen=True, slots=True)
class TornTail:
    """What was left of a write that was cut short: the file it was moved to and its length in bytes."""

    path: Path
    size_bytes: int

    def __str__(self) -> str:
        """Return what happened in words."""
        return f"{self.size_bytes} bytes of a write that was cut short were moved to {self.path.name}"


def draw_id() -> str:
    """Return a short id that keeps two records apart that were begun within one second."""
    return secrets.token_hex(4)


def create_record(path: Path, head: bytes) -> int:
    """Return the handle of a new, locked record file that holds the head, flushed to the disk.

    Raises RecordError, with no file left behind, where the folder or the file cannot be written.
    """
    try:
        make_folder(path.parent)
        handle = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise _refused(path.parent, "no record can be begun here", error) from error
    try:
        _lock(handle)
        view = memoryview(head)
        while view:
            view = view[os.write(handle, view) :]
        os.fsync(handle)
        flush_folder(path.parent)
    except BaseException as error:
        with contextlib.suppress(OSError):
            path.unlink()
        os.close(handle)
        if isinstance(error, OSError):
            raise _refused(path.parent, "no record can be begun here", error) from error
        raise
    return handle


def open_record(path: Path) -> int:
    """Return a locked handle for appending to a record.

    Raises RecordError where it cannot be opened, or another process is appending to it.
    """
    try:
        handle = os.open(path, _FLAGS)
    except (OSError, ValueError) as error:
        raise _refused(path, "cannot be resumed", error) from error
    try:
        _lock(handle)
    except OSError as error:
        os.close(handle)
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES):
            message = "another benchcheck is writing to this record; let it finish or close it, then try again"
            raise RecordError(Fault(path.name, "", message)) from error
        raise _refused(path, "cannot be resumed", error) from error
    return handle


def read_all(handle: int) -> bytes:
    """Return the bytes of an open file, wherever its position is."""
    pieces: list[bytes] = []
    size = 0
    while piece := os.pread(handle, 1 << 20, size):
        pieces.append(piece)
        size += len(piece)
    return b"".join(pieces)


def set_tail_aside(path: Path, handle: int, data: bytes, keep_bytes: int) -> TornTail:
    """Move what stands after `keep_bytes` to a `.torn` file beside, flushed before the record is cut."""
    tail = data[keep_bytes:]
    for number in range(1, _ATTEMPTS):
        torn = path.with_name(f"{path.name}.torn" if number == 1 else f"{path.name}.{number}.torn")
        try:
            copy = os.open(torn, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        except FileExistsError:
            continue
        try:
            with open(copy, "wb") as file:
                file.write(tail)
                file.flush()
                os.fsync(copy)
            flush_folder(path.parent)
        except BaseException:
            with contextlib.suppress(OSError):
                torn.unlink()
            raise
        os.ftruncate(handle, keep_bytes)
        os.fsync(handle)
        return TornTail(torn, len(tail))
    raise RecordError(Fault(path.name, "", "too many .torn files stand beside it; move them away"))


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, for the owner only, and flush the names of new ones to the disk."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700)
        flush_folder(folder.parent)
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))


def flush_folder(folder: Path) -> None:
    """Flush the names in a folder to the disk; file systems that cannot are left alone."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(handle)


def _lock(handle: int) -> None:
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _refused(path: Path, what: str, error: Exception) -> RecordError:
    reason = str(error)
    if isinstance(error, OSError):
        reason = _ADVICE.get(error.errno or 0) or error.strerror or reason
    return RecordError(Fault(str(path), "", f"{what}: {reason}"))
