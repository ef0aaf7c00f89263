"""Where to go when a junction only leaks: its ohms run off to infinity where its leakage falls to the test current.

With x the test current over the leakage, a junction at that current takes -n Vt ln(1 - x) volt (Shockley's equation
backwards), x / (1 - x) of them for a volt of forward drop. A line in the logarithm of ohms leads far astray there;
ln(x), by a forward drop over n Vt, is straight. So how a reading moves with the drop tells x, whatever is in series.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.ranged import Source
from benchcheck.diagnosis.spread import COMMON_JUNCTION_V, JUNCTION_V

__all__ = ["led_by_leakage"]

Floats = NDArray[np.float64]

#: what moves ohms by less than this ratio, its junction's drop off by a standard deviation, is no leakage.
_LEAKS, _DROP_V = 0.02, math.hypot(JUNCTION_V, COMMON_JUNCTION_V)
#: the most of a leakage that a test current is taken for: what is as good as at the edge.
_EDGE = 0.98
#: how many n Vt a reading is followed at most, and the least test current for a leakage that is aimed at.
_MOST, _LEAST = 30.0, 1e-3


def led_by_leakage(read: Floats, there: Floats, source: Source) -> Floats:
    """Return the error to take for a way to go, as a ratio, NaN where a line leads there.

    `read` is what was read and `there` what is expected, in ohm, `source` (readings) what they were driven with.
    Where the source gave way and yet a number was read, the leakage is asked for that leaves the junction what was
    read. Where more was lost than the junction takes, it is not the junction.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        alone = -np.expm1(-read * source.ampere / source.slope_v)
        over = np.log(source.edge / there) + np.log(np.clip(np.nan_to_num(alone, nan=1.0), _LEAST, _EDGE))
        now = source.backwards / (1.0 + source.backwards)
        further = np.clip((read - there) * source.ampere / source.slope_v, -_MOST, _MOST)
        left = 1.0 - (1.0 - now) * np.exp(-further)
        then = np.maximum(left, np.minimum(_LEAST, now))
        leans = source.backwards / (there * source.ampere)
        back = leans * source.slope_v * np.log(then / now)
        leaks = np.isnan(source.edge) & (leans * _DROP_V > _LEAKS) & (left > 0.0)
    return np.where(~np.isnan(source.edge), np.where(read < source.edge, over, np.nan), np.where(leaks, back, np.nan))
