"""A report as it is handed over: a name, what it is about, and what makes a text of it.

`sheet RECORD --as NAME`, `history UNIT --as NAME` and `capability SPEC --as NAME` make one; what benchcheck itself
prints there goes the same way. What a report makes goes to a file or the screen, never back into a record.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from benchcheck.errors import Fault, PluginError, UsageError, close_match

__all__ = ["About", "CardSubject", "Report", "made", "named_report", "report_faults"]


class About(StrEnum):
    """What a report is about, and so what its `make` is given."""

    RECORD = "record"  # a `benchcheck.record.record.Record`: one visit
    UNIT = "unit"  # a `benchcheck.record.history.History`: every visit of a unit
    BENCH = "bench"  # a `CardSubject`: what a bench can decide on a board


@dataclass(frozen=True, slots=True)
class CardSubject:
    """A board's name, and what the bench's meters make of each of its checks (`score.capability.Capability`)."""

    title: str
    capabilities: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """One report.

    `make` returns the whole text of the file, ending in a line end. `suffix` is that of its files (".html"),
    `summary` one line for people.

    >>> def tally(record):
    ...     return f"{record.head.unit}: {len(record.scores)} checks\\n"
    >>> Report("tally", "how many checks there were", About.RECORD, tally, ".txt").name
    'tally'
    """

    name: str
    summary: str
    about: About
    make: Callable[[Any], str]
    suffix: str = ".txt"


def named_report(reports: Iterable[Report], name: str, about: About) -> Report:
    """Return the report of a name that is about the right thing; UsageError with those there are."""
    fitting = {one.name: one for one in reports if one.about is about}
    if name in fitting:
        return fitting[name]
    hint = close_match(name, fitting) or f"; there are {', '.join(sorted(fitting))}"
    raise UsageError(Fault("--as", name, f"is no report about a {about}{hint}"))


def made(report: Report, subject: object, giver: str = "") -> str:
    """Return the text of a report; PluginError naming the plugin `giver` when it raises or makes no text."""
    where = f"plugin {giver}" if giver else "report"
    try:
        text: Any = report.make(subject)
    except Exception as error:
        raise PluginError(Fault(where, report.name, f"raised {type(error).__name__}: {error}")) from error
    if not isinstance(text, str):
        raise PluginError(Fault(where, report.name, f"made a {type(text).__name__}; a report is a text"))
    return text


def report_faults(report: Report) -> Iterator[str]:
    """Yield in words what a report lacks to be one."""
    about: Any = report.about
    suffix: Any = report.suffix
    summary: Any = report.summary
    if not isinstance(about, About):
        yield f"it is about {about!r}; take one of About.{', About.'.join(one.name for one in About)}"
    make: Any = report.make
    if not callable(make):
        yield "its make cannot be called"
    if not isinstance(suffix, str) or not suffix.startswith(".") or len(suffix) < 2:
        yield f'its suffix is {suffix!r}; write one such as ".html"'
    if not isinstance(summary, str) or not summary.strip():
        yield "it has no summary; say in one line what is in it"
