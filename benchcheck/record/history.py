"""A unit over the years: its visits in order, each check as a series, and where a series is heading.

A repair is no drift: a value that moved between a look at the unit and the visit it left repaired begins its course
anew, and what stood before counts for no trend.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from benchcheck.metrology import Budget, Verdict
from benchcheck.record.model import Stage
from benchcheck.record.record import Record
from benchcheck.record.trend import Forecast, budget_of_sum, fit_line
from benchcheck.record.visits import across_visits, resolutions
from benchcheck.score.model import Outcome, Score

__all__ = ["History", "Point", "Series", "Trend", "history_of"]

LEVEL = 0.95
_YEAR_S = 365.25 * 86400.0
_AHEAD = timedelta(days=365.25)
_LONGEST_STAY = timedelta(days=180)  # of a unit at the bench, from the look at it to its repair; no source


@dataclass(frozen=True, slots=True)
class Point:
    """One check on one visit: the record it stands in, the visit's date (UTC), and the score.

    `resolution` is one step of the display in the quantity unit, 0 where it is not known.
    """

    record: Record
    date: datetime
    score: Score
    resolution: float = 0.0


@dataclass(frozen=True, slots=True)
class Trend:
    """Where a series is heading, in the check's quantity unit.

    `slope_per_year` with its half-interval at `level`; `significant` where that leaves out zero. `forecast`
    is for one reading at `at`, a year after the last visit unless another time was asked for. `since` is the date of
    the first value it rests on: the first visit, or that of the last repair the check shows.
    """

    count: int
    slope_per_year: float
    slope_half_width: float
    level: float
    at: datetime
    forecast: Forecast
    since: datetime

    @property
    def significant(self) -> bool:
        """Whether the slope is more than its interval can explain."""
        return abs(self.slope_per_year) > self.slope_half_width

    def leaves(self, lower: float | None, upper: float | None) -> bool:
        """Return whether the forecast interval reaches beyond a tolerance limit."""
        below = lower is not None and self.forecast.lower < lower
        return below or (upper is not None and self.forecast.upper > upper)


@dataclass(frozen=True, slots=True)
class Series:
    """One check over the visits, oldest first; `trend` is None below three values."""

    check: str
    quantity_unit: str
    points: tuple[Point, ...]
    trend: Trend | None = None

    @property
    def verdicts(self) -> tuple[Verdict | None, ...]:
        """The verdicts, oldest first."""
        return tuple(point.score.verdict for point in self.points)


@dataclass(frozen=True, slots=True)
class History:
    """A unit's visits, oldest first, and its checks in the order in which they were first scored."""

    visits: tuple[Record, ...]
    series: tuple[Series, ...]


def history_of(
    records: Sequence[Record], *, at: datetime | Callable[[Sequence[datetime]], datetime] | None = None
) -> History:
    """Return the history in records that are in order (`records_of`) and were read with their budgets.

    `at` is the time to forecast for, or makes it out of the dates a trend rests on. Visits without a date have no
    place in a series and are left out of it.
    """
    found: dict[str, list[Point]] = {}
    for record in records:
        if record.head.date is not None:
            steps = resolutions(record)
            for score in record.scores:
                if score.outcome is Outcome.MEASURED:
                    found.setdefault(score.check, []).append(
                        Point(record, record.head.date, score, steps.get(score.check, 0.0))
                    )
    series = (
        Series(check, points[-1].score.quantity_unit, tuple(points), _trend(points, at))
        for check, points in found.items()
    )
    return History(tuple(records), tuple(series))


def _trend(points: Sequence[Point], at: datetime | Callable[[Sequence[datetime]], datetime] | None) -> Trend | None:
    unit = points[-1].score.quantity_unit
    points = _since_repair(points)
    valued = [point for point in points if point.score.value is not None and point.score.quantity_unit == unit]
    if len(valued) < 3 or len({point.date for point in valued}) < 2:
        return None
    start = valued[0].date
    years = [(point.date - start).total_seconds() / _YEAR_S for point in valued]
    line = fit_line(years, [point.score.value or 0.0 for point in valued])
    dates = [point.date for point in valued]
    at = at(dates) if callable(at) else at or max(dates) + _AHEAD
    ahead = (at - start).total_seconds() / _YEAR_S
    beyond = _beyond(valued, line.weights)
    level_there = _beyond(valued, line.coefficients_at(ahead))
    forecast = line.forecast(ahead, LEVEL, level_there)
    return Trend(len(valued), line.slope, line.slope_half_width(LEVEL, beyond), LEVEL, at, forecast, start)


def _since_repair(points: Sequence[Point]) -> Sequence[Point]:
    """Return the points from the last one on that a repair moved away from the one before."""
    for place in range(len(points) - 1, 0, -1):
        before, after = points[place - 1], points[place]
        looked_at = before.record.head.stage is not Stage.AS_LEFT
        repaired = looked_at and after.record.head.stage is Stage.AS_LEFT
        if repaired and after.date - before.date <= _LONGEST_STAY and _moved(before, after):
            return points[place:]
    return points


def _moved(before: Point, after: Point) -> bool:
    """Whether two values differ by more than their uncertainty can explain, or only one of them is a number."""
    first, second = before.score, after.score
    if first.value is None or second.value is None or first.quantity_unit != second.quantity_unit:
        return (first.value is None) != (second.value is None) or first.quantity_unit != second.quantity_unit
    return abs(second.value - first.value) > 2.0 * _beyond((before, after), (-1.0, 1.0))


def _beyond(points: Iterable[Point], coefficients: Sequence[float]) -> float:
    """Return the standard uncertainty of a weighted sum of the values by their budgets.

    Visits without a budget count with their expanded uncertainty over the coverage factor, unshared. Each has
    its own differential linearity of one count, which no sharing of a meter removes.
    """
    budgets: list[Budget] = []
    loose = 0.0
    kept: list[float] = []
    for point, coefficient in zip(points, coefficients, strict=True):
        score = point.score
        loose += (coefficient * point.resolution) ** 2 / 3.0
        if score.budget is not None:
            budgets.append(across_visits(score.budget, point.record.head.instruments, point.record.identity))
            kept.append(coefficient)
        elif score.expanded_uncertainty is not None:
            loose += (coefficient * score.expanded_uncertainty / (score.coverage_factor or 2.0)) ** 2
    together = budget_of_sum(budgets, kept).combined_standard_uncertainty if budgets else 0.0
    return float((together * together + loose) ** 0.5)
