"""The large bar: where a reading lies between its limits, readable from arm's length and without colour.

       v                 the reading
---[###:::::::::###]---  limits [ ], guard bands #, accepted :
      <--+-->            its expanded uncertainty
   4.6k          4.8k    the limits in numbers, and between them what : and # mean where there is room
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from benchcheck.quantity import format_value
from benchcheck.terminal.drawing import Place, scale

__all__ = ["Gauge", "bar_lines"]


#: what the signs within the limits mean.
_SIGNS = ((":", ": accepted"), ("#", "# guard band"))
_LEAST = 12  # columns in which limits and a pointer are a picture


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a bar shows, in the SI quantity unit; None for what there is not. An overload is infinity."""

    quantity_unit: str
    lower: float | None = None
    upper: float | None = None
    guard_band: float | None = None
    value: float | None = None
    expanded_uncertainty: float | None = None

    @property
    def position(self) -> float | None:
        """Where the value lies between two limits, 0 at the lower and 1 at the upper; None without."""
        if self.value is None or self.lower is None or self.upper is None or not math.isfinite(self.value):
            return None
        return (self.value - self.lower) / (self.upper - self.lower) if self.upper > self.lower else None


def bar_lines(gauge: Gauge, width: int) -> tuple[str, ...]:
    """Return the four lines of a bar, each at most `width` signs; none where there is nothing to draw."""
    place = scale(gauge.lower, gauge.upper, width) if width >= _LEAST else None
    if place is None:
        return ()
    body, numbers = _body(gauge, place, width), _numbers(gauge, place, width)
    _explained(body, numbers)
    lines = (_pointer(gauge, place, width), body, _whiskers(gauge, place, width), numbers)
    return tuple("".join(cells).rstrip() for cells in lines)


def _column(place: int, width: int) -> int:
    return max(0, min(width - 1, place))


def _pointer(gauge: Gauge, place: Place, width: int) -> list[str]:
    cells = [" "] * width
    if gauge.value is not None and not math.isnan(gauge.value):
        at = place(gauge.value)
        cells[_column(at, width)] = "v" if 0 <= at < width else "<" if at < 0 else ">"
    return cells


def _body(gauge: Gauge, place: Place, width: int) -> list[str]:
    start = 0 if gauge.lower is None else _column(place(gauge.lower), width)
    end = width - 1 if gauge.upper is None else _column(place(gauge.upper), width)
    cells = ["-"] * width
    guard = gauge.guard_band or 0.0
    accepted_from = start if gauge.lower is None else place(gauge.lower + guard)
    accepted_to = end if gauge.upper is None else place(gauge.upper - guard)
    for column in range(start, end + 1):
        cells[column] = ":" if accepted_from <= column <= accepted_to else "#"
    if gauge.lower is not None:
        cells[start] = "["
    if gauge.upper is not None:
        cells[end] = "]"
    return cells


def _whiskers(gauge: Gauge, place: Place, width: int) -> list[str]:
    cells = [" "] * width
    value, half = gauge.value, gauge.expanded_uncertainty
    if value is None or half is None or not math.isfinite(value):
        return cells
    ends = [place(value - half), place(value + half)]
    if ends[1] < 0 or ends[0] >= width:
        return cells
    low, high = (_column(end, width) for end in ends)
    for column in range(low, high + 1):
        cells[column] = "-"
    cells[low], cells[high] = "<", ">"
    if low == high:
        cells[low] = "+"
    return cells


def _numbers(gauge: Gauge, place: Place, width: int) -> list[str]:
    cells = [" "] * width
    for limit in (gauge.lower, gauge.upper):
        if limit is None:
            continue
        text = format_value(float(f"{limit:.4g}"), gauge.quantity_unit, ascii=True)
        if len(text) > width:
            continue
        start = max(0, min(width - len(text), place(limit) - len(text) // 2))
        if all(cell == " " for cell in cells[max(0, start - 1) : start + len(text) + 1]):
            cells[start : start + len(text)] = text
    return cells


def _explained(body: list[str], numbers: list[str]) -> None:
    """Write what the signs of the bar mean into the longest gap of the line of numbers, where they fit."""
    words = ", ".join(words for sign, words in _SIGNS if sign in body)
    longest, start = max((len(run), -at) for at, run in _gaps(numbers))
    if words and len(words) + 4 <= longest:
        at = -start + (longest - len(words)) // 2
        numbers[at : at + len(words)] = words


def _gaps(cells: list[str]) -> list[tuple[int, str]]:
    """Return where runs of spaces begin, and the runs."""
    return [(found.start(), found[0]) for found in re.finditer(" +", "".join(cells))] or [(0, "")]
