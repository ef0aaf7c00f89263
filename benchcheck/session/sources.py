"""A source of readings as it is handed over: one that is asked check by check, or one that reads a file whole.

`verify --source NAME` or `NAME:WORDS` has the checks asked of it, `verify --readings FILE --source NAME` has it read
the file. What a plugin's source is given are copies, and what it gives is looked at before it is accepted: nothing it
does can change a limit, a budget or a reading that is on file.
"""

from __future__ import annotations

import contextlib
import copy
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from benchcheck.bench.model import Bench
from benchcheck.errors import BenchcheckError, Fault, OutputStateUnknown, ReadingsError, UsageError, close_match
from benchcheck.kinds.check import Check
from benchcheck.readings.file import ReadingsFile
from benchcheck.readings.reading import Reading
from benchcheck.session.answers import (
    Answer,
    Exchange,
    Hindered,
    Later,
    Photo,
    Prefer,
    Remark,
    Skip,
    Source,
    Step,
    Stop,
    Taken,
    Trouble,
    Undo,
)

__all__ = [
    "FileSetting",
    "ReadingSource",
    "Setting",
    "WatchedSource",
    "named_source",
    "opened",
    "read_with",
    "source_faults",
]

_ANSWERS = (Taken, Skip, Undo, Later, Stop, Hindered, Trouble, Remark, Photo, Exchange, Prefer)


def _no_terminal(prompt: str) -> str:
    raise EOFError(prompt)


def _unheard(line: str) -> None:
    """Nobody is there to be told."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a source is opened with.

    `argument` is what the user wrote behind the colon of `--source NAME:ARGUMENT`. `ask` shows a prompt and returns
    the line typed (EOFError where there is no terminal), `tell` shows a line.
    """

    bench: Bench
    argument: str = ""
    ask: Callable[[str], str] = _no_terminal
    tell: Callable[[str], None] = _unheard


@dataclass(frozen=True, slots=True)
class FileSetting:
    """What a file is read with: the checks of the board by id, the bench, and ids this board must not get.

    `on_board` says what the good board reads at a check, in its quantity unit, None where nobody can say.
    """

    path: Path
    checks: Mapping[str, Check]
    bench: Bench
    withheld: Collection[str] = ()
    on_board: Callable[[Check], float | None] | None = None


@dataclass(frozen=True, slots=True)
class ReadingSource:
    """One source of readings; exactly one of `open` and `read` is given.

    `open` returns what answers check by check (`session.answers.Source`); interlocks hold for it as for a person.
    `read` returns every reading of a file at once, and raises ReadingsError naming every bad line.

    >>> ReadingSource("pulse", "a pulse counter", open=lambda setting: None).name
    'pulse'
    """

    name: str
    summary: str
    open: Callable[[Setting], Source] | None = None
    read: Callable[[FileSetting], ReadingsFile] | None = None


def source_faults(source: ReadingSource) -> Iterator[str]:
    """Yield in words what a source lacks to be one."""
    given = [one for one in (source.open, source.read) if one is not None]
    if len(given) != 1:
        yield f"it gives {'both open and read' if given else 'neither open nor read'}; give one of them"
    if not all(callable(one) for one in given):
        yield "its open, or its read, cannot be called"
    summary: Any = source.summary
    if not isinstance(summary, str) or not summary.strip():
        yield "it has no summary; say in one line where its readings come from"


def named_source(sources: Iterable[ReadingSource], words: str, *, file: bool) -> tuple[ReadingSource, str]:
    """Return the source and its argument for `NAME` or `NAME:ARGUMENT`; UsageError with those there are.

    `file` says that a file of readings is to be read.
    """
    name, _, argument = words.partition(":")
    known = {one.name: one for one in sources}
    fitting = sorted(one.name for one in known.values() if (one.read is not None) is file)
    if name in fitting:
        return known[name], argument
    if name in known:
        advice = f"is asked check by check; leave out --readings, or name one of {', '.join(fitting)}"
        if not file:
            advice = f"reads a file; name it with --readings, or take one of {', '.join(fitting)}"
        raise UsageError(Fault("--source", name, advice))
    hint = close_match(name, fitting) or f"; there are {', '.join(fitting)}"
    raise UsageError(Fault("--source", name, f"is no source of readings{hint}"))


def opened(source: ReadingSource, argument: str, setting: Setting, giver: str = "") -> Source:
    """Return what answers check by check; `giver` names the plugin the source came from, "" for benchcheck itself.

    A plugin's source gets a copy of the bench and is watched. Raises UsageError when it cannot be opened.
    """
    assert source.open is not None
    if not giver:
        return source.open(replace(setting, argument=argument))
    try:
        made = source.open(replace(setting, argument=argument, bench=copy.deepcopy(setting.bench)))
    except BenchcheckError:
        raise
    except Exception as error:
        told = f"source of plugin {giver} cannot be opened ({type(error).__name__}: {error})"
        raise UsageError(Fault("--source", source.name, told)) from error
    if not callable(getattr(made, "answer", None)):
        told = f"source of plugin {giver} opened a {type(made).__name__}, which has no method answer"
        raise UsageError(Fault("--source", source.name, told))
    return WatchedSource(made, source.name, giver)


def read_with(source: ReadingSource, setting: FileSetting, giver: str = "") -> ReadingsFile:
    """Return the readings of a file as a source reads it; ReadingsError with every fault, also the source's own.

    `giver` names the plugin the source came from; it is given a copy, since what it does to a check or a meter must
    not reach the score.
    """
    assert source.read is not None
    where = f"{setting.path}"
    about = f"plugin {giver}" if giver else source.name
    try:
        found: Any = source.read(copy.deepcopy(setting) if giver else setting)
    except BenchcheckError:
        raise
    except Exception as error:
        told = f"{about} cannot read this ({type(error).__name__}: {error})"
        raise ReadingsError(Fault(where, source.name, told)) from error
    if not isinstance(found, ReadingsFile):
        raise ReadingsError(Fault(where, source.name, f"{about} returned no ReadingsFile"))
    faults = [
        Fault(f"{where}:{line}" if (line := getattr(one, "line", 0)) else where, source.name, words)
        for one in found.readings
        for words in _reading_faults(one, setting.checks)
    ]
    if faults:
        raise ReadingsError(faults)
    return found


def _reading_faults(one: object, checks: Mapping[str, Check]) -> Iterator[str]:
    if not isinstance(one, Reading):
        yield f"gives {type(one).__name__}; a reading is a benchcheck.readings.reading.Reading"
    elif one.check not in checks:
        yield f"gives a reading of {one.check}, which was not asked for"
    elif one.quantity_unit != checks[one.check].quantity_unit:
        yield f"gives {one.check} in {one.quantity_unit}; it is read in {checks[one.check].quantity_unit}"


@dataclass(slots=True)
class WatchedSource:
    """A plugin's source, held to its word: what it raises or gives wrongly is trouble with that check, no more.

    It gives no power: where the board must be on, whoever runs the visit switches it on, past the interlocks.
    """

    source: Source
    name: str
    giver: str = ""

    def answer(self, step: Step) -> Answer:
        """Return what the source answers, Trouble where it raises or answers what is no answer."""
        try:
            answer = self.source.answer(copy.deepcopy(step))
        except (OutputStateUnknown, EOFError):
            raise
        except Exception as error:
            return Trouble(f"{self._called()} raised {type(error).__name__}: {error}")
        return answer if not (wrong := _answer_fault(answer, step.check)) else Trouble(f"{self._called()} {wrong}")

    def close(self) -> None:
        """Let the source go at the end of a visit, where it has a `close`; what it raises then changes nothing."""
        close = getattr(self.source, "close", None)
        if callable(close):
            with contextlib.suppress(Exception):
                close()

    def _called(self) -> str:
        return f"source {self.name}" + (f" of plugin {self.giver}" if self.giver else "")


def _answer_fault(answer: object, check: Check) -> str:
    """Return what is wrong with an answer in words, "" for nothing."""
    if not isinstance(answer, _ANSWERS):
        return f"answered a {type(answer).__name__}; answers are in benchcheck.session.answers"
    if not isinstance(answer, Taken):
        return ""
    readings: Any = answer.readings
    if not isinstance(readings, tuple) or not readings:
        return "gave no reading; Taken holds a tuple of at least one"
    return next((words for one in readings for words in _reading_faults(one, {check.id: check})), "")
