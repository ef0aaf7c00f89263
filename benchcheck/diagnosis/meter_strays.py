"""What a meter does to all readings of one range alike: its gain and its offset, three strays for each range.

Readings of one range, taken with one meter on one day, are off by the same gain and the same offset (GUM 5.2 and
F.1.2.3: correlated input quantities); two of them differ by far less than two limits of error. A limit of error is
the sum of both, so what both make together is a third stray: by itself each reading is as uncertain as its limit
says. What is left to each is the last digit, how straight the range is, and what the leads add: a touch changes it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.evidence import Seen
from benchcheck.diagnosis.shots import MeterErrors
from benchcheck.diagnosis.strays import OHMS

__all__ = ["NOT_SHARED", "meter_strays"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

#: what of a limit of error each reading has to itself: a range is straighter than it is right (common practice, no
#: source).
NOT_SHARED = 0.2
_SHARED = math.sqrt(1.0 - NOT_SHARED**2)


def meter_strays(seen: Sequence[Seen], ranges: Indices, errors: MeterErrors) -> Floats:
    """Return what a standard deviation of each gain and offset moves readings by (strays x readings), in their unit.

    `ranges` (2 x readings) are the first and the last range of ohms that can have shown each reading: a meter takes
    the first that holds it. A reading that is alone in its range shares nothing; nor do readings of two meters.
    """
    alike: dict[tuple[Function, str, int], list[int]] = {}
    for at, (one, first) in enumerate(zip(seen, ranges[0], strict=True)):
        if not math.isnan(one.value):
            function = one.shot.function
            place = int(first) if function in OHMS else errors.place_of(function, one.value, one.meter_range)
            alike.setdefault((function, one.meter or errors.meter_of(function), place), []).append(at)
    found = []
    for (function, _, place), readings in alike.items():
        line = errors.line_of(function, place)
        if line is None or len(readings) < 2:
            continue
        value = np.array([seen[at].value for at in readings])
        offset, gain = np.full(len(readings), line[0]), line[1] * value
        for part in (gain, offset, np.copysign(np.sqrt(2.0 * offset * np.abs(gain)), value)):
            row = np.zeros(len(seen))
            row[readings] = _SHARED * part / math.sqrt(3.0)
            found.append(row)
    return np.array(found).reshape(len(found), len(seen))
