"""A small drawing of a reading between its limits, in plain characters that need no colour.

    `   [ :   --o--  : ]   `    limits `[ ]`, guard bands up to `:`, the value `o` with its uncertainty `-`

What lies off the drawing is marked `<` or `>` at its edge; a one-sided limit leaves the other end open.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from benchcheck.errors import QuantityError
from benchcheck.quantity import DisplayState, parse_display
from benchcheck.score.model import Score

__all__ = ["Place", "draw", "scale"]

Place = Callable[[float], int]


def draw(score: Score, width: int = 19) -> str:
    """Return the drawing of a score, exactly `width` characters; blank where there is nothing to draw."""
    place = scale(score.lower, score.upper, width)
    if place is None:
        return " " * width
    cells = [" "] * width
    value = score.value if score.value is not None else _beyond(score)
    if value is None:
        return " " * width
    if score.expanded_uncertainty is not None and math.isfinite(value):
        for column in range(place(value - score.expanded_uncertainty), place(value + score.expanded_uncertainty) + 1):
            _put(cells, column, "-")
    _draw_limits(cells, score, place)
    _put(cells, place(value), "o", edges="<>")
    return "".join(cells)


def _beyond(score: Score) -> float | None:
    """Return infinity for an overload, None for what has no place: words, jumps, readings that were not used."""
    try:
        state = parse_display(score.display, score.quantity_unit).state
    except QuantityError:
        return None
    return math.inf if state is DisplayState.OVERLOAD else None


def _draw_limits(cells: list[str], score: Score, place: Place) -> None:
    guard = score.guard_band or 0.0
    for limit, mark, inwards in ((score.lower, "[", 1.0), (score.upper, "]", -1.0)):
        if limit is not None:
            _put(cells, place(limit + inwards * guard), ":")
            _put(cells, place(limit), mark)


def _put(cells: list[str], column: int, mark: str, edges: str = "") -> None:
    last = len(cells) - 1
    if 0 <= column <= last:
        cells[column] = mark
    elif edges:
        cells[0 if column < 0 else last] = edges[0] if column < 0 else edges[1]


def scale(lower: float | None, upper: float | None, width: int) -> Place | None:
    """Return the map from value to column of `width`, with a margin outside the limits; None without any."""
    margin = max(2, width // 5)
    if lower is not None and upper is not None and upper > lower:
        start, step = lower, (upper - lower) / (width - 1 - 2 * margin)
    elif upper is not None and upper > 0:
        start, step = upper, upper / (width - 1 - margin)
        margin = width - 1 - margin
    elif lower is not None and lower > 0:
        start, step = lower, lower / margin
    else:
        return None
    if not 0.0 < step < math.inf:  # limits at the very ends of what a float holds
        return None

    def place(value: float) -> int:
        offset = (value - start) / step + margin
        return round(max(-1.0, min(float(width), offset)))

    return place
