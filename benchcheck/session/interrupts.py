"""While a unit is powered, Ctrl-C, an order to end and a closed terminal all mean: off, in good order.

Each raises KeyboardInterrupt in the main thread, once: the way down it begins is not interrupted again. A process a
shell started in the background ignores Ctrl-C; under power it is listened to all the same. An order to pause (Ctrl-Z)
is held back: a process that stands still would leave the unit to the lease. It switches off like any key.
"""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Any

__all__ = ["Endings", "HangUp"]

_ENDINGS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


class HangUp:
    """Whether the terminal is known to have gone: the signal that says so may come after a read or a write did.

    It is then no second ending: it would break into the way down that the first has begun.
    """

    _known = False

    @classmethod
    def noticed(cls) -> None:
        """Take it in that the terminal has gone."""
        cls._known = True

    @classmethod
    def forgotten(cls) -> None:
        """Begin anew, with a terminal."""
        cls._known = False

    @classmethod
    def is_known(cls) -> bool:
        """Return whether it has gone."""
        return cls._known

    @classmethod
    def is_no_news(cls, number: int) -> bool:
        """Return whether a signal tells nothing but that."""
        return cls._known and number == getattr(signal, "SIGHUP", None)


class Endings:
    """The handlers of one powered part of a visit; `restore` puts back what was there before."""

    def __init__(self) -> None:
        """Set nothing yet."""
        self._before: dict[int, Any] = {}
        self._pause_asked = False

    def install(self) -> None:
        """Listen; nothing happens outside the main thread, where signals do not arrive."""
        if self._before or threading.current_thread() is not threading.main_thread():
            return
        self._pause_asked = False
        HangUp.forgotten()  # whoever has power brought is there: what comes from now on is news
        self._before = {one: signal.signal(one, self._interrupt) for one in _ENDINGS}
        if hasattr(signal, "SIGTSTP"):
            self._before[signal.SIGTSTP] = signal.signal(signal.SIGTSTP, self._pause)

    def restore(self) -> None:
        """Put the handlers of before back."""
        for one, handler in self._before.items():
            signal.signal(one, handler if handler is not None else signal.SIG_DFL)
        self._before = {}

    def pause_asked(self) -> bool:
        """Return whether an order to pause came since this was last asked."""
        asked, self._pause_asked = self._pause_asked, False
        return asked

    def _pause(self, number: int, frame: FrameType | None) -> None:
        self._pause_asked = True

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        if HangUp.is_no_news(number):
            return
        for one in _ENDINGS:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt
