"""A linked meter read over and over in a thread of its own, so that keys and screen never wait for it.

A meter that does not answer is not given up: it is tried again until it does, and what is wrong is told meanwhile.
Only one thread talks to a meter at a time: the readings stop, and are seen to have stopped, before anyone else does.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.clock import Clock
from benchcheck.errors import BenchcheckError
from benchcheck.readings.reading import Reading

__all__ = ["Glimpse", "LiveMeter"]

_RETRY_S = 0.5
_KEPT = 4096


@dataclass(frozen=True, slots=True)
class Glimpse:
    """One look at the meter: monotonic seconds, and the reading, or in words why there is none."""

    at_s: float
    reading: Reading | None
    trouble: str = ""


class LiveMeter:
    """Reads with `take` until it is stopped; `wake` is called, from the thread, whenever there is news."""

    def __init__(self, take: Callable[[], Reading], clock: Clock, wake: Callable[[], None]) -> None:
        """Begin reading."""
        self._take, self._clock, self._wake = take, clock, wake
        self._news: deque[Glimpse] = deque(maxlen=_KEPT)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="meter", daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._stop.is_set():
            try:
                glimpse = Glimpse(0.0, self._take())
            except (BenchcheckError, OSError) as reason:
                glimpse = Glimpse(0.0, None, str(reason))
            self._news.append(Glimpse(self._clock.monotonic_s(), glimpse.reading, glimpse.trouble))
            self._wake()
            if glimpse.reading is None:
                self._stop.wait(_RETRY_S)

    def news(self) -> list[Glimpse]:
        """Return what came since the last call, oldest first."""
        found = []
        while self._news:
            found.append(self._news.popleft())
        return found

    def stop(self) -> None:
        """Let the meter be; returns once the reading under way has ended."""
        self._stop.set()
        self._thread.join()
