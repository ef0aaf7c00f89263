"""How much longer a climbing reading takes, said calmly: each look moves it a little, and it is told in steps."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Forecast", "coarse_s"]

#: in how many seconds the words follow what the latest looks make of it (common practice, no source).
_FOLLOWS_S = 2.0
_STEPS_S = (1, 2, 3, 5, 7, 10, 15, 20, 30, 45)


def coarse_s(seconds: float) -> int:
    """Return a time as people say it: one of a few round numbers up to a minute, then half minutes.

    >>> [coarse_s(one) for one in (0.2, 4.1, 12.0, 44.0, 61.0, 100.0)]
    [1, 5, 15, 45, 90, 120]
    """
    found = next((step for step in _STEPS_S if seconds <= step), None)
    return found if found is not None else 30 * math.ceil(seconds / 30.0)


@dataclass(slots=True)
class Forecast:
    """When a climb is over, by the clock of the readings; nothing is known of it at first."""

    _ends_s: float | None = None
    _last_s: float = 0.0

    def left_s(self, now_s: float, estimate_s: float) -> int:
        """Take in what the readings up to now make of the time left; return what is said of it, in seconds."""
        ends_s = now_s + estimate_s
        if self._ends_s is None:
            self._ends_s = ends_s
        else:
            self._ends_s += (1.0 - math.exp(-(now_s - self._last_s) / _FOLLOWS_S)) * (ends_s - self._ends_s)
        self._last_s = now_s
        return coarse_s(max(0.0, self._ends_s - now_s))

    def forget(self) -> None:
        """Begin anew with another contact."""
        self._ends_s = None
