"""Definite integrals of functions with known corners, by adaptive Gauss-Kronrod quadrature."""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Iterable

__all__ = ["integrate"]

#: Kronrod nodes on [0, 1), their weights, and the weights of the embedded 7-point Gauss rule
#: (Piessens et al., QUADPACK, 1983, rule qk15).
_RULE = (
    (0.991455371120812639206854697526329, 0.022935322010529224963732008058970, 0.0),
    (0.949107912342758524526189684047851, 0.063092092629978553290700663189204, 0.129484966168869693270611432679082),
    (0.864864423359769072789712788640926, 0.104790010322250183839876322541518, 0.0),
    (0.741531185599394439863864773280788, 0.140653259715525918745189590510238, 0.279705391489276667901467771423780),
    (0.586087235467691130294144691693013, 0.169004726639267902826583426598550, 0.0),
    (0.405845151377397166906606412076961, 0.190350578064785409913256402421014, 0.381830050505118944950369775488975),
    (0.207784955007898467600689403773245, 0.204432940075298892414161999234649, 0.0),
)
_CENTER = (0.209482141084727828012999174891714, 0.417959183673469387755102040816327)
_MOST_PANELS = 400


def _panel(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Return the integral over one panel and an estimate of its error."""
    center, half = 0.5 * (low + high), 0.5 * (high - low)
    middle = function(center)
    fine, coarse = middle * _CENTER[0], middle * _CENTER[1]
    for node, kronrod, gauss in _RULE:
        both = function(center - half * node) + function(center + half * node)
        fine += kronrod * both
        coarse += gauss * both
    return fine * half, abs(fine - coarse) * half


def integrate(function: Callable[[float], float], points: Iterable[float], accuracy: float = 1e-12) -> float:
    """Return the integral from the least to the greatest of `points`, between which the function is smooth.

    `accuracy` is absolute. Panels are halved where the error is largest until it is reached.
    """
    edges = sorted({each for each in points if math.isfinite(each)})
    panels: list[tuple[float, float, float, float]] = []
    for low, high in itertools.pairwise(edges):
        value, error = _panel(function, low, high)
        heapq.heappush(panels, (-error, low, high, value))
    while len(panels) < _MOST_PANELS and math.fsum(-each[0] for each in panels) > accuracy:
        _, low, high, _ = heapq.heappop(panels)
        middle = 0.5 * (low + high)
        if not low < middle < high:
            break
        for left, right in ((low, middle), (middle, high)):
            value, error = _panel(function, left, right)
            heapq.heappush(panels, (-error, left, right, value))
    return math.fsum(each[3] for each in panels)
