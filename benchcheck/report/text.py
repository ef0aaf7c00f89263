"""What a shop asks of its records, answered as lines of plain characters in eighty columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from benchcheck.quantity import format_value
from benchcheck.record.audit import Audit
from benchcheck.record.changes import Change, ChangeKind, Changes
from benchcheck.record.history import History, Series, Trend
from benchcheck.record.tries import open_tries
from benchcheck.report.course import clock_set_back, leaving, moved_checks, shown_trend
from benchcheck.report.wording import (
    counted,
    day_words,
    moment_words,
    one_line,
    result_words,
    value_words,
    verdict_words,
    wrapped,
)

if TYPE_CHECKING:
    from benchcheck.record.index import IndexedVisit
    from benchcheck.record.record import Record

__all__ = ["audit_lines", "changes_lines", "history_lines", "visits_lines"]


def history_lines(history: History, *, every: bool = False) -> tuple[str, ...]:
    """Return a unit's visits and how its checks developed; with `every` also those that stayed as they were."""
    lines: list[str] = []
    for number, record in enumerate(history.visits, 1):
        lines += _visit(number, record)
    for remark in clock_set_back(history.visits):
        lines += wrapped(f"note: {remark}", "", "  ")
    names = moved_checks(history)
    told = [one for one in history.series if one.check in names]
    quiet = [one for one in history.series if one.check not in names]
    if len(history.visits) > 1 and told:
        lines += ["", "What moved, oldest visit first:"]
        lines += [line for series in told for line in _series(series)]
    if every and quiet:
        lines += ["", "The other checks:"]
        lines += [line for series in quiet for line in _series(series)]
    elif len(history.visits) > 1:
        other = counted(len(quiet), "other check" if told else "check")
        lines += ["", *wrapped(f"{other} did not move beyond the uncertainty; --all lists what did not")]
    elif len(history.visits) == 1:
        lines += ["", "One visit so far: there is nothing to compare it with. --all lists its checks"]
    return tuple(lines)


def _visit(number: int, record: Record) -> Iterator[str]:
    head = record.head
    who = f" by {one_line(head.operator, 20)}" if head.operator else ""
    yield from wrapped(
        f"{moment_words(head.date)}, {head.stage}{who}; {result_words(record)}", f"{number:>3}  ", "     "
    )
    yield from wrapped(f"{one_line(head.board)} {one_line(head.revision)}".strip(), "     ", "     ")
    yield from wrapped(f"record {one_line(record.name)}", "     ", "     ")
    yield f"     seal {record.last_seal}"
    for waiver in head.waivers:
        yield from wrapped(f"waived: {waiver.check}: {waiver.reason}", "     ", "     ")
    for event in record.events:
        if str(event.kind) in ("amendment", "note"):
            yield from wrapped(f"{event.kind} {event.check}: {event.text}", "     ", "     ")
    for check, shown in open_tries(record).items():
        yield from wrapped(f"tried and not accepted: {check}: {', '.join(map(one_line, shown))}", "     ", "     ")
    for problem in record.problems:
        yield from wrapped(f"! {problem}", "     ", "       ")


def _series(series: Series) -> Iterator[str]:
    yield from wrapped(series.check, "  ")
    for point in series.points:
        when = f"{day_words(point.date)}  {point.record.head.stage:<8}"
        words = f"{when}  {value_words(point.score, ascii=True):<28} {verdict_words(point.score)}"
        yield f"    {words}".rstrip()
    trend = shown_trend(series)
    if trend is not None:
        yield from wrapped(_trend(series, trend), "    ", "    ")


def _trend(series: Series, trend: Trend) -> str:
    unit = series.quantity_unit

    def said(value: float) -> str:
        return format_value(value, unit, digits=3, ascii=True)

    drift = f"{said(trend.slope_per_year)} +/- {said(trend.slope_half_width)} a year"
    drift = f"drift {drift}" if trend.significant else f"no drift to be seen ({drift})"
    ahead = f"a reading on {day_words(trend.at)} lies between {said(trend.forecast.lower)} and "
    ahead += f"{said(trend.forecast.upper)} ({100 * trend.level:g} %)"
    leaves = "; that reaches beyond a limit" if leaving(series, trend) else ""
    repaired = f"since the repair of {day_words(trend.since)}: " if trend.since > series.points[0].date else ""
    return f"{repaired}{drift}; {ahead}{leaves}"


def changes_lines(changes: Changes) -> tuple[str, ...]:
    """Return what changed between two visits, the most significant first."""
    lines = [line for record in (changes.earlier, changes.later) for line in _compared(record)]
    told = [one for one in changes.ranked if one.kind is not ChangeKind.SAME]
    lines.append("")
    for change in told:
        lines += _change(change)
    rest = len(changes.ranked) - len(told)
    same = "reads" if rest == 1 else "read"
    lines += wrapped(
        f"{counted(len(told), 'change')}; {counted(rest, 'check')} {same} the same within the uncertainty"
    )
    for words, checks in (("only before", changes.only_earlier), ("only after", changes.only_later)):
        if checks:
            lines += wrapped(f"measured {words}: {', '.join(checks)}", "", "  ")
    for remark in changes.remarks:
        lines += wrapped(f"note: {remark}", "", "  ")
    return tuple(lines)


def _compared(record: Record) -> list[str]:
    head = record.head
    return wrapped(
        f"{moment_words(head.date)}, {head.stage}, {one_line(head.unit)}; {result_words(record)}", "", "  "
    )


def _change(change: Change) -> Iterator[str]:
    before, after = change.earlier, change.later
    yield from wrapped(f"{change.check}: {_in_brief(change)}", "", "  ")
    for score in (before, after):
        yield f"    {value_words(score, ascii=True):<28} {verdict_words(score)}".rstrip()


def _in_brief(change: Change) -> str:
    if change.kind is ChangeKind.SHAPE:
        return "shows another kind of thing"
    if change.kind is ChangeKind.VERDICT and not change.significant:
        return "the verdict changed, the value did not beyond its uncertainty"
    unit = change.later.quantity_unit
    size = format_value(change.difference or 0.0, unit, digits=3, ascii=True)
    if not change.expanded_uncertainty:
        return f"changed by {size}"
    around = format_value(change.expanded_uncertainty, unit, digits=2, ascii=True)
    meter = "; one meter, so its own errors cancel" if change.one_meter else ""
    return f"changed by {size} +/- {around}, {change.significance:.1f} times its uncertainty{meter}"


def audit_lines(audit: Audit) -> tuple[str, ...]:
    """Return what a check of seals and parents found, the serious first, and what seals cannot show.

    What is sealed and not read here is named as that: nothing says that it was changed.
    """
    lines: list[str] = []
    for words, kind in (
        ("changed or missing", (True, False)),
        ("not read", (False, True)),
        ("remark", (False, False)),
    ):
        for finding in audit.findings:
            if (finding.serious, finding.unread) == kind:
                lines += wrapped(f"{words}: {finding}", "", "  ")
    state = "every seal and parent holds" if audit.sound else "something was changed or is missing, see above"
    if any(finding.unread for finding in audit.findings):
        state += "; what is not read here was made by a newer benchcheck, which is to check it too"
    seen = ((audit.units, "unit"), (audit.records, "record"), (audit.blocks, "sealed block"))
    lines += wrapped(f"{', '.join(counted(*one) for one in seen)}: {state}")
    lines.append("What the seals cannot show:")
    for words in audit.not_shown:
        lines += wrapped(words, "  ", "    ")
    return tuple(lines)


def visits_lines(visits: Iterable[tuple[IndexedVisit, str]]) -> tuple[str, ...]:
    """Return visits found across units, each with the words that belong to it; the record under each."""
    lines: list[str] = []
    for visit, words in visits:
        more = f", {one_line(words)}" if words else ""
        lines += wrapped(f"{day_words(visit.date)} {visit.stage}: {one_line(visit.unit)}{more}", "", "  ")
        lines += wrapped(f"record {visit.folder}/{visit.file}", "  ", "    ")
    return tuple(lines)
