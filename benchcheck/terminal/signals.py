"""A visit that is told to end, or whose terminal goes away, ends as with Ctrl-C: what was accepted is kept."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType

__all__ = ["ending_as_interrupt"]

_ENDINGS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


@contextlib.contextmanager
def ending_as_interrupt() -> Iterator[None]:
    """Turn SIGTERM and SIGHUP into KeyboardInterrupt, once: the ending they begin is not interrupted again.

    A signal somebody ignores already (nohup) stays ignored.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {one: signal.getsignal(one) for one in _ENDINGS}
    for one, handler in before.items():
        if handler is signal.SIG_DFL:
            signal.signal(one, _interrupt)
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def _interrupt(number: int, frame: FrameType | None) -> None:
    for one in _ENDINGS:
        signal.signal(one, signal.SIG_IGN)
    raise KeyboardInterrupt
