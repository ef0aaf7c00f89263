"""Single keys from a terminal: no Enter, no echo, and the terminal put back as it was whatever happens.

What comes in one burst longer than a hand can type is pasted text, never keys: a megabyte pasted by accident undoes
nothing and stops nothing. Sequences of cursor and function keys are passed over. Ctrl-C stays an interrupt.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import select
import signal
import sys
import termios
import threading
import tty
from dataclasses import dataclass
from types import FrameType
from typing import Any, Self

from benchcheck.terminal.signals import notice_hang_up

__all__ = ["Key", "Keyboard", "keys_in"]

_ESCAPE = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|O[@-~]|[@-_a-z])?")
_PASTE_BEGINS, _PASTE_ENDS = "\x1b[200~", "\x1b[201~"
_BURST = 24  # more signs than this in one read were not typed
_LONGEST_PASTE = 4096
_CHUNK = 65536
_NAMES = {"\r": "enter", "\n": "enter", "\x7f": "back", "\b": "back", "\x04": "end", "\x15": "clear", "\t": "tab"}


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its `name` ("enter", "back", "clear", "escape", "end", "tab", "sign", "paste"), and its text."""

    name: str
    text: str = ""


def keys_in(text: str) -> list[Key]:
    """Return the keys a burst of input holds.

    >>> [key.name for key in keys_in("u\\x1b[A\\r")]
    ['sign', 'enter']
    >>> keys_in("0123456789" * 10)[0].name
    'paste'
    """
    pasted = text.find(_PASTE_BEGINS) >= 0
    bare = text.replace(_PASTE_BEGINS, "").replace(_PASTE_ENDS, "")
    plain = _ESCAPE.sub("", bare)
    if pasted or len(plain) > _BURST:
        return [Key("paste", plain[:_LONGEST_PASTE])]
    if not plain:
        return [Key("escape")] if bare == "\x1b" else []
    return [
        Key(_NAMES[sign], sign) if sign in _NAMES else Key("sign", sign)
        for sign in plain
        if sign in _NAMES or sign.isprintable()
    ]


class Keyboard:
    """The keyboard of a terminal, as a context; `wake` may be called from any thread to end a wait."""

    def __init__(self, descriptor: int | None = None) -> None:
        """Take standard input unless told otherwise; nothing is changed yet."""
        self._input = sys.stdin.fileno() if descriptor is None else descriptor
        self._before: list[Any] | None = None
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._reading, self._writing = -1, -1
        self._woken_before = -1
        self._resized: Any = None
        self._pasting = False

    def __enter__(self) -> Self:
        """Listen key by key."""
        self._reading, self._writing = os.pipe()
        os.set_blocking(self._reading, False)
        os.set_blocking(self._writing, False)
        self._before = termios.tcgetattr(self._input)
        tty.setcbreak(self._input, termios.TCSADRAIN)
        modes = termios.tcgetattr(self._input)
        modes[6][termios.VSUSP] = b"\x00"  # Ctrl-Z would leave a powered unit alone with a stopped process
        termios.tcsetattr(self._input, termios.TCSADRAIN, modes)
        if threading.current_thread() is threading.main_thread():
            self._woken_before = signal.set_wakeup_fd(self._writing, warn_on_full_buffer=False)
            self._resized = signal.signal(signal.SIGWINCH, _notice)
        return self

    def __exit__(self, *_: object) -> None:
        """Put the terminal back."""
        if threading.current_thread() is threading.main_thread():
            signal.set_wakeup_fd(self._woken_before)
            signal.signal(signal.SIGWINCH, self._resized or signal.SIG_DFL)
        with contextlib.suppress(OSError, termios.error):
            termios.tcsetattr(self._input, termios.TCSADRAIN, self._before or [])
        for end in (self._reading, self._writing):
            os.close(end)

    def wake(self) -> None:
        """End the wait of whoever listens."""
        with contextlib.suppress(OSError):
            os.write(self._writing, b".")

    def keys(self, timeout_s: float) -> list[Key]:
        """Return the keys pressed, waiting for at most `timeout_s`; EOFError when the terminal is gone."""
        ready, _, _ = select.select([self._input, self._reading], [], [], max(0.0, timeout_s))
        if self._reading in ready:
            with contextlib.suppress(BlockingIOError):
                os.read(self._reading, 4096)
        if self._input not in ready:
            return []
        try:
            data = os.read(self._input, _CHUNK)
        except OSError as error:
            notice_hang_up(self._input)
            raise EOFError from error
        if not data:
            notice_hang_up(self._input)
            raise EOFError
        return self._told_apart(self._decoder.decode(data))

    def _told_apart(self, text: str) -> list[Key]:
        """Return the keys of a burst; what follows the beginning of a paste is thrown away up to its end."""
        if self._pasting:
            self._pasting = _PASTE_ENDS not in text
            return []
        self._pasting = _PASTE_BEGINS in text and _PASTE_ENDS not in text
        return keys_in(text)


def _notice(number: int, frame: FrameType | None) -> None:
    """Let the wait end, so that a resized window is drawn anew."""
