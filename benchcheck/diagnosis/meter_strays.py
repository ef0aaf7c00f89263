"""What a meter does to all readings of one range alike: its gain and its offset, two strays for each range.

Readings of one range, taken with one meter on one day, are off by the same gain and the same offset (GUM 5.2 and
F.1.2.3: correlated input quantities); two of them differ by far less than two limits of error. What they do not share
is the last digit, the leads, and how straight the range is.
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

    `ranges` (2 x readings) are the first and the last range of ohms that can have shown each reading. A reading of
    which the range is not known, or which is alone in its range, shares nothing; nor do readings of two meters.
    """
    alike: dict[tuple[Function, str, int], list[int]] = {}
    for at, (one, first, last) in enumerate(zip(seen, *ranges, strict=True)):
        function = one.shot.function
        if math.isnan(one.value) or first != last:
            continue
        place = int(first) if function in OHMS else int(errors.range_of(function, np.array([one.value]))[0])
        alike.setdefault((function, one.meter, place), []).append(at)
    found = []
    for (function, _, place), readings in alike.items():
        line = errors.line_of(function, place)
        if line is None or len(readings) < 2:
            continue
        value = np.array([seen[at].value for at in readings])
        offset, gain = line[0], line[1] * value
        # both together are as wide as the limit of error, the sum of the two, where that is most
        wide = ((offset + np.abs(gain)) / np.hypot(offset, gain)).max()
        for part in (gain, np.full(len(readings), offset)):
            row = np.zeros(len(seen))
            row[readings] = _SHARED * wide * part / math.sqrt(3.0)
            found.append(row)
    return np.array(found).reshape(len(found), len(seen))
