"""Bytes in and out: files read whole or refused with a reason, files written whole or not at all.

A file is refused by its size before it is read, and whatever the operating system has to say is put in words.
Writing goes through a temporary file in the same directory, so a reader sees the old file or the new one.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
from pathlib import Path

from benchcheck.errors import DocumentError, Fault, InputError

__all__ = ["digest_of", "read_bytes_capped", "read_text_capped", "write_atomically"]

SIZE_LIMIT_BYTES = 4_000_000
BYTE_ORDER_MARK = "\ufeff"
REASONS = {
    errno.ENOENT: "there is no such file; check the name",
    errno.ENOTDIR: "there is no such file; a part of its path is not a directory",
    errno.EACCES: "it may not be read; change its permissions",
    errno.EPERM: "it may not be read; change its permissions",
    errno.ELOOP: "its symbolic links lead in a circle; give the file itself",
    errno.ENAMETOOLONG: "its name is longer than the system allows; shorten it",
}
WRITE_REASONS = {
    errno.ENOENT: "its directory does not exist; create it, or choose another place",
    errno.ENOTDIR: "a part of its path is not a directory; choose another place",
    errno.EISDIR: "a directory stands in its place; choose another name",
    errno.EACCES: "its directory may not be written to; change its permissions, or choose another place",
    errno.EPERM: "its directory may not be written to; change its permissions, or choose another place",
    errno.EROFS: "the disk is read-only; choose another place",
    errno.ENOSPC: "the disk is full; make room, nothing was changed",
    errno.EDQUOT: "the quota is used up; make room, nothing was changed",
    errno.ENAMETOOLONG: "its name is longer than the system allows; shorten it",
}


def digest_of(text: str) -> str:
    """Return the SHA-256 of a text's UTF-8 bytes, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_text_capped(
    path: Path,
    size_limit_bytes: int = SIZE_LIMIT_BYTES,
    *,
    error: type[InputError] = DocumentError,
    name: str | None = None,
) -> str:
    """Return the text of a UTF-8 file; a byte-order mark at its start is dropped, line ends are kept.

    `error` is raised for a file that is missing, no plain file, unreadable, empty, too large, binary or not
    UTF-8; `name` is what messages call the file, its path by default.
    """
    shown_name = name or str(path)
    data = read_bytes_capped(path, size_limit_bytes, error=error, name=shown_name)
    return decode(data, shown_name, error).removeprefix(BYTE_ORDER_MARK)


def read_bytes_capped(
    path: Path, size_limit_bytes: int, *, error: type[InputError] = DocumentError, name: str | None = None
) -> bytes:
    """Return the bytes of a plain file no larger than the limit; `error` says why not."""
    shown_name = name or str(path)
    try:
        status = path.stat()
        _refuse_by_status(status, size_limit_bytes, shown_name, error)
        with path.open("rb") as file:
            data = file.read(size_limit_bytes + 1)
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the name
        raise error(Fault(shown_name, "", f"cannot be read: {_in_words(reason, REASONS)}")) from reason
    if len(data) > size_limit_bytes:
        raise error(Fault(shown_name, "", _too_large(len(data), size_limit_bytes)))
    return data


def _refuse_by_status(status: os.stat_result, size_limit_bytes: int, name: str, error: type[InputError]) -> None:
    """Raise for what is no plain file (a pipe would hang, a device never ends) and for what is too large."""
    if stat.S_ISDIR(status.st_mode):
        raise error(Fault(name, "", "is a directory; give a file in it"))
    if not stat.S_ISREG(status.st_mode):
        raise error(Fault(name, "", "is not a plain file; save it to a file first"))
    if status.st_size > size_limit_bytes:
        raise error(Fault(name, "", _too_large(status.st_size, size_limit_bytes)))


def _too_large(size_bytes: int, limit_bytes: int) -> str:
    return f"is {size_bytes / 1e6:.1f} MB and at most {limit_bytes / 1e6:g} MB are read; is this the right file?"


def _in_words(reason: Exception, reasons: dict[int, str]) -> str:
    if isinstance(reason, OSError) and reason.errno in reasons:
        return reasons[reason.errno]
    return f"{reason.strerror or reason}" if isinstance(reason, OSError) else str(reason)


def decode(data: bytes, name: str, error: type[InputError]) -> str:
    """Return bytes as text, byte-order mark included; `error` for what is empty, binary or not UTF-8."""
    if not data.removeprefix(b"\xef\xbb\xbf").strip():
        raise error(Fault(name, "", "is empty; nothing was read from it"))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise error(Fault(f"{name}:1", "", "is UTF-16; save it as UTF-8"))
    if b"\0" in data:
        raise error(Fault(name, "", f"is a binary file (byte {data.index(0)} is zero); give a text file"))
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as reason:
        line = data.count(b"\n", 0, reason.start) + 1
        message = f"is not UTF-8: byte {reason.start} is 0x{data[reason.start]:02X}; save it as UTF-8"
        raise error(Fault(f"{name}:{line}", "", message)) from reason


def write_atomically(path: Path, text: str, *, mode: int = 0o600, error: type[InputError] = DocumentError) -> None:
    """Put a text where `path` points, as UTF-8 and on the disk, or raise `error` and change nothing.

    A symbolic link is followed, so that the file it names is replaced. The new file has `mode`, whatever the
    umask says; the default lets only its owner read it (records are private).
    """
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError as reason:
        message = f"cannot be written: sign {reason.start} of its text is no character of Unicode; remove it"
        raise error(Fault(str(path), "", message)) from reason
    try:
        target = Path(os.path.realpath(path))
        _replace(target, data, mode)
    except (OSError, ValueError) as reason:
        raise error(Fault(str(path), "", f"cannot be written: {_in_words(reason, WRITE_REASONS)}")) from reason


def _replace(target: Path, data: bytes, mode: int) -> None:
    """Write beside the target, flush to the disk, and rename over it."""
    beside = target.parent / f".{os.urandom(8).hex()}.tmp"
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        with open(handle, "wb") as file:
            os.fchmod(handle, mode)
            file.write(data)
            file.flush()
            os.fsync(handle)
        os.replace(beside, target)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    _sync_directory(target.parent)


def _sync_directory(directory: Path) -> None:
    """Flush the rename itself; file systems that cannot do it for a directory are left alone."""
    handle = os.open(directory, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)
