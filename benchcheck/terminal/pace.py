"""How long the rest of a visit will take, by the pace of this very visit: the median of the last checks."""

from __future__ import annotations

import statistics
from collections import deque
from dataclasses import dataclass, field

__all__ = ["Pace"]

_LOOKED_AT = 15
_LEAST = 3
_LONGEST_S = 600.0  # longer than this was a telephone call, not a check


@dataclass(slots=True)
class Pace:
    """Takes the moments at which checks were answered, in seconds of a clock that never runs back."""

    _took_s: deque[float] = field(default_factory=lambda: deque(maxlen=_LOOKED_AT))
    _before_s: float | None = None

    def answered(self, at_s: float) -> None:
        """Take in that a check was answered."""
        if self._before_s is not None and 0.0 <= at_s - self._before_s <= _LONGEST_S:
            self._took_s.append(at_s - self._before_s)
        self._before_s = at_s

    def left(self, checks: int) -> str:
        """Return in words how long so many checks take, "" as long as nothing is known.

        >>> pace = Pace()
        >>> for at_s in (0.0, 20.0, 40.0, 60.0): pace.answered(at_s)
        >>> pace.left(9)
        'about 3 min left'
        """
        if len(self._took_s) < _LEAST or checks <= 0:
            return ""
        left_s = statistics.median(self._took_s) * checks
        return f"about {max(1, round(left_s / 60.0))} min left" if left_s >= 50.0 else "less than a minute left"
