"""What a junction's ideality is worth as a forward drop, where the drop at 1 mA is left as it is.

With I = IS (exp(V / (N VT)) - 1) and IS such that 1 mA takes the same voltage whatever N, N moves I as so many volts
of drop do: at small currents a junction drops less the higher N is, and backwards it leaks IS, which N raises.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .physics import BjtArrays

__all__ = ["bjt_by_ideality", "by_ideality"]

Floats = NDArray[np.float64]

_AT_A = 1e-3
#: of the saturation current: next to nothing flows, and all that can flow backwards does.
_LITTLE, _ALL = 1e-6, -1.0 + 1e-12


def by_ideality(current: Floats, saturation: Floats, thermal_v: float) -> Floats:
    """Return how many volts of forward drop one more of ideality is worth, at currents in ampere (broadcast)."""
    share = np.maximum(current / saturation, _ALL)
    near = np.abs(share) < _LITTLE
    some = np.where(near, 1.0, share)
    seen = np.where(near, 1.0 + share / 2.0, (1.0 + 1.0 / some) * np.log1p(some))
    return np.asarray(-thermal_v * (np.log(_AT_A / saturation) - seen))


def bjt_by_ideality(carried: Floats, bjts: BjtArrays, thermal_v: float) -> Floats:
    """Return what a transistor carries (collector, base x ...), each junction's share times its `by_ideality`.

    Currents in ampere, of the NPN sense: IC = IF - IR (1 + 1/BR), IB = IF/BF + IR/BR (Ebers and Moll 1954).
    """
    shape = (-1, *[1] * (carried.ndim - 2))
    saturation, gain, back = (each.reshape(shape) for each in (bjts.saturation, bjts.forward_gain, bjts.reverse_gain))
    collector, base = carried
    reverse = (base - collector / gain) / (1.0 / back + (1.0 + 1.0 / back) / gain)
    forward = collector + reverse * (1.0 + 1.0 / back)
    forward = forward * by_ideality(forward, saturation, thermal_v)
    reverse = reverse * by_ideality(reverse, saturation, thermal_v)
    return np.array([forward - reverse * (1.0 + 1.0 / back), forward / gain + reverse / back])
