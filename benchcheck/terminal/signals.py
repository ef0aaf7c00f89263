"""A visit that is told to end, or whose terminal goes away, ends as with Ctrl-C: what was accepted is kept."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TextIO

from benchcheck.session.interrupts import HangUp

__all__ = ["ending_as_interrupt", "line_waiting", "notice_hang_up", "wait_for_line"]

_ENDINGS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))

_GLANCE_S = 0.2


@contextlib.contextmanager
def ending_as_interrupt(*, interrupt_too: bool = False) -> Iterator[None]:
    """Turn SIGTERM and SIGHUP into KeyboardInterrupt, once: the ending they begin is not interrupted again.

    A signal somebody ignores already (nohup) stays ignored; a hang-up that is known stays so afterwards, for the
    process then ends with the exit code it has come to. `interrupt_too` listens to SIGINT even so: a shell
    starts what runs in its background with it ignored.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {one: signal.getsignal(one) for one in (*_ENDINGS, signal.SIGINT)}
    HangUp.forgotten()
    for one in _ENDINGS:
        if before[one] is signal.SIG_DFL:
            signal.signal(one, _interrupt)
    if interrupt_too:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, signal.SIG_IGN if HangUp.is_no_news(one) else handler)


def wait_for_line(stream: TextIO, while_waiting: Callable[[], None] | None = None) -> None:
    """Return when the stream has a line or its end; a signal that comes just before the wait ends it as well.

    `while_waiting` is called several times a second, for what must not wait for a person.

    A plain read would miss such a signal and sit there until somebody types (the race `set_wakeup_fd` is for).
    """
    if threading.current_thread() is not threading.main_thread():
        return
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    before = signal.set_wakeup_fd(writing, warn_on_full_buffer=False)
    try:
        pause_s = _GLANCE_S if while_waiting is not None else None
        while stream.fileno() not in (ready := select.select([stream.fileno(), reading], [], [], pause_s)[0]):
            if reading in ready:
                os.read(reading, 64)  # a signal whose handler raised nothing, such as a resized window
            if while_waiting is not None:
                while_waiting()
    finally:
        signal.set_wakeup_fd(before)
        os.close(reading)
        os.close(writing)


def line_waiting(stream: TextIO) -> bool:
    """Return whether a line, or the end of input, is there although nothing was asked; the line is taken away."""
    try:
        if not select.select([stream.fileno()], [], [], 0.0)[0]:
            return False
        stream.readline()
    except (OSError, ValueError):
        pass  # a terminal that has gone is a reason to switch off as well
    return True


def notice_hang_up(descriptor: int) -> None:
    """Take it in where the terminal of a descriptor has gone; an end of input that was typed is none."""
    watch = select.poll()
    watch.register(descriptor, select.POLLHUP)
    if any(state & (select.POLLHUP | select.POLLERR) for _, state in watch.poll(0)):
        HangUp.noticed()


def _interrupt(number: int, frame: FrameType | None) -> None:
    if HangUp.is_no_news(number):
        return
    for one in _ENDINGS:
        signal.signal(one, signal.SIG_IGN)
    raise KeyboardInterrupt
