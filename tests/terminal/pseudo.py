"""A person at a pseudo-terminal of 80 columns: reads the screen up to a prompt, types a line."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pathlib
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
from types import TracebackType
from typing import Self

from tests.cli.scratch import clean_environment

PATIENCE_S = 60.0
_GLANCE_S = 0.1
_ANSI = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x07")
_PROMPT = re.compile(r"\n> $|(yes or no|for none) > $")
_LAST_WORD = "and again the one before it.\n> "
_CHECK = re.compile(r"^\d+ of \d+  (\S+)", re.MULTILINE)
_OWN = re.compile(r"^(\d+) of (\d+)  meter\.\S+", re.MULTILINE)

#: makes the terminal named first the process's own, so that Ctrl-C and a closed window reach it, whatever signals
#: whoever began the tests has ignored (a shell does so in the background); then runs the rest.
_OWN_TERMINAL = """
import fcntl, os, signal, sys, termios
for each in (signal.SIGINT, signal.SIGQUIT, signal.SIGHUP):
    signal.signal(each, signal.SIG_DFL)
terminal = os.open(sys.argv[1], os.O_RDWR)
fcntl.ioctl(terminal, termios.TIOCSCTTY, 0)
for handle in range(3):
    os.dup2(terminal, handle)
os.execv(sys.argv[2], sys.argv[2:])
"""


class Person:
    """One process in a session of its own, with its terminal held here."""

    def __init__(self, folder: pathlib.Path, *command: str, **environment: str) -> None:
        self.screen = ""
        self._new = ""
        self._master, self._slave = pty.openpty()
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.process = subprocess.Popen(
            [sys.executable, "-S", "-c", _OWN_TERMINAL, os.ttyname(self._slave), sys.executable, "-m", *command],
            cwd=folder,
            start_new_session=True,
            env=clean_environment(**{"TERM": "xterm-256color", **environment}),
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for handle in (self._master, self._slave):
            if handle >= 0:
                os.close(handle)

    def prompted(self) -> str:
        """Read on to the next prompt and return what came since the last, without colour."""
        while not _PROMPT.search(self._new):
            if not self._read():
                raise AssertionError(f"no prompt came; the screen says:\n{self.screen}")
        self._let_slave_go()
        told, self._new = self._new, ""
        return told

    def asked(self) -> str:
        """Read on to the next prompt and return the check it asks for."""
        told = self.prompted()
        if "Is every cell out" in told:
            self.type("yes")
            told = self.prompted()
        found: list[str] = _CHECK.findall(told)
        return found[-1]

    def leave_own_checks_out(self) -> Self:
        """Leave out the meter's own checks, with which a visit begins at a terminal; return itself."""
        left = True
        while left:
            found = _OWN.search(self.prompted())
            assert found is not None, self.screen
            left = found[1] != found[2]
            self.type("later")
        return self

    def _let_slave_go(self) -> None:
        if self._slave >= 0:
            os.close(self._slave)
            self._slave = -1

    def type(self, line: str) -> None:
        os.write(self._master, line.encode() + b"\n")

    def press(self, keys: bytes) -> None:
        os.write(self._master, keys)

    def end(self) -> int:
        """Read on to the end, taking nothing back when that is asked, and return the exit code."""
        while self._read():
            if _LAST_WORD in self._new:
                self._new = ""
                self.type("")
        return self.process.wait(PATIENCE_S)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(PATIENCE_S)

    def hang_up(self) -> None:
        """Close the terminal, as shutting its window does."""
        os.close(self._master)
        self._master = -1

    def _read(self) -> bool:
        ready: list[int] = []
        for _ in range(int(PATIENCE_S / _GLANCE_S)):
            ready, _, _ = select.select([self._master], [], [], _GLANCE_S)
            if ready:
                break
            if self.process.poll() is not None:
                self._let_slave_go()  # nobody else holds it now, so the next read says end
        if not ready:
            raise AssertionError(f"nothing came for {PATIENCE_S:g} s; the screen says:\n{self.screen}")
        data = b""
        with contextlib.suppress(OSError):  # the other side is closed
            data = os.read(self._master, 65536)
        text = _ANSI.sub("", data.decode("utf-8", "replace")).replace("\r\n", "\n")
        self.screen += text
        self._new += text
        return bool(data)
