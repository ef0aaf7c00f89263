"""A person at the guided screen: a process on a pseudo-terminal, its output kept as the screen would show it."""

from __future__ import annotations

import fcntl
import os
import pathlib
import select
import signal
import struct
import termios
import time
from collections.abc import Callable

from tests.terminal.glass import Glass
from tests.terminal.pseudo import Person

PATIENCE_S = 60.0


class DeskPerson(Person):
    """Presses keys and looks at the screen."""

    def __init__(self, folder: pathlib.Path, *command: str, **environment: str) -> None:
        super().__init__(folder, *command, **environment)
        self.glass = Glass()

    def look(self, timeout_s: float = 0.05) -> bool:
        """Take in what came; return whether anything did."""
        if not select.select([self._master], [], [], timeout_s)[0]:
            return False
        try:
            data = os.read(self._master, 1 << 16)
        except OSError:
            return False
        self.screen += data.decode("utf-8", "replace")
        self._let_slave_go()
        self.glass.write(self._whole(data.decode("utf-8", "replace")))
        return True

    _cut = ""

    def _whole(self, text: str) -> str:
        """Return text up to the last complete sequence; the rest waits for what comes next."""
        text, self._cut = self._cut + text, ""
        at = text.rfind("\x1b")
        if at >= 0 and not any(sign.isalpha() for sign in text[at:]):
            text, self._cut = text[:at], text[at:]
        return text

    def sees(self, words: str) -> str:
        """Look until the words stand on the screen, and return the screen."""
        return self._until(lambda: words in " ".join(self.glass.text.split()), words)

    def at(self, check: str) -> str:
        """Look until a check is the one that is asked for, and return the screen."""
        return self._until(lambda: check in self.glass.lines[:4], check)

    def _until(self, there: Callable[[], bool], words: str) -> str:
        until_s = time.monotonic() + PATIENCE_S
        while not there():
            assert time.monotonic() < until_s, f"{words!r} is not there:\n{self.glass.text}"
            if not self.look(0.2) and self.process.poll() is not None:
                raise AssertionError(f"it ended with {self.process.returncode}:\n{self.screen[-3000:]}")
        return self.glass.text

    def resize(self, columns: int, rows: int) -> None:
        """Give the window another size, as dragging its corner does."""
        self.glass = Glass(columns, rows)
        fcntl.ioctl(self._master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        os.kill(self.process.pid, signal.SIGWINCH)

    def modes(self) -> int:
        """Return the local modes of the terminal: whether it echoes and waits for lines."""
        found: int = termios.tcgetattr(self._master)[3]
        return found

    def finish(self) -> int:
        """Take in the rest without a screen to hold it, take nothing back, and return the exit code."""
        seen = 0
        while self.look_at_rest():
            if "That was the last check" in self.screen[seen:]:
                seen = len(self.screen)
                self.press(b"\r")
        return self.process.wait(PATIENCE_S)

    def look_at_rest(self) -> bool:
        ready = select.select([self._master], [], [], PATIENCE_S)[0]
        try:
            data = os.read(self._master, 1 << 16) if ready else b""
        except OSError:
            return False
        self.screen += data.decode("utf-8", "replace")
        return bool(data)
