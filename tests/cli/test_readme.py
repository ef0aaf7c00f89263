"""README is held to what the commands do: the demo units, the Python example, the words of the table."""

from __future__ import annotations

import doctest
import re
import subprocess
import sys
from pathlib import Path

import pytest

from benchcheck.readings.reading import Origin
from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
ROWS = re.findall(r"^\| `(examples/[\w-]+/[\w-]+\.csv)` \|[^|]*\| (\d) \| ([^|]*?) \|$", README, re.MULTILINE)

SIMULATED = re.findall(r"^\| `--bench simulated` \|[^|]*\| (\d) \| ([^|]*?) \|$", README, re.MULTILINE)


def verify(readings: str, folder: Path) -> subprocess.CompletedProcess[str]:
    board = Path(readings).parent.name
    command = [sys.executable, "-m", "benchcheck", "verify", f"specs/{board}.toml", "--unit", "demo"]
    places = ["--bench", f"examples/{board}/bench.toml", "--readings", readings, "--records", str(folder)]
    return subprocess.run([*command, *places], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)


def test_readme_tells_of_every_file_of_readings_and_a_simulated_unit() -> None:
    there = {
        path.relative_to(ROOT).as_posix() for path in ROOT.glob("examples/*/*.csv") if path.parent.name != "draft"
    }
    assert {row[0] for row in ROWS} == there
    assert len(ROWS) == len(there)
    assert len(SIMULATED) == 1


def test_the_simulated_unit_is_powered_and_ends_as_readme_says(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "benchcheck", "verify", "specs/quillmere-kr6.toml", "--unit", "demo"]
    done = subprocess.run(
        [*command, "--bench", "simulated", "--records", str(tmp_path)],
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=180,
    )
    ((exit_code, counts),) = SIMULATED
    assert done.returncode == int(exit_code), done.stdout[-2000:] + done.stderr[-2000:]
    (path,) = tmp_path.glob("demo/*.toml")
    record = read_record(path)
    inrush = next(one for one in record.scores if one.check == "BATT.inrush_time")
    if inrush.verdict == "pass":  # a machine too busy to poll often enough leaves that one undecided
        assert f" checks: {counts} " in " ".join(done.stdout.split())  # the screen wraps at 80 columns
    events = [one.text for one in record.events if one.kind is EventKind.INSTRUMENT]
    assert any(text.startswith("BATT on: 6.000 V, limit 300 mA") for text in events)
    assert any(text.startswith("off (") and "output off" in text for text in events)
    assert sum(one.origin is Origin.METERED for one in record.readings) > 100


@pytest.mark.parametrize(("readings", "exit_code", "counts"), ROWS)
def test_a_demo_unit_ends_as_readme_says(tmp_path: Path, readings: str, exit_code: str, counts: str) -> None:
    done = verify(readings, tmp_path / "records")
    assert done.returncode == int(exit_code)
    if exit_code == "2":
        assert not (tmp_path / "records").exists()
        refused = re.search(r"all (\d+) bad lines", counts)
        assert refused
        assert len(re.findall(r"bad-lines\.csv:\d+:", done.stderr)) == int(refused[1])
    else:
        assert f" checks: {counts} " in " ".join(done.stdout.split())  # the screen wraps at 80 columns


def test_the_faults_of_the_second_unit_are_the_ones_that_fail() -> None:
    text = (ROOT / "examples/quillmere-kr6/three-faults.csv").read_text("utf-8")
    assert "D3 and C12 reversed, gate and drain of Q2 bridged" in text.splitlines()[0]


@pytest.mark.parametrize(
    ("board", "fault", "failed"),
    [
        ("tarnholt-am6", "R16 open", "R16.resistance"),
        ("lumbry-qn4", "a bridge between COL1 and COL2", "isolation.resistance[COL1:COL2]"),
        ("halvorne-r52", "Q5 short", "Q5.drop_difference"),
    ],
)
def test_a_fault_to_find_is_told_in_the_last_line_and_shows(
    tmp_path: Path, board: str, fault: str, failed: str
) -> None:
    readings = f"examples/{board}/fault.csv"
    assert (ROOT / readings).read_text("utf-8").splitlines()[-1] == f"# The fault: {fault}"
    done = verify(readings, tmp_path / "records")
    assert re.search(rf"^(conditional )?fail +{re.escape(failed)} ", done.stdout, re.MULTILINE)


def test_every_file_readme_and_the_commands_name_is_there() -> None:
    texts = [README, *(path.read_text("utf-8") for path in (ROOT / "benchcheck" / "cli").glob("*.py"))]
    named = {name for text in texts for name in re.findall(r"\b(?:examples|specs)/[\w./-]*\w", text)}
    made = {"specs/quillmere-kr6-learned.toml"}
    assert sorted(name for name in named - made if not (ROOT / name).exists()) == []


def test_the_python_example_runs() -> None:
    found = doctest.testfile(str(ROOT / "README.md"), module_relative=False)
    assert found.attempted >= 4
    assert found.failed == 0


def test_the_commands_ci_runs_are_one_line_each() -> None:
    for name in ("main", "tests"):
        done = subprocess.run(
            [sys.executable, ".ci/readme.py", name], cwd=ROOT, capture_output=True, text=True, check=True
        )
        assert len(done.stdout.strip().splitlines()) == 1
