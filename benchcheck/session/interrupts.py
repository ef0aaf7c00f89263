"""While a unit is powered, Ctrl-C, an order to end and a closed terminal all mean: off, in good order.

Each raises KeyboardInterrupt in the main thread, once: the way down it begins is not interrupted again. A process a
shell started in the background ignores Ctrl-C; under power it is listened to all the same.
"""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Any

__all__ = ["Endings"]

_ENDINGS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


class Endings:
    """The handlers of one powered part of a visit; `restore` puts back what was there before."""

    def __init__(self) -> None:
        """Set nothing yet."""
        self._before: dict[int, Any] = {}

    def install(self) -> None:
        """Listen; nothing happens outside the main thread, where signals do not arrive."""
        if self._before or threading.current_thread() is not threading.main_thread():
            return
        self._before = {one: signal.signal(one, self._interrupt) for one in _ENDINGS}

    def restore(self) -> None:
        """Put the handlers of before back."""
        for one, handler in self._before.items():
            signal.signal(one, handler if handler is not None else signal.SIG_DFL)
        self._before = {}

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        for one in _ENDINGS:
            signal.signal(one, signal.SIG_IGN)
        raise KeyboardInterrupt
