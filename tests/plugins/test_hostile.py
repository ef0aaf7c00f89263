"""No hook can change a verdict or a stored reading, whatever a plugin does with what it is given."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import attrs
import pytest

from benchcheck.builtin import load_spec, open_source, plugins, read_file, report_text
from benchcheck.conformance.sample import READINGS, sample_bench, sample_board, sample_record
from benchcheck.errors import InputError, PluginError, ReadingsError, SpecError, UsageError
from benchcheck.instruments.dialect_table import DialectTable
from benchcheck.kinds.part import Kind, Part
from benchcheck.metrology import Verdict
from benchcheck.plugins.hookspecs import RecordWritten, hookimpl
from benchcheck.plugins.manager import Plugins
from benchcheck.quantity import parse_display
from benchcheck.readings.file import ReadingsFile
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.record.store import read_record
from benchcheck.report.offer import About, Report
from benchcheck.session.answers import Step, Taken, Trouble
from benchcheck.session.run import Conduct, Request
from benchcheck.session.run import Report as RunReport
from benchcheck.session.sources import FileSetting, ReadingSource, Setting
from tests.cli.scratch import BENCH, SPEC, card


def overwrite(thing: object, name: str, value: object) -> None:
    """Set a field of a frozen value, as only somebody does who means it."""
    object.__setattr__(thing, name, value)


class Meddler:
    """Changes everything it is shown, then raises."""

    def __init__(self) -> None:
        self.seen: list[object] = []

    @hookimpl
    def benchcheck_checklist_ready(self, checklist: Any) -> None:
        self.seen.append(checklist)
        for check in checklist.checks:
            overwrite(check.limits, "upper", 1e12)
            overwrite(check.limits, "lower", None)
        checklist.board.parts.clear()
        overwrite(checklist, "checks", ())

    @hookimpl
    def benchcheck_check_scored(self, score: Any) -> None:
        self.seen.append(score)
        overwrite(score, "verdict", Verdict.PASS)
        overwrite(score, "value", 0.0)

    @hookimpl
    def benchcheck_record_written(self, record: Any) -> None:
        self.seen.append(record)
        overwrite(record, "last_seal", "0" * 64)
        pytest.fail("an outcome of pytest's own is not the visit's")


class Watcher:
    """Only looks, and hears after the meddler."""

    def __init__(self) -> None:
        self.heard: list[Any] = []

    @hookimpl
    def benchcheck_checklist_ready(self, checklist: Any) -> None:
        self.heard.append(checklist)

    @hookimpl
    def benchcheck_check_scored(self, score: Any) -> None:
        self.heard.append(score)

    @hookimpl
    def benchcheck_record_written(self, record: RecordWritten) -> None:
        self.heard.append(record)


def visit(folder: Path, manager: Plugins, source: str = "") -> RunReport:
    """Run the scratch board with a fault in it through a conductor that tells the plugins."""
    folder.mkdir()
    (folder / "board.toml").write_text(SPEC, encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "card.csv").write_text(card({"D1.forward_drop": "0.03", "D1.reverse": "OL"}), encoding="utf-8")
    board = load_spec(folder / "board.toml", manager)
    request = Request("T-4", str(folder / "bench.toml"), folder / "card.csv", folder / "records", source=source)
    conduct = Conduct(request, Silent(), lambda bench: pytest.fail("nobody is asked"))
    conduct.notify, conduct.read = manager.notify, partial(read_file, manager)
    return conduct.run(board, tuple(board.by_id))


class Silent:
    def scored(self, *told: object) -> None:
        """Nothing is shown."""

    def undone(self, check: object) -> None:
        """Nothing is shown."""


def test_a_plugin_that_changes_all_it_sees_changes_nothing(tmp_path: Path) -> None:
    clean = visit(tmp_path / "clean", plugins(installed=False))
    manager, meddler, watcher = plugins(installed=False), Meddler(), Watcher()
    manager.let_in(watcher, "watcher")
    manager.let_in(meddler, "meddler")
    report = visit(tmp_path / "meddled", manager)
    assert report.scores == clean.scores
    assert report.exit_code == clean.exit_code == 1
    first, second = read_record(clean.record), read_record(report.record)
    assert second.scores == first.scores
    assert [one.display for one in second.readings] == [one.display for one in first.readings]
    assert not second.problems
    assert watcher.heard[1:-1] == list(report.scores)
    assert watcher.heard[-1] == RecordWritten(report.record, second.last_seal)
    (fault,) = manager.left_out
    assert str(fault).startswith(
        "plugin meddler: benchcheck_record_written: raised Failed: an outcome of pytest's own"
    )


@attrs.frozen(kw_only=True)
class Cuckoo(Part):
    """`kind = "cuckoo"`."""


def cuckoo(checks: Any) -> Plugins:
    class Bringing:
        @hookimpl
        def benchcheck_kinds(self) -> Iterable[Kind]:
            return (Kind("cuckoo", Cuckoo, ("1", "2"), checks, "anything", two_lead=True),)

    manager = plugins(installed=False)
    manager.let_in(Bringing(), "cuckoo")
    return manager


CUCKOO = '[part.X9]\nkind = "cuckoo"\nnets = ["BASE", "GND"]\n'


def loaded(folder: Path, manager: Plugins) -> Any:
    (folder / "board.toml").write_text(SPEC + CUCKOO, encoding="utf-8")
    return load_spec(folder / "board.toml", manager)


def test_a_kind_cannot_reach_the_parts_beside_it(tmp_path: Path) -> None:
    def checks(part: Any, around: Any) -> tuple[Any, ...]:
        overwrite(around.parts["R1"], "value", 1.0)
        around.nets.clear()
        around.supplies.clear()
        return ()

    board = loaded(tmp_path, cuckoo(checks))
    assert board.parts["R1"].value == 4700.0
    assert "BATT" in board.supplies
    limits = board.by_id["R1.resistance"].limits
    assert (limits.lower, limits.upper) == (4465.0, 4935.0)


def test_a_kind_cannot_put_a_check_of_another_part_in_its_place(tmp_path: Path) -> None:
    other = sample_board().by_id["R1.resistance"]
    with pytest.raises(SpecError, match=r"part\.X9: .*R1\.resistance, which is not one of this part"):
        loaded(tmp_path, cuckoo(lambda part, around: (other,)))


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (None, "TypeError"),
        (("a word",), "a str among the checks"),
        ("raise", "ZeroDivisionError"),
    ],
)
def test_a_kind_that_makes_no_checks_is_a_fault_of_its_part(tmp_path: Path, made: Any, told: str) -> None:
    def checks(part: Any, around: Any) -> Any:
        return 1 / 0 if made == "raise" else made

    with pytest.raises(SpecError) as caught:
        loaded(tmp_path, cuckoo(checks))
    assert told in str(caught.value)
    assert "board.toml:" in str(caught.value)


def bringing(hook: str, *things: Any) -> Plugins:
    """Return a manager with a plugin `guest` that hands things over for one hook."""

    def hand_over(self: object) -> Any:
        return things

    hand_over.__name__ = hook
    guest = type("Guest", (), {hook: hookimpl(hand_over)})()
    manager = plugins(installed=False)
    manager.let_in(guest, "guest")
    return manager


# ---- sources


def asked(manager: Plugins, step: Step, words: str = "told") -> Any:
    return open_source(manager, words, Setting(sample_bench())).answer(step)


def step() -> Step:
    return Step(sample_board().by_id["R1.resistance"], 1, 1, Session())


def taken(check: str = "R1.resistance", unit: str = "ohm") -> Taken:
    return Taken((Reading(check, parse_display("4.7k", "ohm"), unit, Origin.METERED),))


class Saying:
    def __init__(self, say: Any) -> None:
        self.say, self.closed = say, False

    def answer(self, step: Step) -> Any:
        return self.say(step)

    def close(self) -> None:
        self.closed = True
        raise RuntimeError("even here")


def test_a_source_is_opened_by_name_with_its_own_words() -> None:
    seen: list[Setting] = []

    def open_it(setting: Setting) -> Any:
        seen.append(setting)
        return Saying(lambda step: taken())

    manager = bringing("benchcheck_sources", ReadingSource("told", "what it was told", open=open_it))
    assert asked(manager, step(), "told:/dev/ttyUSB0:9600") == taken()
    assert seen[0].argument == "/dev/ttyUSB0:9600"


def test_a_source_sees_copies_only() -> None:
    def greedy(step: Step) -> Taken:
        overwrite(step.check.limits, "upper", 1e9)
        return taken()

    given = step()
    before = given.check.limits.upper
    bench = sample_bench()

    def open_it(setting: Setting) -> Any:
        overwrite(setting.bench, "meters", {})
        return Saying(greedy)

    manager = bringing("benchcheck_sources", ReadingSource("told", "what it was told", open=open_it))
    open_source(manager, "told", Setting(bench)).answer(given)
    assert given.check.limits.upper == before
    assert bench.meters


@pytest.mark.parametrize(
    ("say", "told"),
    [
        (lambda step: vars(step)["port"], "source told of plugin guest raised TypeError"),
        (lambda step: "4.7k", "answered a str"),
        (lambda step: Taken(()), "gave no reading"),
        (lambda step: taken("D1.reverse"), "gives a reading of D1.reverse, which was not asked for"),
        (lambda step: taken(unit="V"), "gives R1.resistance in V; it is read in ohm"),
    ],
)
def test_what_a_source_does_wrong_is_trouble_with_that_check(say: Any, told: str) -> None:
    manager = bringing("benchcheck_sources", ReadingSource("told", "words", open=lambda setting: Saying(say)))
    answer = asked(manager, step())
    assert isinstance(answer, Trouble)
    assert told in answer.reason


def test_a_source_that_raises_on_its_way_out_ends_nothing() -> None:
    saying = Saying(lambda step: taken())
    manager = bringing("benchcheck_sources", ReadingSource("told", "words", open=lambda setting: saying))
    source: Any = open_source(manager, "told", Setting(sample_bench()))
    source.close()
    assert saying.closed


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("tolld", 'is no source of readings; did you mean "told"?'),
        ("csv", "reads a file; name it with --readings"),
        ("broken", "cannot be opened (OSError: no port)"),
        ("odd", "opened a int, which has no method answer"),
    ],
)
def test_a_source_that_cannot_be_asked_is_refused_by_name(words: str, told: str) -> None:
    def broken(setting: Setting) -> Any:
        raise OSError("no port")

    manager = bringing(
        "benchcheck_sources",
        ReadingSource("told", "words", open=lambda setting: Saying(None)),
        ReadingSource("broken", "words", open=broken),
        ReadingSource("odd", "words", open=lambda setting: 7),  # type: ignore[arg-type,return-value]
    )
    with pytest.raises(UsageError) as caught:
        asked(manager, step(), words)
    assert told in str(caught.value)


def reading_with(read: Any) -> Plugins:
    return bringing("benchcheck_sources", ReadingSource("logger", "a logger's file", read=read))


def test_a_file_is_read_by_a_plugins_source_and_scored_like_any(tmp_path: Path) -> None:
    def read(setting: FileSetting) -> ReadingsFile:
        overwrite(setting.checks["D1.forward_drop"].limits, "lower", 0.0)
        shown = parse_display("0.03", "V")
        return ReadingsFile("log", "0" * 64, (Reading("D1.forward_drop", shown, "V", Origin.FILE, line=3),))

    report = visit(tmp_path / "logged", reading_with(read), source="logger")
    (score,) = [one for one in report.scores if one.check == "D1.forward_drop"]
    assert score.verdict is Verdict.FAIL


@pytest.mark.parametrize(
    ("read", "told"),
    [
        (lambda setting: setting.path.read_text("utf-16-le").nothing, "plugin guest cannot read this"),
        (lambda setting: [], "plugin guest returned no ReadingsFile"),
        (lambda setting: ReadingsFile("", "", ("4.7k",)), "gives str; a reading is"),  # type: ignore[arg-type]
        (lambda setting: ReadingsFile("", "", taken("Q1.be_drop").readings), "Q1.be_drop, which was not asked for"),
        (lambda setting: ReadingsFile("", "", taken(unit="A").readings), "in A; it is read in ohm"),
    ],
)
def test_a_file_read_wrongly_is_refused_before_anything_is_written(tmp_path: Path, read: Any, told: str) -> None:
    with pytest.raises(ReadingsError) as caught:
        visit(tmp_path / "x", reading_with(read), source="logger")
    assert told in str(caught.value)
    assert not (tmp_path / "x" / "records").exists()


def test_a_source_that_is_asked_does_not_read_files(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is asked check by check; leave out --readings"):
        visit(tmp_path / "x", plugins(installed=False), source="typed")


# ---- reports


def test_a_report_is_made_by_name(tmp_path: Path) -> None:
    tally = Report("tally", "how many", About.RECORD, lambda record: f"{len(record.readings)}\n")
    manager = bringing("benchcheck_reports", tally)
    record = sample_record(tmp_path)
    assert report_text(manager, "tally", About.RECORD, record) == f"{READINGS.count(',') - 1}\n"
    assert report_text(manager, "sheet", About.RECORD, record).startswith("<!")


@pytest.mark.parametrize(
    ("name", "told", "kind"),
    [
        ("talli", 'is no report about a record; did you mean "tally"?', UsageError),
        ("history", "is no report about a record", UsageError),
        ("broken", "plugin guest: broken: raised TypeError", PluginError),
        ("odd", "plugin guest: odd: made a bytes; a report is a text", PluginError),
    ],
)
def test_a_report_that_cannot_be_made_is_named(tmp_path: Path, name: str, told: str, kind: type[InputError]) -> None:
    manager = bringing(
        "benchcheck_reports",
        Report("tally", "words", About.RECORD, str),
        Report("broken", "words", About.RECORD, lambda record: str(vars(record))),
        Report("odd", "words", About.RECORD, lambda record: b""),  # type: ignore[arg-type,return-value]
    )
    with pytest.raises(kind) as caught:
        report_text(manager, name, About.RECORD, object())
    assert told in str(caught.value)


# ---- what comes in


@pytest.mark.parametrize(
    ("hook", "thing", "told"),
    [
        ("benchcheck_dialects", DialectTable("generic", {}), 'dialect "generic" is there already'),
        ("benchcheck_dialects", DialectTable("Tarn 40", {}), "has no name of lower-case letters"),
        ("benchcheck_dialects", DialectTable("tarn", {"dmm": {"r3w": ""}}), 'did you mean "r4w"?'),
        ("benchcheck_dialects", {"tarn": {}}, "is not a benchcheck.instruments.dialect_table.DialectTable"),
        ("benchcheck_sources", ReadingSource("csv", "words", read=str), 'source "csv" is there already'),  # type: ignore[arg-type]
        ("benchcheck_sources", ReadingSource("none", "words"), "neither open nor read"),
        ("benchcheck_reports", Report("sheet", "words", About.RECORD, str), 'report "sheet" is there already'),
        ("benchcheck_reports", Report("mine", "", About.RECORD, str), "no summary"),
        ("benchcheck_reports", "mine", "'mine' is not a benchcheck.report.offer.Report"),
        ("benchcheck_kinds", replace(Kind("x", Cuckoo, ("1",), str, "words"), entry=str), "no attrs class"),  # type: ignore[arg-type]
    ],
)
def test_what_may_not_come_in_is_named_with_plugin_and_hook(hook: str, thing: Any, told: str) -> None:
    with pytest.raises(PluginError) as caught:
        bringing(hook, thing)
    assert str(caught.value).startswith(f"plugin guest: {hook}: ")
    assert told in str(caught.value)


def test_a_spec_that_needs_a_plugin_left_out_says_so(tmp_path: Path) -> None:
    manager = plugins(installed=False)
    with pytest.raises(PluginError) as caught:
        manager.let_in(type("Broken", (), {"benchcheck_needs": ">=99"})(), "cuckoo")
    manager.left_out = caught.value.faults
    (tmp_path / "board.toml").write_text(SPEC + CUCKOO, encoding="utf-8")
    with pytest.raises(SpecError) as told:
        load_spec(tmp_path / "board.toml", manager)
    assert 'part.X9.kind: "cuckoo"' in str(told.value)
    assert "plugin cuckoo: needs benchcheck >=99" in str(told.value)
    (tmp_path / "board.toml").write_text(SPEC, encoding="utf-8")
    assert load_spec(tmp_path / "board.toml", manager).parts
