"""Where to go when a junction only leaks: its ohms run off to infinity where its leakage falls to the test current.

With x the test current over the leakage, a junction at that current takes -n Vt ln(1 - x) volt (Shockley's equation
backwards), x / (1 - x) of them for a volt of forward drop. A line in the logarithm of ohms leads far astray there;
ln(x), by a forward drop over n Vt, is straight. So how a reading moves with the drop tells x, whatever is in series.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.ranged import Source

__all__ = ["led_by_leakage"]

Floats = NDArray[np.float64]

#: a stray that moves ohms by less than this ratio moves no leakage.
_LEAKS = 0.1
#: the most of a leakage that a test current is taken for: what is as good as at the edge.
_EDGE = 0.98
#: how many n Vt a reading is followed at most, and the least test current for a leakage that is aimed at.
_MOST, _LEAST = 30.0, 1e-3


def led_by_leakage(read: Floats, there: Floats, leans: Floats, source: Source) -> Floats:
    """Return the error to take for a way to go, as a ratio, NaN where a line leads there.

    `read` is what was read and `there` what is expected, in ohm, `leans` by how much a standard deviation of what
    moves a reading most moves it, as a ratio; `source` (readings) what they were driven with. Where the source gave
    way and yet a number was read, the leakage is asked for that leaves the junction what was read.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        left = -np.expm1(-read * source.ampere / source.slope_v)
        over = np.log(source.edge / there) + np.log(np.clip(np.nan_to_num(left, nan=1.0), _LEAST, _EDGE))
        now = source.backwards / (1.0 + source.backwards)
        further = np.clip((read - there) * source.ampere / source.slope_v, -_MOST, _MOST)
        then = np.maximum(1.0 - (1.0 - now) * np.exp(-further), _LEAST)
        back = source.backwards * source.slope_v * np.log(then / now) / (there * source.ampere)
    leaks = np.isnan(source.edge) & (source.backwards > 0.0) & (leans > _LEAKS)
    return np.where(~np.isnan(source.edge), np.where(read < source.edge, over, np.nan), np.where(leaks, back, np.nan))
