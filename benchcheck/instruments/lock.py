"""One owner per instrument, across processes: an advisory lock on a file named after the resource.

Neither a raw socket nor a serial port is exclusive by itself, and two programs on one instrument read each
other's answers without any error. The operating system drops the lock when its process dies.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import tempfile
from pathlib import Path

from benchcheck.clock import Clock
from benchcheck.errors import InstrumentError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

__all__ = ["ResourceLock"]

POLL_S = 0.05


class ResourceLock:
    """The lock of one resource; `name` is what messages call the instrument."""

    def __init__(self, name: str, resource: str, clock: Clock, directory: Path | None = None) -> None:
        """Name the lock file after the resource, in the machine's directory for temporary files."""
        digest = hashlib.sha256(resource.strip().upper().encode()).hexdigest()[:24]
        self._path = (directory or Path(tempfile.gettempdir())) / f"benchcheck-{digest}.lock"
        self._name = name
        self._clock = clock
        self._descriptor: int | None = None

    def acquire(self, wait_s: float = 0.0) -> None:
        """Take the lock; InstrumentError when another process still holds it after `wait_s` seconds."""
        if self._descriptor is not None:
            return
        deadline_s = self._clock.monotonic_s() + wait_s
        descriptor = _open_shared(self._path)
        while not _try_lock(descriptor):
            if self._clock.monotonic_s() >= deadline_s:
                os.close(descriptor)
                raise InstrumentError(
                    f"{self._name}: another process on this machine is using this instrument; "
                    "end it, or wait until its visit is over"
                )
            self._clock.sleep(POLL_S)
        self._descriptor = descriptor

    def release(self) -> None:
        """Give the lock back; a second call does nothing."""
        if self._descriptor is not None:
            with contextlib.suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = None


def _open_shared(path: Path) -> int:
    """Open the lock file for any user of the machine, without following a link somebody planted."""
    flags = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        descriptor = os.open(path, flags | os.O_CREAT | os.O_EXCL, 0o666)
    except FileExistsError:
        return _open_existing(path, flags)
    with contextlib.suppress(OSError, AttributeError):
        os.fchmod(descriptor, 0o666)  # the umask would keep other users from locking it
    return descriptor


def _open_existing(path: Path, flags: int) -> int:
    try:
        return os.open(path, flags)
    except OSError as reason:
        raise InstrumentError(
            f"the lock file {path.name} of an instrument cannot be opened: {reason.strerror}; remove it by hand"
        ) from reason


def _try_lock(descriptor: int) -> bool:
    try:
        if sys.platform == "win32":
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
