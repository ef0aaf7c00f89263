"""Installed plugins beside a visit: what they add is used, what they break is named, and nothing stops verify."""

from __future__ import annotations

import json
import pathlib

import pytest

from benchcheck.record.store import read_record
from tests.cli.scratch import GOOD, NAMES, lay_out, records, run, run_pytest, verify

GOOD_STRANGER = """\
from benchcheck.plugins.hookspecs import hookimpl
@hookimpl
def benchcheck_checklist_ready(checklist): print("ready", len(checklist.checks))
@hookimpl
def benchcheck_check_scored(score): print("heard", score.check, score.verdict)
@hookimpl
def benchcheck_record_written(record): print("written", record.path.is_file(), record.last_seal)
"""
RAISING_STRANGER = """\
from benchcheck.plugins.hookspecs import hookimpl
@hookimpl
def benchcheck_check_scored(score): raise RuntimeError("no thanks")
"""
MEDDLING_STRANGER = """\
from benchcheck.plugins.hookspecs import hookimpl
@hookimpl
def benchcheck_check_scored(score): score.verdict = "pass"
"""


def install(folder: pathlib.Path, name: str, source: str) -> dict[str, str]:
    """Put a plugin where Python finds it, as an installed package would lie there; return the environment for it."""
    site = folder / "site"
    info = site / f"{name}-2.5.dist-info"
    info.mkdir(parents=True)
    (site / f"{name}.py").write_text(source, "utf-8")
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 2.5\n", "utf-8")
    (info / "entry_points.txt").write_text(f"[benchcheck]\n{name} = {name}\n", "utf-8")
    return {"PYTHONPATH": str(site)}


def test_a_listener_hears_the_checklist_every_score_and_the_record(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--only", NAMES, **install(tmp_path, "listener", GOOD_STRANGER))
    assert ran.code == 0, ran.err
    assert "ready 13" in ran.out
    assert ran.out.count("\nheard ") == len(GOOD) + 1
    (path,) = records(tmp_path)
    record = read_record(path)
    assert f"written True {record.last_seal}" in ran.out
    assert ("listener", "2.5") in record.head.versions


@pytest.mark.parametrize(
    "source", [RAISING_STRANGER, MEDDLING_STRANGER, "raise SystemExit(3)", "1 +", "import nowhere"]
)
def test_a_broken_plugin_is_named_and_changes_nothing(tmp_path: pathlib.Path, source: str) -> None:
    lay_out(tmp_path, {**GOOD, "D1.forward_drop": "0.03"})
    environment = install(tmp_path, "stranger", source)
    ran = verify(tmp_path, "--only", NAMES, "--json", "out.json", **environment)
    assert ran.code == 1
    assert "left out: plugin stranger" in " ".join(ran.out.split())
    checks = json.loads((tmp_path / "out.json").read_text("utf-8"))["checks"]
    assert [check["check"] for check in checks if check["verdict"] == "fail"] == ["D1.forward_drop"]


def test_plugins_hear_a_run_of_pytest_as_well(tmp_path: pathlib.Path) -> None:
    environment = install(tmp_path, "listener", GOOD_STRANGER)
    ran = run_pytest(
        lay_out(tmp_path), "-k", "D1", "board.toml", "--unit", "7", "--readings", "card.csv", **environment
    )
    assert ran.code == 0
    assert "heard D1.reverse pass" in ran.out


def test_other_commands_name_what_was_left_out(tmp_path: pathlib.Path) -> None:
    ran = run(lay_out(tmp_path), "check-spec", "board.toml", **install(tmp_path, "stranger", "import nowhere"))
    assert ran.code == 0
    assert "left out: plugin stranger" in " ".join((ran.out + ran.err).split())
