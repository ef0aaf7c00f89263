"""Whether an Enter is for the check on show, or was meant for the reading before, which counted by itself just then.

Taken for "tips on" it would have the next check read whatever the tips still lie on. So it counts only once the tips
were seen to leave, and not in the moment after a reading has counted; else it is told and asked for again. The
second one counts in any case: who presses twice means it, and some tips are clips that never leave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.terminal.asking import Asking

__all__ = ["ALREADY_COUNTED", "LastCounted"]

ALREADY_COUNTED = "the last reading counted by itself: tips on, then Enter again"
#: how long after a reading has counted a person may not have taken it in (common practice, no source).
_TAKEN_IN_S = 0.7


@dataclass(slots=True)
class LastCounted:
    """When a reading last counted by itself; minus infinity where the check before was answered otherwise."""

    at_s: float = -math.inf
    _told: Asking | None = None

    def holds_back(self, asking: Asking, now_s: float) -> bool:
        """Return whether an Enter is to be asked for again; under power an Enter is never held back."""
        if self._told is asking or asking.tips_down or asking.check.powered or math.isinf(self.at_s):
            return False
        left = asking.capture is not None and asking.capture.lifted
        if left and now_s - self.at_s >= _TAKEN_IN_S:
            return False
        self._told = asking
        return True
