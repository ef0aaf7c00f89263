"""Figures, times and texts of a record as reports word them; what a record holds is never trusted to be short."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from benchcheck.quantity import format_limits, format_with_uncertainty

if TYPE_CHECKING:
    from benchcheck.record.record import Record
    from benchcheck.score.model import Score

__all__ = [
    "WIDTH",
    "because_words",
    "counted",
    "counts_words",
    "day_words",
    "limits_words",
    "moment_words",
    "one_line",
    "result_words",
    "symbols",
    "tally",
    "value_words",
    "verdict_words",
    "wrapped",
]

WIDTH = 80
#: the order in which a tally names what came of the checks, worst last.
_ORDER = (
    "pass", "conditional pass", "conditional fail", "fail", "undecided", "skipped", "blocked", "error",
)  # fmt: skip

#: ASCII names of units behind a figure, as scores word them; beyond this length a text is cut anyway.
_ASCII_UNIT = re.compile(r"(?<=\d )(?:([pnumkMGT]?)ohm|u([AFHVWs])|degC)\b")
_LONGEST = 4000


def one_line(text: str, longest: int = 400) -> str:
    """Return a text on one line and without control characters, cut where it is very long.

    >>> one_line("a\\x1b[2Jb\\nc")
    'a [2Jb c'
    """
    head = text[: longest + 1]
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in head).split())
    return plain if len(text) <= longest else f"{plain[:longest]}... ({len(text)} characters)"


def wrapped(words: str, indent: str = "", hanging: str = "") -> list[str]:
    """Return one line's worth of words in lines of at most 80 columns; a word longer than that stands alone."""
    return textwrap.wrap(
        one_line(words, 4000),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )


def moment_words(moment: datetime | None) -> str:
    """Return a time to the minute in UTC, or that there is none."""
    return f"{moment:%Y-%m-%d %H:%M} UTC" if moment else "no date"


def day_words(moment: datetime | None) -> str:
    """Return the day of a time."""
    return f"{moment:%Y-%m-%d}" if moment else "no date"


def value_words(score: Score, *, ascii: bool = False) -> str:  # noqa: A002 (as in quantity)
    """Return value and expanded uncertainty, or what was shown where there is no value."""
    if score.value is None:
        return one_line(score.display, 60)
    expanded = score.expanded_uncertainty or 0.0
    words = format_with_uncertainty(score.value, expanded, score.quantity_unit, ascii=ascii)
    return words.replace("±", "+/-") if ascii else words


def limits_words(score: Score, *, ascii: bool = False) -> str:  # noqa: A002 (as in quantity)
    """Return the tolerance limits in words, "" where there are none."""
    return format_limits(score.lower, score.upper, score.quantity_unit, ascii=ascii)


def because_words(score: Score) -> str:
    """Return why a score is what it is, without what stands beside it already: the answer that was seen."""
    return symbols(score.because.removeprefix(f'seen: "{score.display}"; '))


def symbols(text: str) -> str:
    """Return a text with the symbols of units where it has their ASCII names, as the values beside it have.

    >>> symbols("1.436 kohm lies 90 mohm above, 22 uF at 40 degC; the user and the ohms stay")
    '1.436 kΩ lies 90 mΩ above, 22 µF at 40 °C; the user and the ohms stay'
    """
    return _ASCII_UNIT.sub(_symbol, text) if len(text) <= _LONGEST else text


def _symbol(found: re.Match[str]) -> str:
    ohm, micro = found.groups()
    if micro:
        return f"µ{micro}"
    return "°C" if ohm is None else f"{ohm.replace('u', 'µ')}Ω"


def verdict_words(score: Score) -> str:
    """Return the whole verdict in words, or the outcome where there is no verdict."""
    return str(score.verdict) if score.verdict else str(score.outcome)


def tally(scores: Iterable[Score]) -> tuple[tuple[str, int], ...]:
    """Return how many checks came to what, in a fixed order."""
    found = Counter(map(verdict_words, scores))
    known = [(word, found.pop(word)) for word in _ORDER if word in found]
    return (*known, *sorted(found.items()))


def _place(count: tuple[str, int]) -> tuple[int, str]:
    """Return where a count stands in a tally."""
    word = count[0]
    return (_ORDER.index(word) if word in _ORDER else len(_ORDER), word)


def counts_words(counts: Iterable[tuple[str, int]]) -> str:
    """Return counts as a sentence part: `145 pass, 42 undecided`."""
    return ", ".join(f"{count} {word}" for word, count in counts) or "no checks"


def counted(count: int, what: str) -> str:
    """Return a count and what was counted.

    >>> counted(1, "check"), counted(2, "check")
    ('1 check', '2 checks')
    """
    return f"{count} {what}" + ("" if count == 1 else "s")


def result_words(record: Record) -> str:
    """Return how a visit ended, in words."""
    if record.result is None:
        return f"no result yet; {counts_words(tally(record.scores))}"
    counts = sorted(record.result.counts, key=_place) or tally(record.scores)
    return f"exit {record.result.exit_code}: {counts_words(counts)}"
