"""How far a long run has come, on standard error, where a person watches and nothing else shows it."""

from __future__ import annotations

import contextlib
import sys

from benchcheck.clock import Clock, SystemClock
from benchcheck.kinds.check import Check
from benchcheck.score.model import Score

__all__ = ["Progress"]

PATIENCE_S = 1.0
INTERVAL_S = 0.2


class Progress:
    """An `Observer` that counts checks on one line of standard error, begun after a second, wiped at the end."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._clock = clock or SystemClock()
        self._next_s = self._clock.monotonic_s() + PATIENCE_S
        self._shown = 0

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Show the count, at most five times a second, and wipe it with the last check."""
        if place >= total:
            self.wipe()
        elif self._clock.monotonic_s() >= self._next_s:
            self._next_s = self._clock.monotonic_s() + INTERVAL_S
            line = f"{place} of {total} checks"
            self._write(f"\r{line}")
            self._shown = len(line)

    def undone(self, check: Check | None) -> None:
        """Nothing to show."""

    def wipe(self) -> None:
        """Leave the line as if nothing had stood on it."""
        if self._shown:
            self._write(f"\r{' ' * self._shown}\r")
            self._shown = 0

    def _write(self, text: str) -> None:
        with contextlib.suppress(OSError):
            sys.stderr.write(text)
            sys.stderr.flush()
