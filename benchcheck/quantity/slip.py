"""Whether a number is off by thousands: 4.7 typed for 4.7 k, 532 for 532 m. Asked about, never just scored.

A typed slip leaves the digits right, so the value divided by the power of ten lands within a factor of two of
what is expected (the part's own tolerance, and parallel paths on the board). Anything else is a finding.
"""

from __future__ import annotations

import math

__all__ = ["magnitude_slip"]

#: a slip must land this close to what is expected; parts around it seldom halve a reading. Our choice.
WINDOW = 2.0
#: prefixes are a thousand apart; 10^9 is M for m, 10^12 farad for picofarad.
POWERS = (3, -3, 6, -6, 9, -9, 12, -12)


def magnitude_slip(value: float, expected: float | tuple[float, float]) -> int | None:
    """Return the power of ten (±3, ±6, ±9, ±12) by which a value seems mistyped, or None.

    +3 means a thousand times too large. `expected` is a value or an interval in the unit of `value`; signs are
    left out of it. None for zero, for a value within a factor of two of what is expected, and where nothing
    can be said: an interval without two finite ends, with zero in it, or so wide (more than 250 times) that
    neighbouring powers overlap.

    >>> magnitude_slip(4.7, 4700.0), magnitude_slip(532.0, (0.45, 0.75)), magnitude_slip(4650.0, 4700.0)
    (-3, 3, None)
    """
    ends = expected if isinstance(expected, tuple) else (expected, expected)
    if (ends[0] > 0) != (ends[1] > 0) or not all(map(math.isfinite, (value, *ends))):
        return None
    lower, upper = min(map(abs, ends)) / WINDOW, max(map(abs, ends)) * WINDOW
    size = abs(value)
    if not size or not lower or upper / lower >= 1000 or lower <= size <= upper:
        return None
    return next((power for power in POWERS if lower <= size / 10.0**power <= upper), None)
