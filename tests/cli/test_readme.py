"""README is held to what the commands do: the demo units, the Python example, the words of the table."""

from __future__ import annotations

import doctest
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
ROWS = re.findall(r"^\| `(examples/readings/[\w-]+\.csv)` \|[^|]*\| (\d) \| ([^|]*?) \|$", README, re.MULTILINE)


def verify(readings: str, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "benchcheck", "verify", "specs/quillmere-kr6.toml", "--unit", "demo"]
    places = ["--bench", "examples/bench.toml", "--readings", readings, "--records", str(folder)]
    return subprocess.run([*command, *places], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)


def test_readme_tells_of_three_demo_units() -> None:
    assert len(ROWS) == 3


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
        assert f" checks: {counts}" in done.stdout


def test_the_faults_of_the_second_unit_are_the_ones_that_fail() -> None:
    text = (ROOT / "examples/readings/three-faults.csv").read_text("utf-8")
    assert "D3 and C12 reversed, gate and drain of Q2 bridged" in text.splitlines()[0]


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
