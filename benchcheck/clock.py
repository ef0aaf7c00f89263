"""The only door to time: everything that waits, stamps or measures a duration asks a clock.

`SystemClock` is the real one; `FakeClock` moves only when told, so no test ever sleeps.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol

__all__ = ["Clock", "FakeClock", "SystemClock", "file_stamp"]


class Clock(Protocol):
    """What a clock must do; `monotonic_s` never runs backwards, `now` may (the user can set it)."""

    def now(self) -> datetime:
        """Return the wall time, in UTC, whole seconds or finer."""
        ...

    def monotonic_s(self) -> float:
        """Return seconds since an arbitrary start."""
        ...

    def sleep(self, delay_s: float) -> None:
        """Wait `delay_s` seconds."""
        ...


class SystemClock:
    """The machine's own clock."""

    def now(self) -> datetime:
        """Return the wall time in UTC."""
        return datetime.now(UTC)

    def monotonic_s(self) -> float:
        """Return seconds since an arbitrary start, never decreasing."""
        return time.monotonic()

    def sleep(self, delay_s: float) -> None:
        """Wait `delay_s` seconds."""
        time.sleep(max(0.0, delay_s))


class FakeClock:
    """A clock that moves only when somebody sleeps on it or sets it.

    >>> clock = FakeClock()
    >>> clock.sleep(2.5)
    >>> clock.monotonic_s()
    2.5
    """

    def __init__(self, start: datetime = datetime(2026, 1, 31, 10, 15, tzinfo=UTC)) -> None:
        self._wall = start
        self._elapsed_s = 0.0

    def now(self) -> datetime:
        """Return the wall time in UTC."""
        return self._wall

    def monotonic_s(self) -> float:
        """Return the seconds slept so far."""
        return self._elapsed_s

    def sleep(self, delay_s: float) -> None:
        """Move both times on by `delay_s` seconds at once."""
        self._elapsed_s += max(0.0, delay_s)
        self._wall += timedelta(seconds=max(0.0, delay_s))

    def set_wall(self, wall: datetime) -> None:
        """Set the wall time, also backwards; the monotonic time does not move."""
        self._wall = wall


def file_stamp(moment: datetime) -> str:
    """Return the time as it stands in record file names.

    >>> file_stamp(datetime(2026, 1, 31, 10, 15, tzinfo=UTC))
    '20260131T101500Z'
    """
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
