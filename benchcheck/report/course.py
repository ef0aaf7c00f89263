"""Which checks of a unit moved over its visits, and how far ahead their course may honestly be drawn.

A forecast reaches no further ahead than the visits reach back, and a year at most; visits within one month
show no drift over years at all, whatever line fits them.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.record.history import History, Series, Trend
    from benchcheck.record.record import Record

__all__ = ["clock_set_back", "horizon", "leaving", "moved_checks", "reach", "shown_trend"]

_SHORTEST = timedelta(days=30)
_FURTHEST = timedelta(days=365.25)
_FEWEST_TO_WARN = 4


def horizon(records: Sequence[Record]) -> datetime | None:
    """Return the time to forecast for, None where no record has a date."""
    dates = [record.head.date for record in records if record.head.date is not None]
    return reach(dates) if dates else None


def reach(dates: Sequence[datetime]) -> datetime:
    """Return the time to forecast for from values of these dates."""
    return max(dates) + max(_SHORTEST, min(max(dates) - min(dates), _FURTHEST))


def shown_trend(series: Series) -> Trend | None:
    """Return the trend of a series where what it rests on reaches back far enough to show one."""
    if series.trend is None:
        return None
    reaches_back = max(point.date for point in series.points) - series.trend.since
    return series.trend if reaches_back >= _SHORTEST else None


def moved_checks(history: History) -> frozenset[str]:
    """Return the checks that changed from one visit to the next or over all, drift, or are to leave their limits.

    A change counts against the uncertainty of the difference, one meter's own errors cancelled.
    """
    from benchcheck.record.changes import ChangeKind, changes_between  # only a history needs it

    visits = history.visits
    pairs = [*pairwise(visits), *([(visits[0], visits[-1])] if len(visits) > 2 else [])]
    found = {
        change.check
        for earlier, later in pairs
        for change in changes_between(earlier, later).ranked
        if change.kind is not ChangeKind.SAME
    }
    return frozenset(found | {series.check for series in history.series if _heading_out(series)})


def _heading_out(series: Series) -> bool:
    trend = shown_trend(series)
    if trend is None:
        return False
    return trend.significant or (leaving(series, trend) and trend.count >= _FEWEST_TO_WARN)


def leaving(series: Series, trend: Trend) -> bool:
    """Return whether the forecast reaches beyond a limit that the last value still keeps, or drifts away from."""
    last = series.points[-1].score
    return trend.leaves(last.lower, last.upper) and (trend.significant or not _outside(series))


def clock_set_back(visits: Sequence[Record]) -> tuple[str, ...]:
    """Return a remark for each visit that is dated before one it follows: a trend over such dates may be wrong."""
    found, latest = [], None
    for record in visits:
        date = record.head.date
        if date is not None and latest is not None and date < latest:
            found.append(
                f"The visit of {date:%Y-%m-%d %H:%M} UTC follows one of {latest:%Y-%m-%d %H:%M} UTC: "
                "a clock was wrong, and a trend over these dates may be too."
            )
        latest = max(filter(None, (date, latest)), default=None)
    return tuple(found)


def _outside(series: Series) -> bool:
    """Whether the last value is outside already, so that there is nothing to warn of."""
    last = series.points[-1].score
    below = last.value is not None and last.lower is not None and last.value < last.lower
    return below or (last.value is not None and last.upper is not None and last.value > last.upper)
