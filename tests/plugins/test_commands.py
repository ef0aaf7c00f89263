"""What is let in by hooks is what commands use: reports by --as, sources by --source, by name or with a near one."""

from __future__ import annotations

import json
import pathlib

import pytest

from tests.cli.scratch import Ran, lay_out, records, run, run_pytest, verify

PLUGIN = """\
from pathlib import Path
from benchcheck.plugins.hookspecs import hookimpl
from benchcheck.quantity import parse_display
from benchcheck.readings.file import ReadingsFile
from benchcheck.readings.reading import Origin, Reading
from benchcheck.report.offer import About, Report
from benchcheck.session.answers import Skip, Taken
from benchcheck.session.sources import ReadingSource

class Bell:
    def __init__(self, setting):
        self.shown = setting.argument
    def answer(self, step):
        if step.check.id != "VCC.residual_voltage":
            return Skip("the bell rings for one check only")
        shown = parse_display(self.shown, "V")
        return Taken((Reading(step.check.id, shown, "V", Origin.METERED),))

def tab(setting):
    made = []
    for number, line in enumerate(setting.path.read_text("utf-8").splitlines(), 1):
        name, shown = line.split("\\t")
        unit = setting.checks[name].quantity_unit
        made.append(Reading(name, parse_display(shown, unit), unit, Origin.FILE, line=number))
    return ReadingsFile(str(setting.path), "0" * 64, tuple(made))

@hookimpl
def benchcheck_sources():
    return (ReadingSource("bell", "one reading", open=Bell), ReadingSource("tab", "tabs", read=tab))

@hookimpl
def benchcheck_reports():
    return (
        Report("tally", "how many checks", About.RECORD, lambda record: f"{len(record.scores)} checks\\n"),
        Report("course", "how many visits", About.UNIT, lambda history: f"{len(history.visits)} visits\\n"),
        Report("poster", "what is decided", About.BENCH, lambda card: f"{card.title}: {len(card.capabilities)}\\n"),
    )

@hookimpl
def benchcheck_record_written(record):
    Path("heard.txt").write_text(record.last_seal, "utf-8")
"""


@pytest.fixture
def bench(tmp_path: pathlib.Path) -> pathlib.Path:
    """Lay out a bench on which a plugin and a broken one are installed."""
    site = tmp_path / "site"
    for name, code in (("ringing", PLUGIN), ("torn", "raise RuntimeError('no spring')\n")):
        info = site / f"{name}-1.5.dist-info"
        info.mkdir(parents=True)
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.5\n", "utf-8")
        (info / "entry_points.txt").write_text(f"[benchcheck]\n{name} = {name}\n", "utf-8")
        (site / f"{name}.py").write_text(code, "utf-8")
    return lay_out(tmp_path)


def ran(bench: pathlib.Path, *arguments: str) -> Ran:
    return run(bench, *arguments, PYTHONPATH=str(bench / "site"))


def test_a_broken_plugin_is_named_and_the_board_checked_all_the_same(bench: pathlib.Path) -> None:
    done = verify(bench, "--only", "D1", PYTHONPATH=str(bench / "site"))
    assert done.code == 0
    assert "left out: plugin torn: cannot be loaded (RuntimeError: no spring); mend or uninstall it" in " ".join(
        done.out.split()
    )
    (path,) = records(bench)
    assert '{name = "ringing", version = "1.5"}' in path.read_text("utf-8").replace("{ ", "{").replace(" }", "}")
    assert (bench / "heard.txt").read_text("utf-8") in path.read_text("utf-8")


def test_reports_are_made_by_name(bench: pathlib.Path) -> None:
    verify(bench, "--only", "D1")
    (path,) = records(bench)
    record = str(path.relative_to(bench))
    assert ran(bench, "sheet", record, "--as", "tally", "-o", "tally.txt").code == 0
    assert (bench / "tally.txt").read_text("utf-8") == "2 checks\n"
    assert ran(bench, "sheet", record, "--as", "results", "-o", "results.json").code == 0
    assert len(json.loads((bench / "results.json").read_text("utf-8"))["checks"]) == 2
    assert ran(bench, "history", "T-4 no. 7", "--as", "course", "-o", "course.txt").code == 0
    assert (bench / "course.txt").read_text("utf-8") == "1 visits\n"
    assert ran(bench, "capability", "board.toml", "--as", "poster").out.startswith("Ellwick T-4 metronome: ")
    wrong = ran(bench, "sheet", record, "--as", "taly", "-o", "none.txt")
    assert wrong.code == 2
    assert '--as: taly: is no report about a record; did you mean "tally"?' in wrong.said
    assert not (bench / "none.txt").exists()


def test_readings_come_from_the_source_that_is_named(bench: pathlib.Path) -> None:
    asked = ("verify", "board.toml", "--unit", "T-4", "--only", "VCC.residual_voltage", "--source")
    assert ran(bench, *asked, "bell:0.004").code == 0
    (bench / "card.tsv").write_text("D1.reverse\tOL\nD1.forward_drop\t0.61\n", "utf-8")
    filed = ("verify", "board.toml", "--unit", "T-4", "--only", "D1", "--readings", "card.tsv", "--source")
    assert ran(bench, *filed, "tab").code == 0
    wrong = ran(bench, *filed, "bell")
    assert wrong.code == 2
    assert "--source: bell: is asked check by check; leave out --readings, or name one of csv, tab" in wrong.said
    assert len(records(bench)) == 2


def test_pytest_takes_the_same_word(bench: pathlib.Path) -> None:
    (bench / "card.tsv").write_text("D1.reverse\tOL\n", "utf-8")
    arguments = ("-q", "board.toml::D1.reverse", "--unit", "T-4", "--readings", "card.tsv", "--source", "tab")
    assert run_pytest(bench, *arguments, PYTHONPATH=str(bench / "site")).code == 0
