"""A probe card to print: one entry a check, where the probes go, what to expect, and room to write.

As plain characters in eighty columns, or as a page of its own for a browser and A4. What is written on it can be
typed in later: a readings file takes the check's name and the reading, line by line, and leaves out what stayed
blank.
"""

from __future__ import annotations

import functools
import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby

import jinja2

from benchcheck.quantity import format_value
from benchcheck.score.capability import Capability

__all__ = ["WIDTH", "probe_card", "probe_card_html"]

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
    lines = [_ascii(f"Probe card: {title}"), "", *_HEAD]
    for function, entries in _by_function(found):
        lines += ["", f"-- {function} ".ljust(WIDTH, "-")]
        for number, one in entries:
            lines += _entry(number, one)
    return (*lines, "", *textwrap.wrap(_FOOT, WIDTH))


def probe_card_html(title: str, found: Iterable[Capability]) -> str:
    """Return the same card as a page that needs no other file; every text in it is escaped."""
    rows = [
        (function, [(number, one, _places(one), _window(one)) for number, one in entries])
        for function, entries in _by_function(found)
    ]
    return _page().render(title=title, rows=rows, head=_HEAD, foot=_FOOT)


@functools.cache
def _page() -> jinja2.Template:
    environment = jinja2.Environment(autoescape=True, trim_blocks=True, undefined=jinja2.StrictUndefined)
    return environment.from_string(_PAGE)


def _by_function(found: Iterable[Capability]) -> Iterator[tuple[str, list[tuple[int, Capability]]]]:
    """Yield runs of one function with their numbered checks; derived ones are not read and left out."""
    numbered = enumerate((one for one in found if one.function != "derived"), 1)
    for function, entries in groupby(numbered, key=lambda entry: entry[1].function):
        yield function.replace("_", " "), list(entries)


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


_PAGE = """\
<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Probe card: {{ title }}</title>
<style>
@page { size: A4; margin: 12mm }
body { font: 10pt sans-serif } table { width: 100%; border-collapse: collapse }
td, th { border-bottom: 1px solid #999; padding: 2mm 1mm; text-align: left; vertical-align: top }
tr { break-inside: avoid } td.room { width: 35mm } small { color: #333 }
</style></head><body><main>
<h1>Probe card: {{ title }}</h1>
{% for line in head %}<p>{{ line }}</p>
{% endfor %}
{% for function, entries in rows %}
<h2>{{ function }}</h2>
<table><tr><th>no.</th><th>check</th><th>reading</th><th>expect</th></tr>
{% for number, one, places, window in entries %}
<tr><td>{{ number }}</td><td>{{ one.check }}<br><small>{{ places }}{% if one.first_step %}; {{ one.first_step }}
{% endif %}</small></td><td class="room"></td><td>{{ window }}</td></tr>
{% endfor %}
</table>
{% endfor %}
<p>{{ foot }}</p>
</main></body></html>
"""
