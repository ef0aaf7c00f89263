"""A probe card to print: one entry a check, where the probes go, what to expect, and room to write.

Plain characters, eighty columns. What is written on it can be typed in later: a readings file takes the check's
name and the reading, line by line, and leaves out what stayed blank.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby

from benchcheck.quantity import format_value
from benchcheck.score.capability import Capability

__all__ = ["WIDTH", "probe_card"]

WIDTH = 80
_BLANK = "_" * 14
_HEAD = (
    "unit ______________________________  date ______________  by ____________",
    "ambient ________  leads shorted ________  stage: as found / as left / return",
)
_FOOT = 'Type it in later: a file with the first line "check,reading", then one line a check.'


def probe_card(title: str, found: Iterable[Capability]) -> tuple[str, ...]:
    """Return the lines of the card for the checks in their order; derived checks need no entry.

    `title` names the board. Every line has at most 80 columns and only ASCII characters.
    """
    taken = [one for one in found if one.function != "derived"]
    lines = [_ascii(f"Probe card: {title}"), "", *_HEAD]
    numbered = list(enumerate(taken, 1))
    for function, entries in groupby(numbered, key=lambda entry: entry[1].function):
        lines += ["", f"-- {function.replace('_', ' ')} ".ljust(WIDTH, "-")]
        for number, one in entries:
            lines += _entry(number, one)
    return (*lines, "", *textwrap.wrap(_FOOT, WIDTH))


def _entry(number: int, one: Capability) -> Iterator[str]:
    yield _ascii(f"{number:>4}  {one.check:<34} {_BLANK}  {_window(one)}"[:WIDTH].rstrip())
    words = "; ".join(part for part in (_places(one), one.first_step) if part)
    for line in textwrap.wrap(words, WIDTH - 6):
        yield _ascii(f"      {line}")


def _places(one: Capability) -> str:
    if one.question:
        return one.question
    return f"red {one.red}, black {one.black}" if one.red and one.black else one.red


def _window(one: Capability) -> str:
    if one.answers:
        return " / ".join(one.answers)
    low, high = (
        None if value is None else format_value(value, one.quantity_unit, digits=3, ascii=True)
        for value in (one.window_lower, one.window_upper)
    )
    if low and high:
        return f"{low} .. {high}"
    if high:
        return f"<= {high}"
    return f">= {low}" + (" or OL" if one.overload else "") if low else ""


def _ascii(line: str) -> str:
    return line.encode("ascii", "replace").decode("ascii")
