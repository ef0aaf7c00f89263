"""The types people rely on, held by mypy (it checks this file; nothing here is run but the imports)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, assert_type

import benchcheck
from benchcheck import (
    Bench,
    Board,
    Budget,
    Check,
    Contribution,
    DecisionRule,
    Display,
    Reading,
    Record,
    Score,
    ToleranceInterval,
    Verdict,
)
from benchcheck.builtin import catalogue, open_source, plugins, report_text
from benchcheck.conformance import DialectKit, FileSourceKit, KindKit, ReportKit, SourceKit
from benchcheck.instruments.catalogue import Catalogue
from benchcheck.instruments.dialect_table import DialectTable, dialect_tables
from benchcheck.kinds.part import Kind
from benchcheck.plugins.hookspecs import RecordWritten, hookimpl
from benchcheck.plugins.manager import Plugins
from benchcheck.readings.reading import Session
from benchcheck.report.offer import About, Report
from benchcheck.session.answers import Source
from benchcheck.session.sources import ReadingSource, Setting

if TYPE_CHECKING:
    from benchcheck.pytest_bench import Judge, LoadStep, UnitOnBench


def numbers() -> None:
    budget = Budget(4700.0, "ohm", (Contribution.from_limits("dmm", "accuracy", 40.6),))
    assert_type(budget.coverage(0.95).expanded_uncertainty, float)
    assert_type(benchcheck.assess(budget, ToleranceInterval(4653.0, 4747.0), DecisionRule()).verdict, Verdict)
    assert_type(benchcheck.parse_value("4k7", "ohm"), float)
    assert_type(benchcheck.parse_display("4.68k", "ohm"), Display)


def a_visit(bench: Bench, readings: tuple[Reading, ...]) -> None:
    board = benchcheck.load_spec(Path("specs/quillmere-kr6.toml"))
    assert_type(board, Board)
    assert_type(board.checks, tuple[Check, ...])
    assert_type(benchcheck.load_bench(Path("examples/bench.toml")), Bench)
    assert_type(benchcheck.judge(board.checks[0], readings, bench, Session()), Score)
    record = benchcheck.read_record(Path("record.toml"))
    assert_type(record, Record)
    assert_type(record.scores, tuple[Score, ...])


class Listening:
    """A plugin that mypy holds to the hooks."""

    @hookimpl
    def benchcheck_kinds(self) -> tuple[Kind, ...]:
        return ()

    @hookimpl
    def benchcheck_record_written(self, record: RecordWritten) -> None:
        assert_type(record.path, Path)
        assert_type(record.last_seal, str)


def a_plugin(bench: Bench, record: Record) -> None:
    manager = plugins(installed=False)
    assert_type(manager, Plugins)
    assert_type(catalogue(manager), Catalogue)
    assert_type(dialect_tables("", "x.toml"), tuple[DialectTable, ...])
    assert_type(open_source(manager, "typed", Setting(bench)), Source)
    assert_type(report_text(manager, "sheet", About.RECORD, record), str)


def a_test(judge: Judge, unit: UnitOnBench, load_step: LoadStep) -> None:
    assert_type(judge(load_step.check), Score)
    assert_type(judge.score("R14.resistance", "4.68k"), Score)
    assert_type(unit.in_the_way(), tuple[str, ...])
    assert_type(load_step.current_a, float)


def kits(kind: Kind, table: DialectTable, source: ReadingSource, report: Report) -> None:
    class TestMine(KindKit):
        pass

    TestMine.kind, DialectKit.dialect, SourceKit.source, ReportKit.report = kind, table, source, report
    FileSourceKit.expected = {"R1.resistance": "4.68k"}
