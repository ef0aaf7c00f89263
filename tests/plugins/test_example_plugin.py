"""The plugin package of the examples: it installs with pip, keeps to the kits, and its kind and dialect are used."""

from __future__ import annotations

import pathlib
import re
import shutil
import subprocess
import sys

import pytest

from benchcheck.simulation.scpi_server import ServedBench
from tests.cli.scratch import Ran, process, records
from tests.instruments.rig import running_rig

PLUGIN = pathlib.Path(__file__).parents[2] / "examples" / "plugin"
DEMO = PLUGIN / "demo"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> pathlib.Path:
    """Install the package into a folder of its own, from a copy, without a network."""
    copy, target = tmp_path_factory.mktemp("source") / "plugin", tmp_path_factory.mktemp("installed")
    shutil.copytree(PLUGIN, copy, ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation", "--no-index"]
    done = subprocess.run([*command, "--target", str(target), str(copy)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return target


def ran(folder: pathlib.Path, installed: pathlib.Path, *arguments: str, module: str = "benchcheck") -> Ran:
    command = [sys.executable, "-m", module, *arguments]
    return process(folder, command, PYTHONPATH=str(installed))


def test_a_board_with_its_kind_is_checked_and_the_record_names_the_plugin(
    installed: pathlib.Path, tmp_path: pathlib.Path
) -> None:
    spec, bench, card = (str(DEMO / name) for name in ("orlen-f3.toml", "bench.toml", "readings.csv"))
    done = ran(tmp_path, installed, "verify", spec, "--unit", "F-3 no. 7", "--bench", bench, "--readings", card)
    assert done.code == 0, done.err
    assert re.search(r"^pass +RT1\.resistance +11\.34 kohm", done.out, re.MULTILINE)
    (path,) = records(tmp_path)
    assert '{ name = "thermistor", version = "0.1.0" }' in path.read_text("utf-8").replace("{name", "{ name")


def test_check_spec_knows_it_and_without_the_plugin_says_what_there_is(
    installed: pathlib.Path, tmp_path: pathlib.Path
) -> None:
    spec = str(DEMO / "orlen-f3.toml")
    assert "1 checks, nothing wrong" in " ".join(ran(tmp_path, installed, "check-spec", spec).out.split())
    without = ran(tmp_path, tmp_path, "check-spec", spec)
    assert without.code == 2
    assert 'part.RT1.kind: "ntc"' in without.said


def test_its_dialect_is_named_in_a_bench_file_and_drives_a_meter(
    installed: pathlib.Path, tmp_path: pathlib.Path
) -> None:
    """The simulated meter speaks generic SCPI, in which the dialect's two commands for ohms are words as well."""
    with running_rig() as rig:
        assert isinstance(rig.served, ServedBench)
        link = f'[meter.dmm.link]\nresource = "{rig.meter_server.resource}"\ndialect = "tarn-40"\n'
        (tmp_path / "bench.toml").write_text(
            f'benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-5.5"\n{link}', "utf-8"
        )
        (tmp_path / "test_meter.py").write_text(
            f"""
import pytest
pytestmark = pytest.mark.board({str(DEMO / "orlen-f3.toml")!r})
class Needles:
    def place(self, check): return None
    def lift(self): pass
@pytest.fixture(scope="session")
def probe_hand():
    return Needles()
def test_it(judge):
    score = judge.score("RT1.resistance")
    assert score.display.startswith("4.68"), score.because
""",
            "utf-8",
        )
        arguments = ("-q", "-p", "no:cacheprovider", "test_meter.py", "--unit", "7")
        done = ran(tmp_path, installed, *arguments, module="pytest")
    assert done.code == 0, done.out


def test_its_own_tests_pass_with_the_kit(installed: pathlib.Path, tmp_path: pathlib.Path) -> None:
    shutil.copytree(PLUGIN / "tests", tmp_path / "tests", ignore=shutil.ignore_patterns("__pycache__"))
    done = ran(tmp_path, installed, "-q", "-p", "no:cacheprovider", "tests", module="pytest")
    assert done.code == 0, done.out


def test_its_page_shows_commands_that_exist() -> None:
    page = (PLUGIN / "README.md").read_text("utf-8")
    for name in re.findall(r"`(benchcheck_thermistor/\S+|tests/\S+|demo/|pyproject\.toml)`", page):
        assert (PLUGIN / name).exists(), name
    assert len(page.splitlines()) <= 60
