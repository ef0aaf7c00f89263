"""Bytes in and out: files read whole or refused with a reason, files written whole or not at all.

A file is refused by its size before it is read, and what the operating system has to say is put in words.
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

__all__ = [
    "decode",
    "digest_of",
    "printable",
    "read_bytes_capped",
    "read_text_capped",
    "write_atomically",
    "write_bytes_atomically",
]

SIZE_LIMIT_BYTES = 4_000_000
BYTE_ORDER_MARK = "\ufeff"
READING = {
    errno.ENOENT: "there is no such file; check the name",
    errno.ENOTDIR: "there is no such file, as a part of its path is no directory; check the name",
    errno.EACCES: "it may not be read; change its permissions",
    errno.EPERM: "it may not be read; change its permissions",
    errno.ELOOP: "its symbolic links lead in a circle; give the file itself",
    errno.ENAMETOOLONG: "its name is longer than the system allows; shorten it",
}
WRITING = {
    errno.ENOENT: "its directory does not exist; create it or choose another place",
    errno.ENOTDIR: "a part of its path is no directory; choose another place",
    errno.EISDIR: "a directory stands in its place; choose another name",
    errno.EACCES: "its directory may not be written to; change its permissions or choose another place",
    errno.EPERM: "its directory may not be written to; change its permissions or choose another place",
    errno.EROFS: "the disk is read-only; choose another place",
    errno.ENOSPC: "the disk is full; make room, nothing was changed",
    errno.EDQUOT: "the quota is used up; make room, nothing was changed",
    errno.ELOOP: "its symbolic links lead in a circle; give the file itself",
    errno.ENAMETOOLONG: "its name is longer than the system allows; shorten it",
}


def digest_of(text: str) -> str:
    """Return the SHA-256 of a text's UTF-8 bytes, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def printable(text: str) -> str:
    """Return a text with everything escaped that could move the cursor or hide in a message."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)


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
    data = read_bytes_capped(path, size_limit_bytes, error=error, name=name)
    return decode(data, name or str(path), error).removeprefix(BYTE_ORDER_MARK)


def read_bytes_capped(
    path: Path, size_limit_bytes: int, *, error: type[InputError] = DocumentError, name: str | None = None
) -> bytes:
    """Return the bytes of a plain file no larger than the limit; `error` says why not."""
    where = printable(name or str(path))
    try:
        _refuse_by_status(path.stat(), size_limit_bytes, where, error)
        with path.open("rb") as file:
            data = file.read(size_limit_bytes + 1)
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the name
        raise error(Fault(where, "", f"cannot be read: {_in_words(reason, READING)}")) from reason
    if len(data) > size_limit_bytes:  # it grew in between
        raise error(Fault(where, "", _too_large(len(data), size_limit_bytes)))
    return data


def _refuse_by_status(status: os.stat_result, size_limit_bytes: int, where: str, error: type[InputError]) -> None:
    """Raise for what is no plain file (a pipe would hang, a device never ends) and for what is too large."""
    if stat.S_ISDIR(status.st_mode):
        raise error(Fault(where, "", "is a directory; give a file in it"))
    if not stat.S_ISREG(status.st_mode):
        raise error(Fault(where, "", "is not a plain file; save it to a file first"))
    if status.st_size > size_limit_bytes:
        raise error(Fault(where, "", _too_large(status.st_size, size_limit_bytes)))


def _too_large(size_bytes: int, limit_bytes: int) -> str:
    size, limit = f"{size_bytes / 1e6:.3g} MB", f"{limit_bytes / 1e6:g} MB"
    return f"is {size}, and at most {limit} are read; check that it is the right file"


def _in_words(reason: Exception, words: dict[int, str]) -> str:
    if not isinstance(reason, OSError):
        return f"{reason}; check the name"
    return words.get(reason.errno or 0, f"the system says {reason.strerror or str(reason)!r}")


def decode(data: bytes, name: str, error: type[InputError] = DocumentError) -> str:
    """Return bytes as text, byte-order mark included; `error` for what is empty, binary or not UTF-8."""
    where = printable(name)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise error(Fault(f"{where}:1", "", "is UTF-16; save it as UTF-8"))
    if b"\0" in data:
        raise error(Fault(where, "", f"is a binary file (byte {data.index(0)} is zero); give a text file"))
    if not data.removeprefix(b"\xef\xbb\xbf").strip():
        raise error(Fault(where, "", "is empty; check that it was saved"))
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as reason:
        line = data.count(b"\n", 0, reason.start) + 1
        message = f"is not UTF-8: byte {reason.start} is 0x{data[reason.start]:02X}; save it as UTF-8"
        raise error(Fault(f"{where}:{line}", "", message)) from reason


def write_atomically(path: Path, text: str, *, mode: int = 0o600, error: type[InputError] = DocumentError) -> None:
    """Put a text where `path` points, as UTF-8, as `write_bytes_atomically` does."""
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError as reason:
        message = f"cannot be written: sign {reason.start} of its text is no character of Unicode; remove it"
        raise error(Fault(printable(str(path)), "", message)) from reason
    write_bytes_atomically(path, data, mode=mode, error=error)


def write_bytes_atomically(
    path: Path, data: bytes, *, mode: int = 0o600, error: type[InputError] = DocumentError
) -> None:
    """Put bytes where `path` points, on the disk, or raise `error` and change nothing.

    A symbolic link is followed, so that the file it names is replaced. The new file has `mode`, whatever the
    umask says; the default lets only its owner read it (records are private). Killed half-way it leaves the
    old file and at most a hidden `.tmp` beside it.
    """
    where = printable(str(path))
    try:
        target = Path(os.path.realpath(path))
        if target.exists() and not (target.is_file() or target.is_dir()):  # never rename over a device
            raise error(Fault(where, "", "is no plain file, and nothing else is replaced; write to a file"))
        _replace(target, data, mode)
    except (OSError, ValueError) as reason:
        raise error(Fault(where, "", f"cannot be written: {_in_words(reason, WRITING)}")) from reason
    _sync_directory(target.parent)


def _replace(target: Path, data: bytes, mode: int) -> None:
    """Write beside the target, flush to the disk, and rename over it."""
    beside = target.parent / f".{os.urandom(8).hex()}.tmp"
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with open(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(handle)
        beside.chmod(mode)
        os.replace(beside, target)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def _sync_directory(directory: Path) -> None:
    """Flush the rename itself; the file is in place already, so a directory that cannot be flushed is let be."""
    with contextlib.suppress(OSError):
        handle = os.open(directory, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
