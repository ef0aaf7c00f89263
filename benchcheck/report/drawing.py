"""Where lines and marks stand in the drawings of a report, in the units of their SVG view boxes.

A check is drawn on a scale on which its tolerance interval fills the middle half, so that a glance down a page
compares checks; a value far outside is drawn at the edge as an arrow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from benchcheck.quantity import format_value
from benchcheck.report.course import shown_trend
from benchcheck.report.wording import day_words, moment_words

if TYPE_CHECKING:
    from benchcheck.record.history import Point, Series
    from benchcheck.score.model import Score

__all__ = ["CheckDrawing", "TrendPlot", "draw_check", "plot_trend"]

WIDTH, HEIGHT = 220.0, 34.0
_LEFT, _RIGHT = 8.0, 212.0
_PLOT_LEFT, _PLOT_RIGHT, _PLOT_TOP, _PLOT_BOTTOM = 12.0, 348.0, 14.0, 108.0


@dataclass(frozen=True, slots=True)
class CheckDrawing:
    """One check: x positions of value, ends of its uncertainty, limits and guard bands; None where there is none.

    `inside` is the tolerance interval as (x, width), `guards` the guard bands likewise. `off` says on which
    side the value lies beyond the drawing: "left", "right" or "".
    """

    value: float
    from_x: float
    to_x: float
    lower: float | None
    upper: float | None
    inside: tuple[float, float] | None
    guards: tuple[tuple[float, float], ...]
    off: str


def draw_check(score: Score) -> CheckDrawing | None:
    """Return the drawing of a scored value, None where there is no value or no limit to draw it against."""
    value, lower, upper = score.value, score.lower, score.upper
    if value is None or (lower is None and upper is None):
        return None
    expanded = score.expanded_uncertainty or 0.0
    numbers = [value, expanded, *(one for one in (lower, upper) if one is not None)]
    if not all(map(math.isfinite, numbers)):
        return None
    low, high = _scale(value, expanded, lower, upper)

    def place(number: float) -> float:
        at = _LEFT + (number - low) / (high - low) * (_RIGHT - _LEFT)
        return round(min(max(at, 0.0), WIDTH), 1)

    return CheckDrawing(
        value=min(max(place(value), 4.0), WIDTH - 4.0),
        from_x=place(value - expanded),
        to_x=place(value + expanded),
        lower=None if lower is None else place(lower),
        upper=None if upper is None else place(upper),
        inside=_span(place(low if lower is None else lower), place(high if upper is None else upper)),
        guards=_guards(score, place(low), place(high), place),
        off="left" if value < low else "right" if value > high else "",
    )


def _scale(value: float, expanded: float, lower: float | None, upper: float | None) -> tuple[float, float]:
    if lower is not None and upper is not None:
        half = (upper - lower) / 2 or abs(upper) or 1.0
        return lower - half, upper + half
    limit = upper if lower is None else lower
    assert limit is not None
    reach = max(abs(limit), min(abs(value - limit) + expanded, 2.0 * (abs(limit) or 1.0))) or 1.0
    return limit - 1.1 * reach, limit + 1.1 * reach


def _span(start: float, end: float) -> tuple[float, float] | None:
    return (start, round(end - start, 1)) if end > start else None


def _guards(score: Score, low: float, high: float, place: object) -> tuple[tuple[float, float], ...]:
    assert callable(place)
    width, found = score.guard_band or 0.0, []
    if not (math.isfinite(width) and width > 0):
        return ()
    if score.lower is not None:
        found.append(_span(place(score.lower), min(place(score.lower + width), high)))
    if score.upper is not None:
        found.append(_span(max(place(score.upper - width), low), place(score.upper)))
    return tuple(one for one in found if one is not None)


@dataclass(frozen=True, slots=True)
class TrendPlot:
    """A check over the years: `points` as (x, y, y of value + U, y of value - U), limits as (y, words), the line.

    `days` are those at the two ends of the drawing.
    `line` is (x1, y1, x2, y2); `forecast` (x, y upper, y lower), both None below three values.
    """

    points: tuple[tuple[float, float, float, float], ...]
    limits: tuple[tuple[float, str], ...]
    days: tuple[str, str]
    line: tuple[float, float, float, float] | None
    forecast: tuple[float, float, float] | None


def plot_trend(series: Series) -> TrendPlot | None:
    """Return the plot of a series' values, None where fewer than two visits have one."""
    unit = series.quantity_unit
    points = [one for one in series.points if one.score.value is not None and one.score.quantity_unit == unit]
    if len(points) < 2:
        return None
    limits = [one for one in (points[-1].score.lower, points[-1].score.upper) if one is not None]
    low, high = _heights(points, limits, series)
    ends = [point.date.timestamp() for point in points]
    trend = shown_trend(series)
    if trend is not None:
        ends.append(trend.at.timestamp())
    first, last = min(ends), max(ends)

    def x(moment: float) -> float:
        return round(_PLOT_LEFT + (moment - first) / ((last - first) or 1.0) * (_PLOT_RIGHT - _PLOT_LEFT), 1)

    def y(number: float) -> float:
        at = _PLOT_BOTTOM - (number - low) / (high - low) * (_PLOT_BOTTOM - _PLOT_TOP)
        return round(min(max(at, 2.0), 118.0), 1)

    drawn = []
    for point in points:
        value, expanded = point.score.value or 0.0, point.score.expanded_uncertainty or 0.0
        drawn.append((x(point.date.timestamp()), y(value), y(value + expanded), y(value - expanded)))
    shown = tuple((y(limit), format_value(limit, unit, digits=4)) for limit in limits if low <= limit <= high)
    days = _end_words(points[0].date, trend.at if trend is not None else points[-1].date)
    if trend is None:
        return TrendPlot(tuple(drawn), shown, days, None, None)
    since = trend.since.timestamp()
    back = trend.forecast.expected - trend.slope_per_year * (trend.at.timestamp() - since) / (365.25 * 86400.0)
    line = (x(since), y(back), x(trend.at.timestamp()), y(trend.forecast.expected))
    forecast = (x(trend.at.timestamp()), y(trend.forecast.upper), y(trend.forecast.lower))
    return TrendPlot(tuple(drawn), shown, days, line, forecast)


def _end_words(first: datetime, last: datetime) -> tuple[str, str]:
    """Return the days at the ends of a plot, with the time where it is one day."""
    words = moment_words if first.date() == last.date() else day_words
    return words(first), words(last)


def _heights(points: Sequence[Point], limits: Sequence[float], series: Series) -> tuple[float, float]:
    """Return the ends of the scale: all values with their uncertainty, and the limits unless far away."""
    found: list[float] = []
    for point in points:
        value, expanded = point.score.value or 0.0, point.score.expanded_uncertainty or 0.0
        found += (value - expanded, value + expanded)
    trend = shown_trend(series)
    if trend is not None:
        found += (trend.forecast.lower, trend.forecast.upper)
    span = max(found) - min(found) or abs(found[0]) or 1.0
    found += [limit for limit in limits if min(found) - 3 * span <= limit <= max(found) + 3 * span]
    low, high = min(found), max(found)
    edge = 0.08 * ((high - low) or abs(high) or 1.0)
    return low - edge, high + edge
