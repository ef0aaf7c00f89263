"""Where to go when a junction only leaks: its ohms run off to infinity where its leakage falls to the test current.

With x the test current over the leakage, a junction at that current takes -n Vt ln(1 - x) volt (Shockley's equation
backwards). A line in the logarithm of ohms leads far astray there; ln(x) is as straight as what moves the leakage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Source", "led_by_leakage"]

Floats = NDArray[np.float64]

#: n Vt of the junctions whose leakage a meter sees at all, Schottky ones at room temperature, in volt.
_N_VT = 0.027
#: a stray that moves ohms by less than this ratio moves no leakage.
_LEAKS = 0.4
#: by how much more leakage than the test current is aimed at where a number was read, as a ratio.
_OVER_THE_EDGE = 0.02
#: a junction that takes so many n Vt is as good as at its edge, and one that takes so few is a resistor.
_MOST, _LEAST = 30.0, 1e-3


@dataclass(frozen=True, slots=True)
class Source:
    """What readings of ohms were driven with (readings): A, and the ohms from which the source gives way.

    The latter are NaN where it did not, both NaN for what is not ohms or not solved.
    """

    ampere: Floats
    edge: Floats


def led_by_leakage(read: Floats, there: Floats, leans: Floats, source: Source) -> Floats:
    """Return the error to take for a way to go, as a ratio, NaN where a line leads there.

    `read` is what was read and `there` what is expected, in ohm, `leans` by how much a standard deviation of what
    moves a reading most moves it, as a ratio. Where the source gave way and yet a number was read, a little more
    leakage than the test current is asked for.
    """
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        over = np.log(source.edge / there) - _OVER_THE_EDGE
        expected, seen = (np.clip(each * source.ampere / _N_VT, _LEAST, _MOST) for each in (there, read))
        by_line = expected * np.exp(-expected) / -np.expm1(-expected)  # of ln(x), by the logarithm of ohms
        back = (np.log(-np.expm1(-seen)) - np.log(-np.expm1(-expected))) / by_line
    leaks = np.isnan(source.edge) & (leans > _LEAKS)
    return np.where(~np.isnan(source.edge), np.where(read < source.edge, over, np.nan), np.where(leaks, back, np.nan))
