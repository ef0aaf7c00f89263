"""Single keys from a terminal: no Enter, no echo, and the terminal put back as it was whatever happens.

What the terminal marks as pasted, and what comes in one burst of several lines or longer than a hand can type, is
text and never keys: a megabyte pasted by accident undoes nothing. Different signs of a shorter burst, as a slow line
hands typing over, know that they came so: none is a key by itself. Cursor and function keys are keys without a
meaning: they switch power off like any other. Ctrl-C stays an interrupt; Ctrl-Z is a key, so that power is off first.
"""

from __future__ import annotations

import codecs
import contextlib
import math
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

from benchcheck.clock import SystemClock
from benchcheck.terminal.signals import notice_hang_up

__all__ = ["Key", "Keyboard", "keys_in"]

_ESCAPE = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|O[@-~]|[@-_a-z])?")
_PASTE_BEGINS, _PASTE_ENDS = "\x1b[200~", "\x1b[201~"
_BURST = 24  # more signs than this in one read were not typed
_FEW = 2  # fewer different signs are one key, pressed or held down
_LONGEST_PASTE = 4096
#: more behind the end of a line: several lines in one read were not typed.
_LINES = re.compile(r"[\r\n](?=[^\r\n])")
_CHUNK = 65536
#: what comes so soon after pasted text without brackets is its end; no hand presses a key between.
_TAIL_S = 0.15
#: a short paste that comes in pieces is whole by then; one whose end does not come for so long has lost it.
_PIECES_S, _LOST_S = 0.2, 1.0
#: an escape sequence that was cut is completed sooner than this; what is not is the Escape key.
_CUT_S = 0.03
#: the beginning of an escape sequence that has not ended.
_CUT = re.compile(r"\x1b(?:\[[0-9;?]*[ -/]*|O)?\Z")
_NAMES = {"\r": "enter", "\n": "enter", "\x7f": "back", "\b": "back", "\x04": "end", "\x15": "clear", "\t": "tab"}
_NAMES["\x1a"] = "suspend"
_NO_SIGN = b"\x00"  # stands for none among a terminal's control characters


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its `name`, and its text.

    `came` is "run" where it came in one piece with other signs, "line" where their Enter did as well, else "".
    Names are "enter", "back", "clear", "escape", "end", "tab", "suspend", "sign", "paste", and "other" for what means
    nothing anywhere: cursor keys, function keys, control characters.
    """

    name: str
    text: str = ""
    came: str = ""


def keys_in(text: str) -> list[Key]:
    """Return the keys a burst of input holds.

    >>> [key.name for key in keys_in("u\\x1b[A\\r")]
    ['sign', 'enter']
    >>> keys_in("0123456789" * 10)[0].name
    'paste'
    >>> [key.came for key in keys_in("q!\\r")]
    ['line', 'line', 'line']
    """
    pasted = text.find(_PASTE_BEGINS) >= 0
    bare = text.replace(_PASTE_BEGINS, "").replace(_PASTE_ENDS, "")
    plain = _ESCAPE.sub("", bare)
    if pasted or len(plain) > _BURST or _LINES.search(plain.replace("\r\n", "\n")):
        return [Key("paste", plain[:_LONGEST_PASTE])]
    if not plain:
        return [Key("escape" if bare == "\x1b" else "other")] if bare else []
    came = "" if len({sign for sign in plain if sign.isprintable()}) < _FEW else "run"
    came = "line" if came and plain[-1] in "\r\n" else came
    return [Key(_NAMES.get(sign, "sign" if sign.isprintable() else "other"), sign, came) for sign in plain]


class Keyboard:
    """The keyboard of a terminal, as a context; `wake` may be called from any thread to end a wait."""

    def __init__(self, descriptor: int | None = None) -> None:
        """Take standard input unless told otherwise; nothing is changed yet."""
        self._input = sys.stdin.fileno() if descriptor is None else descriptor
        self._before: list[Any] | None = None
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._reading, self._writing = -1, -1
        self._woken_before = -1
        self._handlers: dict[int, Any] = {}
        self.told_to_stop = self.went_on = False  # by a signal, since it was last looked at
        self._pasting = False
        self._unbracketed = False
        self._clock = SystemClock()
        self._came_s = -math.inf

    def __enter__(self) -> Self:
        """Listen key by key."""
        self._reading, self._writing = os.pipe()
        os.set_blocking(self._reading, False)
        os.set_blocking(self._writing, False)
        self._before = termios.tcgetattr(self._input)
        tty.setcbreak(self._input, termios.TCSADRAIN)
        modes = termios.tcgetattr(self._input)
        modes[0] &= ~termios.IXON  # Ctrl-S is a key like any other, and does not hold the screen
        modes[3] &= ~termios.IEXTEN
        for sign in (termios.VSUSP, termios.VQUIT):  # they would leave a powered unit alone
            modes[6][sign] = _NO_SIGN
        termios.tcsetattr(self._input, termios.TCSADRAIN, modes)
        if threading.current_thread() is threading.main_thread():
            self._woken_before = signal.set_wakeup_fd(self._writing, warn_on_full_buffer=False)
            heard = {signal.SIGWINCH: _notice, signal.SIGTSTP: self._hear_stop, signal.SIGCONT: self._hear_going_on}
            self._handlers = {number: signal.signal(number, handler) for number, handler in heard.items()}
        return self

    def _hear_stop(self, number: int, frame: FrameType | None) -> None:
        self.told_to_stop = True

    def _hear_going_on(self, number: int, frame: FrameType | None) -> None:
        self.went_on = True

    def __exit__(self, *_: object) -> None:
        """Put the terminal back."""
        if threading.current_thread() is threading.main_thread():
            signal.set_wakeup_fd(self._woken_before)
            for number, handler in self._handlers.items():
                signal.signal(number, handler or signal.SIG_DFL)
        with contextlib.suppress(OSError, termios.error):
            termios.tcsetattr(self._input, termios.TCSADRAIN, self._before or [])
        for end in (self._reading, self._writing):
            os.close(end)
        self.told_to_stop = self.went_on = False

    def stand_still(self) -> None:
        """Stop as Ctrl-Z has a process stop, with whoever runs beside it in the foreground; return when it goes on.

        The terminal must have been given back. Where nobody is there to have it go on, the system lets it run on.
        """
        before = signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        try:
            os.kill(0, signal.SIGTSTP)
        finally:
            signal.signal(signal.SIGTSTP, before)

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
        return self._told_apart(self._whole(self._read()))

    def _whole(self, text: str) -> str:
        """Return what was read with the rest of what was cut: an escape sequence, or a short paste."""
        while _CUT.search(text) and self._more(_CUT_S):
            text += self._read()
        until_s = self._clock.monotonic_s() + _PIECES_S
        while _opens_paste(text) and len(text) < _LONGEST_PASTE and self._more(until_s - self._clock.monotonic_s()):
            text += self._read()
        return text

    def _more(self, within_s: float) -> bool:
        return within_s > 0.0 and bool(select.select([self._input], [], [], within_s)[0])

    def _read(self) -> str:
        """Return what has been typed; EOFError when the terminal is gone."""
        try:
            data = os.read(self._input, _CHUNK)
        except OSError as error:
            notice_hang_up(self._input)
            raise EOFError from error
        if not data:
            notice_hang_up(self._input)
            raise EOFError
        return self._decoder.decode(data)

    def _told_apart(self, text: str) -> list[Key]:
        """Return the keys of a burst; what goes on with a paste is thrown away up to its end."""
        before_s, self._came_s = self._came_s, self._clock.monotonic_s()
        if self._pasting and self._came_s - before_s < _LOST_S:
            _, ended, text = text.partition(_PASTE_ENDS)
            self._pasting = not ended
            if not text:
                return []
        in_tail = self._unbracketed and self._came_s - before_s < _TAIL_S
        self._pasting, bracketed = _opens_paste(text), _PASTE_BEGINS in text
        keys = keys_in(text)
        self._unbracketed = not bracketed and (in_tail or any(key.name == "paste" for key in keys))
        return [] if in_tail and self._unbracketed else keys


def _opens_paste(text: str) -> bool:
    return text.rfind(_PASTE_BEGINS) > text.rfind(_PASTE_ENDS)


def _notice(number: int, frame: FrameType | None) -> None:
    """Let the wait end, so that a resized window is drawn anew."""
