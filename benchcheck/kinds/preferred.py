"""Preferred values of IEC 60063, and the tolerance that goes with the series a value belongs to.

E24 and below are the standard's own list; E48 to E192 follow round(100 * 10^(i/n)), but for 920 in E192.
"""

from __future__ import annotations

import math
from functools import lru_cache

__all__ = ["usual_tolerance"]

#: E3, E6 and E12 are subsets. Three digits, so that one comparison serves all series.
E24 = tuple(
    10 * value
    for value in (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
)
E96 = tuple(round(100 * 10 ** (i / 96)) for i in range(96))
E192 = tuple(920 if i == 185 else round(100 * 10 ** (i / 192)) for i in range(192))


@lru_cache(maxsize=1024)  # asked of every part again wherever a board strays
def usual_tolerance(value: float) -> tuple[float, str] | None:
    """Return the fraction and the series that go with a value (any unit), None for a value in no series.

    A value in several takes the widest that film parts are sold in: E24 goes with 5 %, E96 1 %, E192 0.5 %.

    >>> usual_tolerance(4700.0), usual_tolerance(2490.0), usual_tolerance(5000.0)
    ((0.05, 'E24'), (0.01, 'E96'), None)
    """
    if value <= 0:
        return None
    digits = value / 10.0 ** (math.floor(math.log10(value)) - 2)
    for series, name, fraction in ((E24, "E24", 0.05), (E96, "E96", 0.01), (E192, "E192", 0.005)):
        if any(math.isclose(digits, scale * figure, rel_tol=1e-6) for figure in series for scale in (1, 10)):
            return fraction, name
    return None
