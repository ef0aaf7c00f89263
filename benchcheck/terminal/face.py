"""What the screen of a guided visit looks like: one check, its reading, the last verdict, what comes next, the keys.

Pure: from a view and a size to lines. What matters least goes first where the window is small; at 20 columns the
check, its probes, the reading and the keys are still there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.terminal.bar import Gauge, bar_lines
from benchcheck.terminal.canvas import Line
from benchcheck.terminal.lines import STYLES
from benchcheck.terminal.page import folded_page
from benchcheck.terminal.wrapping import wrapped

__all__ = ["Last", "View", "face"]

_NARROW = 60
_LEAST = 16  # columns in which an id or a header is folded rather than cut
_LABEL = 9
_OFF = "power off"  # never left out: it is what a hand looks for in a hurry
_SHORT = len(_OFF)
_UNDER = " " * (_LABEL + 2)
_REASON = 2  # lines of the reason before, however long it is, that stay as long as the bar
#: how soon a row goes where the window is small: last of all where the tips go, or what is to be looked at.
_RANKS = {
    "power": 1,
    "check": 1,
    "red": 1,
    "black": 1,
    "where": 1,
    "look": 1,
    "question": 1,
    "answer": 2,
    "again": 2,
    "expect": 6,
}


@dataclass(frozen=True, slots=True)
class Last:
    """The check before: its id, its verdict or outcome as one word, what was shown, and why it is no plain pass."""

    check: str
    verdict: str
    shown: str
    because: str = ""


@dataclass(frozen=True, slots=True)
class View:
    """All that one picture shows. `rows` are pairs of label and words; `page` takes the place of all else."""

    title: str
    progress: str
    check: str
    rows: tuple[tuple[str, str], ...] = ()
    reading: str = ""
    state: str = ""
    gauge: Gauge | None = None
    last: Last | None = None
    after: str = ""
    messages: tuple[str, ...] = ()
    entry: str | None = None
    prompt: str = ""
    power: str = ""
    keys: tuple[tuple[str, str], ...] = ()
    page: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Block:
    """Lines that stay or go together; the least important (largest `rank`) goes first, cut from its end if `cuts`."""

    rank: int
    lines: tuple[Line, ...]
    cuts: bool = False


def face(view: View, columns: int, rows: int) -> list[Line]:
    """Return the lines of a view for a screen of this size, at most `rows` of them."""
    foot = [*_entry(view, columns), *_keys(view, columns, rows)]
    room = max(1, rows - len(foot))
    if view.page:
        body = _fitted((_Block(0, (*_header(view, columns), *_page(view, columns)), cuts=True),), room)
        return [*body, *[Line("")] * (room - len(body)), *foot][:rows]
    above, below = _above(view, columns), _below(view, columns)
    kept = _kept((*above, *below), room)
    body, tail = ([line for lines in part for line in lines] for part in (kept[: len(above)], kept[len(above) :]))
    gap = [Line("")] * (room - len(body) - len(tail))
    return [*body, *gap, *tail, *foot][:rows]


def _above(view: View, columns: int) -> tuple[_Block, ...]:
    return (
        _Block(2, _header(view, columns)),
        _Block(11, (Line("-" * columns, "dim"),)),
        _Block(0, _power(view, columns)[:1]),
        _Block(2, _power(view, columns)[1:], cuts=True),
        _Block(int(view.entry is not None and not view.rows), _head(view, columns)),
        *(_Block(_RANKS.get(label, 3), _labelled(label, words, columns), cuts=True) for label, words in view.rows),
        _Block(12, (Line(""),)),
        _Block(0, _reading(view, columns)),
        _Block(8, _gauge(view, columns)),
    )


def _below(view: View, columns: int) -> tuple[_Block, ...]:
    messages = (text for words in view.messages for text in _folded(words, columns))
    asking = 1 if view.entry is not None else 2  # a question is read whole, whatever else has to go
    return (
        _Block(asking, tuple(Line(text, "bold") for text in messages), cuts=True),
        _Block(5, _last(view, columns), cuts=True),
        _Block(7, _because(view, columns)[:_REASON]),
        _Block(10, _because(view, columns)[_REASON:], cuts=True),
        _Block(9, _labelled("next", view.after, columns, "dim"), cuts=True),
        _Block(11, (Line("-" * columns, "dim"),)),
    )


def _fitted(blocks: Sequence[_Block], room: int) -> list[Line]:
    """Return the lines of the blocks that fit."""
    return [line for lines in _kept(blocks, room) for line in lines][:room]


def _kept(blocks: Sequence[_Block], room: int) -> list[list[Line]]:
    """Return the lines each block keeps; what is least important is cut, then left out."""
    kept = [list(block.lines) for block in blocks]
    for place in sorted(range(len(blocks)), key=lambda place: -blocks[place].rank):
        over = sum(map(len, kept)) - room
        if over <= 0:
            break
        if blocks[place].cuts:
            del kept[place][max(1, len(kept[place]) - over) :]
            over = sum(map(len, kept)) - room
            if over <= 0:
                break
        if blocks[place].rank > 0:
            kept[place].clear()
    return kept


def _folded(words: str, columns: int, indent: str = "", hanging: str = "") -> list[str]:
    return wrapped(words, indent, hanging, columns)


def _broken(check: str, columns: int) -> str:
    """Return the id of a check so that it may be folded: before its bracket, then at the dot before its measurand."""
    if len(check) <= columns:
        return check
    name, bracket, rest = check.partition("[")
    name = name if len(name) <= columns or columns < _LEAST else name.replace(".", ". ", 1)
    return f"{name} {bracket}{rest}" if bracket else name


def _header(view: View, columns: int) -> tuple[Line, ...]:
    gap = columns - len(view.title) - len(view.progress)
    if gap >= 2:
        return (Line(f"{view.title}{' ' * gap}{view.progress}"),)
    progress = view.progress if len(view.progress) <= columns else view.progress.partition(",")[0]
    return tuple(Line(text) for text in (_folded(progress, columns) if columns >= _LEAST else [progress]))


def _power(view: View, columns: int) -> tuple[Line, ...]:
    return tuple(Line(text, "bold red") for text in _folded(view.power, columns)) if view.power else ()


def _head(view: View, columns: int) -> tuple[Line, ...]:
    return tuple(Line(text, "bold") for text in _folded(_broken(view.check, columns), columns))


def _labelled(label: str, words: str, columns: int, style: str = "") -> tuple[Line, ...]:
    if not words:
        return ()
    if columns < _NARROW:
        return tuple(Line(text, style) for text in _folded(f"{label}: {words}", columns, "", " "))
    return tuple(Line(text, style) for text in _folded(words, columns, f"  {label:<{_LABEL}}", _UNDER))


def _reading(view: View, columns: int) -> tuple[Line, ...]:
    if not view.reading and not view.state:
        return ()
    if columns < _NARROW:
        return (Line(view.reading, "bold"), *(Line(text) for text in _folded(view.state, columns)))
    if not view.reading:
        return _labelled("now", view.state, columns)
    shown = f"  {'now':<{_LABEL}}{view.reading}"
    if len(shown) + 3 + len(view.state) <= columns:
        return (Line(f"{shown}   {view.state}".rstrip(), "bold", len(shown)),)
    return (Line(shown, "bold"), *(Line(text) for text in _folded(view.state, columns, _UNDER, _UNDER)))


def _gauge(view: View, columns: int) -> tuple[Line, ...]:
    if view.gauge is None:
        return ()
    indent = "  " if columns >= _NARROW else ""
    return tuple(Line(indent + text) for text in bar_lines(view.gauge, columns - 2 * len(indent)))


def _last(view: View, columns: int) -> tuple[Line, ...]:
    last = view.last
    if last is None:
        return ()
    style = STYLES.get(last.verdict, "")
    if columns < _NARROW:
        words = f"{last.verdict}: {last.shown} {_broken(last.check, columns)}"
        return tuple(Line(text, style) for text in _folded(words, columns))
    words = f"  {'last':<{_LABEL}}{last.verdict}"
    return (Line(f"{words}  {last.check}  {last.shown}", style, len(words)),)


def _because(view: View, columns: int) -> tuple[Line, ...]:
    indent = _UNDER if columns >= _NARROW else ""
    words = view.last.because if view.last is not None else ""
    return tuple(Line(text, "dim") for text in _folded(words, columns, indent, indent))


def _entry(view: View, columns: int) -> list[Line]:
    if view.entry is None:
        return []
    lines = [Line(text) for text in _folded(view.prompt, columns)] if view.prompt else []
    return [*lines[-3:], Line(f"> {view.entry[-max(1, columns - 4) :]}_", "bold")]


def _keys(view: View, columns: int, rows: int) -> list[Line]:
    """Return the keys in as few lines as they need, short of words where the window is small."""
    told = [f"{key} {words}" for key, words in view.keys]
    lines = _packed(told, columns)
    if len(lines) > max(1, rows // 5):
        lines = _packed([f"{key} {_in_short(words)}" for key, words in view.keys], columns)
    if len(lines) > max(1, rows // 4):
        off = [f"{key.replace('any other key', 'other keys')} {_OFF}" for key, words in view.keys if words == _OFF]
        lines = _packed([*off, " ".join(key for key, words in view.keys if words != _OFF)], columns)
    return [Line(line, "dim") for line in lines[: max(1, rows // 3)]]


def _in_short(words: str) -> str:
    return words if len(words) <= _SHORT else words.split()[0]


def _packed(words: Sequence[str], columns: int) -> list[str]:
    lines: list[str] = []
    for word in (part for one in words for part in _folded(one, columns)):
        if lines and len(lines[-1]) + 3 + len(word) <= columns:
            lines[-1] += f"   {word}"
        else:
            lines.append(word)
    return lines


def _page(view: View, columns: int) -> tuple[Line, ...]:
    return tuple(Line(text) for words in view.page for text in folded_page(words, columns))
