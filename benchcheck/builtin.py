"""What benchcheck brings along, let in through the same hooks a stranger's plugin uses, and what may come in.

`plugins()` makes the manager of one run. The functions beside it are how commands get at what was handed over:
`load_spec` the kinds, `catalogue` the dialects, `open_source` and `read_file` the sources, `report_text` the reports.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchcheck.errors import SpecError
from benchcheck.plugins.answers import shown
from benchcheck.plugins.hookspecs import hookimpl
from benchcheck.plugins.manager import Plugins

if TYPE_CHECKING:
    from benchcheck.instruments.catalogue import Catalogue
    from benchcheck.instruments.dialect_table import DialectTable
    from benchcheck.kinds.part import Kind
    from benchcheck.readings.file import ReadingsFile
    from benchcheck.report.offer import About, Report
    from benchcheck.session.answers import Source
    from benchcheck.session.sources import FileSetting, ReadingSource, Setting
    from benchcheck.spec.board import Board

__all__ = [
    "BUILT_IN",
    "BuiltIn",
    "catalogue",
    "further_dialects",
    "load_spec",
    "open_source",
    "plugins",
    "read_file",
    "report_text",
]

BUILT_IN = "built-in"
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


class BuiltIn:
    """The plugin that is always there."""

    @hookimpl
    def benchcheck_kinds(self) -> tuple[Kind, ...]:
        """Return the kinds of the catalogue."""
        from benchcheck.kinds.catalogue import KINDS

        return KINDS

    @hookimpl
    def benchcheck_dialects(self) -> tuple[DialectTable, ...]:
        """Return the dialects of `instruments/dialects.toml`, `generic` first."""
        from benchcheck.instruments.dialect_table import shipped_tables

        return shipped_tables()

    @hookimpl
    def benchcheck_sources(self) -> tuple[ReadingSource, ...]:
        """Return the keyboard, asked check by check, and the CSV file, read whole."""
        from benchcheck.session.sources import ReadingSource

        return (
            ReadingSource("typed", "what a person types at the prompt", open=_typed),
            ReadingSource("csv", "a CSV file, a line a reading", read=_csv),
        )

    @hookimpl
    def benchcheck_reports(self) -> tuple[Report, ...]:
        """Return the sheet and the results of a record, the history of a unit, the probe cards of a board."""
        from benchcheck.report.offer import About, Report

        return (
            Report("sheet", "one page for the owner and the next technician", About.RECORD, _sheet, ".html"),
            Report("results", "results for programs, as verify --json", About.RECORD, _results, ".json"),
            Report("history", "every visit of a unit, with trends", About.UNIT, _history, ".html"),
            Report("card", "a probe card of plain characters, to write on", About.BENCH, _card, ".txt"),
            Report("card-page", "the probe card as a page", About.BENCH, _card_page, ".html"),
        )


def plugins(*, installed: bool = True) -> Plugins:
    """Return the plugins of one run: the built-ins, and every installed one that can come in."""
    manager = Plugins(_VALIDATORS)
    manager.let_in_first(BuiltIn(), BUILT_IN)
    if installed:
        manager.let_in_installed()
    return manager


def load_spec(path: Path, manager: Plugins | None = None) -> Board:
    """Return the board of a spec file, with the kinds of every plugin that could be let in.

    `manager` is that of the run, a new one by default. Raises SpecError or DocumentError with every fault of the
    file, and says which plugins were left out.
    """
    from benchcheck.spec.load import load_board

    manager = manager or plugins()
    try:
        return load_board(path, manager.handed("benchcheck_kinds"))
    except SpecError as error:
        raise SpecError((*error.faults, *manager.left_out)) from error


def catalogue(manager: Plugins) -> Catalogue:
    """Return the dialects of a run, those of plugins after the shipped ones."""
    from benchcheck.instruments.catalogue import catalogue_of

    return catalogue_of(manager.handed("benchcheck_dialects"))


def further_dialects(manager: Plugins) -> dict[str, Any]:
    """Return the tables of plugins' dialects by name, for the power keeper, which has the shipped ones itself."""
    handed = manager.handed("benchcheck_dialects")
    return {one.name: one.table for one in handed if manager.giver(one) != BUILT_IN}


def open_source(manager: Plugins, words: str, setting: Setting) -> Source:
    """Return the source that `--source WORDS` names, opened; a plugin's is given copies and held to its word.

    Raises UsageError for a name there is not, and when a plugin's source cannot be opened.
    """
    from benchcheck.session.sources import named_source, opened

    chosen, argument = named_source(manager.handed("benchcheck_sources"), words, file=False)
    return opened(chosen, argument, setting, _stranger(manager, chosen))


def read_file(manager: Plugins, words: str, setting: FileSetting) -> ReadingsFile:
    """Return the readings of a file as the source that `--source WORDS` names reads it; "" is the CSV file.

    Raises UsageError for a name there is not, ReadingsError with every fault of the file.
    """
    from benchcheck.session.sources import named_source, read_with

    chosen, _ = named_source(manager.handed("benchcheck_sources"), words or "csv", file=True)
    return read_with(chosen, setting, _stranger(manager, chosen))


def report_text(manager: Plugins, name: str, about: About, subject: object) -> str:
    """Return the text of the report of this name about a record, a unit or a bench.

    Raises UsageError for a name there is not, PluginError when a plugin's report cannot be made.
    """
    from benchcheck.report.offer import made, named_report

    report = named_report(manager.handed("benchcheck_reports"), name, about)
    return made(report, subject, _stranger(manager, report))


def _stranger(manager: Plugins, thing: object) -> str:
    """Return the plugin a thing came from, "" where benchcheck brought it along itself."""
    giver = manager.giver(thing)
    return "" if giver == BUILT_IN else giver


# ---- what the built-ins do; each imports its room when it is called


def _typed(setting: Setting) -> Source:
    from benchcheck.terminal.expecting import typed_source

    return typed_source(setting)


def _csv(setting: FileSetting) -> ReadingsFile:
    from benchcheck.readings.file import read_readings

    return read_readings(
        setting.path, setting.checks, setting.bench, withheld=setting.withheld, on_board=setting.on_board
    )


def _sheet(record: Any) -> str:
    from benchcheck.report.html import sheet_page
    from benchcheck.report.photos import photos_of

    return sheet_page(record, photos_of(record))


def _results(record: Any) -> str:
    import json

    from benchcheck.record.results import results_json

    return json.dumps(results_json(record), indent=1, ensure_ascii=False) + "\n"


def _history(history: Any) -> str:
    from benchcheck.report.html import history_page

    return history_page(history)


def _card(subject: Any) -> str:
    from benchcheck.report.card import probe_card

    return "".join(f"{line}\n" for line in probe_card(subject.title, subject.capabilities))


def _card_page(subject: Any) -> str:
    from benchcheck.report.card import probe_card_html

    return probe_card_html(subject.title, subject.capabilities) + "\n"


# ---- what may come in


def _validator(
    word: str, home: str, faults_of: Callable[[], tuple[type[Any], Callable[[Any], Iterator[str]]]]
) -> Any:
    """Return what looks at things of one hook before they come in: right type, right name, sound in itself."""

    def validate(offered: tuple[Any, ...], present: tuple[Any, ...]) -> tuple[str, ...]:
        wanted, faults = faults_of()
        told = [f"{shown(thing)} is not a {home}" for thing in offered if not isinstance(thing, wanted)]
        right = [thing for thing in offered if isinstance(thing, wanted)]
        named = [thing for thing in right if _well_named(thing)]
        told += [
            f"{word} {shown(thing.name)} has no name of lower-case letters, digits, _ and -, at most 40 signs"
            for thing in right
            if not _well_named(thing)
        ]
        counts = Counter(thing.name for thing in (*present, *named))
        told += [f'{word} "{name}" is there already; choose another name' for name, n in counts.items() if n > 1]
        told += [f'{word} "{thing.name}": {words}' for thing in named for words in faults(thing)]
        return tuple(told)

    return validate


def _well_named(thing: Any) -> bool:
    return isinstance(thing.name, str) and _NAME.fullmatch(thing.name) is not None


def _kind_rules() -> tuple[type[Any], Callable[[Any], Iterator[str]]]:
    from benchcheck.kinds.part import Kind, kind_faults

    return Kind, kind_faults


def _dialect_rules() -> tuple[type[Any], Callable[[Any], Iterator[str]]]:
    from benchcheck.instruments.dialect_table import DialectTable, table_faults

    return DialectTable, table_faults


def _source_rules() -> tuple[type[Any], Callable[[Any], Iterator[str]]]:
    from benchcheck.session.sources import ReadingSource, source_faults

    return ReadingSource, source_faults


def _report_rules() -> tuple[type[Any], Callable[[Any], Iterator[str]]]:
    from benchcheck.report.offer import Report, report_faults

    return Report, report_faults


_VALIDATORS = {
    "benchcheck_kinds": _validator("kind", "benchcheck.kinds.part.Kind", _kind_rules),
    "benchcheck_dialects": _validator("dialect", "benchcheck.instruments.dialect_table.DialectTable", _dialect_rules),
    "benchcheck_sources": _validator("source", "benchcheck.session.sources.ReadingSource", _source_rules),
    "benchcheck_reports": _validator("report", "benchcheck.report.offer.Report", _report_rules),
}
