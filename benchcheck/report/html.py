"""Records as pages: one HTML file that needs no other, runs nothing, and in which every text stays text.

The templates escape; beyond that, signs that no HTML may hold are replaced, and a text of megabytes is cut with
a word that it was. What the pages say is worked out before they are filled in.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import jinja2
from markupsafe import Markup, escape

from benchcheck.quantity import format_percent, format_value
from benchcheck.report.course import clock_set_back, leaving, moved_checks, shown_trend
from benchcheck.report.drawing import CheckDrawing, TrendPlot, draw_check, plot_trend
from benchcheck.report.photos import Picture
from benchcheck.report.summary import overdue, summarise
from benchcheck.report.wording import (
    because_words,
    counted,
    counts_words,
    day_words,
    limits_words,
    moment_words,
    result_words,
    symbols,
    tally,
    value_words,
    verdict_words,
)

if TYPE_CHECKING:
    from benchcheck.record.history import History, Series
    from benchcheck.record.record import Record
    from benchcheck.score.model import Score

__all__ = ["history_page", "sheet_page"]

_LONGEST = 3000
#: behind these a check's id may be broken; what escaping makes of other signs holds none of them.
_JOINT = re.compile(r"([.:_]|(?=\[))")


@dataclass(frozen=True, slots=True)
class Row:
    """One check of the technician's table."""

    number: int
    score: Score
    verdict: str
    value: str
    limits: str
    drawing: CheckDrawing | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """One check of the history page: its plot and the visits in words."""

    series: Series
    plot: TrendPlot | None
    rows: tuple[tuple[str, str, str], ...]
    sentence: str
    moved: bool


def sheet_page(record: Record, photos: Sequence[Picture] = ()) -> str:
    """Return the sheet of a record, read with its budgets, as one HTML document that holds its photos."""
    notes = _notes(record)
    rows = tuple(_row(number, score, notes.get(score.check, ())) for number, score in enumerate(record.scores, 1))
    return (
        _environment()
        .get_template("sheet.html")
        .render(
            record=record,
            head=record.head,
            summary=summarise(record),
            photos=photos,
            values=[row for row in rows if not _is_answer(row.score)],
            answers=[row for row in rows if _is_answer(row.score)],
            places={row.score.check: row.number for row in rows},
            counts=counts_words(tally(record.scores)),
            ambient=next((one.display.text for one in record.readings if one.check == "ambient"), ""),
            overdue={one.name for one in record.head.instruments if overdue(one.calibration_due, record)},
        )
        + "\n"
    )


def history_page(history: History) -> str:
    """Return the history of a unit as one HTML document with a plot a check."""
    moved = moved_checks(history)
    courses = [_course(series, series.check in moved) for series in history.series]
    return (
        _environment()
        .get_template("history.html")
        .render(
            history=history,
            clocks=clock_set_back(history.visits),
            unit=history.visits[-1].head.unit if history.visits else "",
            told=[one for one in courses if one.moved],
            quiet=[one for one in courses if not one.moved],
        )
        + "\n"
    )


def _is_answer(score: Score) -> bool:
    """Whether a check was answered in words, so that there is nothing to draw."""
    return score.value is None and score.lower is None and score.upper is None and not score.budget


def _row(number: int, score: Score, notes: tuple[str, ...]) -> Row:
    change = score.change and f"What would change it: {symbols(score.change)}"
    words = (because_words(score), change, *notes)
    return Row(
        number,
        score,
        verdict_words(score),
        value_words(score),
        limits_words(score),
        draw_check(score),
        tuple(word for word in words if word),
    )


def _notes(record: Record) -> dict[str, tuple[str, ...]]:
    """Return what was noted with the readings of each check."""
    found: dict[str, tuple[str, ...]] = {}
    for reading in record.readings:
        words = [f"Note: {reading.note}"] if reading.note else []
        if reading.retries:
            words.append(f"Earlier tries: {', '.join(reading.retries)}")
        if words:
            found[reading.check] = (*found.get(reading.check, ()), *words)
    return found


def _course(series: Series, moved: bool) -> Course:
    rows = tuple(
        (f"{day_words(point.date)} {point.record.head.stage}", value_words(point.score), verdict_words(point.score))
        for point in series.points
    )
    return Course(series, plot_trend(series), rows, _sentence(series), moved)


def _sentence(series: Series) -> str:
    trend, unit = shown_trend(series), series.quantity_unit
    if trend is None:
        return "A trend needs three values over a month or more, and counts from a repair on."
    slope, half = (format_value(one, unit, digits=3) for one in (trend.slope_per_year, trend.slope_half_width))
    lower, upper = (format_value(one, unit, digits=3) for one in (trend.forecast.lower, trend.forecast.upper))
    seen = "Drift" if trend.significant else "No drift to be seen"
    leaves = " That reaches beyond a limit." if leaving(series, trend) else ""
    ahead = f"A reading on {day_words(trend.at)} lies between {lower} and {upper} ({100 * trend.level:g} %)."
    repaired = f"Since the repair of {day_words(trend.since)}. " if trend.since > series.points[0].date else ""
    return f"{repaired}{seen}: {slope} a year, give or take {half}. {ahead}{leaves}"


@functools.cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("benchcheck.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=_printable,
    )
    environment.filters |= {
        "breakable": _breakable,
        "counted": counted,
        "day": day_words,
        "figure": _figure,
        "moment": moment_words,
        "probability": _probability,
        "quantity": _quantity,
        "result": result_words,
        "symbols": symbols,
    }
    return environment


def _breakable(check: str) -> Markup:
    """Return a check's id that a narrow column breaks between its parts, if it can, and not within them."""
    return Markup(_JOINT.sub(r"\1<wbr>", str(escape(_printable(check)))))


def _figure(number: float) -> str:
    return f"{number:.4g}"


def _quantity(number: float, unit: str) -> str:
    return format_value(number, unit, digits=3)


def _probability(one: float) -> str:
    """Return a probability in words that claim no certainty."""
    if one > 0.9999:
        return "over 99.99 %"
    return "under 0.01 %" if one < 0.0001 else format_percent(one)


def _printable(value: Any) -> Any:
    """Return what HTML may hold of a text (no controls, surrogates or noncharacters), cut if very long."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    text = str(value) if len(value) <= _LONGEST else f"{value[:_LONGEST]}... (cut: {len(value)} characters in all)"
    return text if text.isprintable() else "".join(sign if _allowed(sign) else "\ufffd" for sign in text)


def _allowed(sign: str) -> bool:
    if sign.isprintable() or sign in "\n\t":
        return True
    return unicodedata.category(sign) not in ("Cc", "Cs", "Cn")
