"""Checks written in Python: the same interlocks and the same journal as a visit, whatever runs the tests."""

from __future__ import annotations

import contextlib
import io
import pathlib
import re
import shutil
import sys

import pytest

from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from tests.cli.scratch import BENCH, GOOD, SPEC, Ran, records

EXAMPLES = pathlib.Path(__file__).parents[2] / "examples"
HEAD = """\
import pytest
from benchcheck import Check
pytestmark = pytest.mark.board("board.toml")
"""
#: tests that give what a person would have typed, so that no hand is needed.
CARD = f"CARD = {GOOD!r}\n"
#: modules of the runs below, which have one name in many folders.
LOCAL = ("conftest", "test_unit", "examples.test_supply", "examples")
#: a fixture of needles, which touches every point at once.
NEEDLES = """
import pytest
class Needles:
    def place(self, check): return None
    def lift(self): pass
    def look(self, check): return check.answers[0]
    def confirm(self, question): return True
    def read(self, check, meter): return "0.002"
    def discharge(self, check): pass
    def rewire(self, prompt, check=None): return True
@pytest.fixture(scope="session")
def probe_hand():
    return Needles()
"""


def laid_out(folder: pathlib.Path, body: str, name: str = "test_unit.py", spec: str = SPEC) -> pathlib.Path:
    (folder / "board.toml").write_text(spec, encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / name).write_text(HEAD + CARD + body, encoding="utf-8")
    return folder


def outcomes(ran: Ran) -> dict[str, str]:
    found = re.findall(r"^\S*?::(\S+) (PASSED|FAILED|SKIPPED|ERROR)", ran.out, re.MULTILINE)
    return {name.partition("@")[0]: outcome for name, outcome in found}


def run_here(folder: pathlib.Path, *arguments: str) -> Ran:
    """Run pytest in this process, which saves the seconds a new one takes; nobody is at its terminal."""
    said, wrong, stdin = io.StringIO(), io.StringIO(), sys.__stdin__
    sys.__stdin__ = None  # type: ignore[misc]
    (folder / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    shown = ("-p", "no:cacheprovider", "-c", "pytest.ini", "--import-mode", "importlib", "--capture", "sys")
    others = {name: sys.modules.pop(name) for name in LOCAL if name in sys.modules}
    try:
        with contextlib.chdir(folder), contextlib.redirect_stdout(said), contextlib.redirect_stderr(wrong):
            code = pytest.main([*shown, *arguments])
    finally:
        sys.__stdin__ = stdin  # type: ignore[misc]
        for name in LOCAL:
            sys.modules.pop(name, None)
        sys.modules.update(others)
    return Ran(int(code), said.getvalue(), wrong.getvalue())


def ran_with(folder: pathlib.Path, body: str, *more: str, spec: str = SPEC) -> Ran:
    return run_here(laid_out(folder, body, spec=spec), "-v", "-rs", "test_unit.py", "--unit", "T-4 no. 7", *more)


def test_verdicts_become_outcomes(tmp_path: pathlib.Path) -> None:
    ran = ran_with(
        tmp_path,
        """
def test_charge(judge):
    judge("VCC.residual_voltage", "0.004")
    judge("BATT.residual_voltage", "0.003")
def test_good(judge):
    assert judge("D1.reverse", "OL").display == "OL"
def test_bad(judge):
    judge("D1.forward_drop", "0.03")
def test_open(judge):
    judge("R1.resistance", "4.52k")
""",
    )
    assert outcomes(ran) == {
        "test_charge": "PASSED",
        "test_good": "PASSED",
        "test_bad": "FAILED",
        "test_open": "SKIPPED",
    }
    assert "fail: 0.03" in ran.out
    assert "Traceback" not in ran.out
    assert "sitting.py" not in ran.out


def test_what_is_judged_is_in_the_record_with_its_score(tmp_path: pathlib.Path) -> None:
    ran = ran_with(
        tmp_path,
        """
def test_all(judge):
    for check in ("BATT.residual_voltage", "VCC.residual_voltage", "D1.forward_drop"):
        judge(check, CARD[check])
""",
    )
    assert ran.code == 0
    (path,) = records(tmp_path)
    record = read_record(path)
    assert not record.problems
    assert record.head.unit == "T-4 no. 7"
    assert [one.check for one in record.readings] == [
        "BATT.residual_voltage", "VCC.residual_voltage", "D1.forward_drop",
    ]  # fmt: skip
    assert {str(score.verdict) for score in record.scores} == {"pass"}
    assert record.result is not None
    assert record.result.exit_code == 0
    assert record.last_seal in ran.out


def test_ohms_wait_for_the_proof_that_charge_is_gone(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, 'def test_ohms(judge):\n    judge("R1.resistance", "4.7k")\n')
    assert outcomes(ran) == {"test_ohms": "SKIPPED"}
    assert "charge is not proven gone" in ran.out
    assert not [one for one in read_record(records(tmp_path)[0]).readings if one.check == "R1.resistance"]


POWERED = """
UNPOWERED = [name for name in CARD if not name.startswith(("BATT.idle", "VCC.voltage"))]
@pytest.mark.parametrize("check", UNPOWERED)
def test_before(judge, check):
    judge(check, CARD[check])
@pytest.mark.load_steps("VCC")
def test_rail(judge, load_step):
    assert load_step.rail == "VCC"
    judge(load_step.check, CARD[load_step.check])
"""


def test_load_steps_run_under_power_once_the_interlocks_are_clear(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, POWERED)
    found = outcomes(ran)
    assert found["test_rail[0A]"] == found["test_rail[50mA]"] == "PASSED"
    assert set(found.values()) == {"PASSED"}


def test_a_powered_test_is_blocked_until_they_are(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, POWERED, "-k", "test_rail")
    assert set(outcomes(ran).values()) == {"SKIPPED"}
    assert "blocked: not in order: " in " ".join(ran.out.split())
    assert not [one for one in read_record(records(tmp_path)[0]).readings if one.check.startswith("VCC.voltage")]


def test_one_failed_interlock_blocks_power(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, 'CARD["VCC.to_ground[red:VCC]"] = "3"\n' + POWERED)
    assert outcomes(ran)["test_rail[50mA]"] == "SKIPPED"
    assert "not in order: VCC.to_ground[red:VCC]" in " ".join(ran.out.split())


def test_a_waiver_with_a_reason_lifts_one_interlock_and_is_in_the_record(tmp_path: pathlib.Path) -> None:
    waive = ("--waive", "VCC.to_ground[red:VCC]", "a bleeder of 2 ohm is fitted on purpose")
    ran = ran_with(tmp_path, 'CARD["VCC.to_ground[red:VCC]"] = "3"\n' + POWERED, *waive)
    assert outcomes(ran)["test_rail[50mA]"] == "PASSED"
    (waiver,) = read_record(records(tmp_path)[0]).head.waivers
    assert waiver.reason == "a bleeder of 2 ohm is fitted on purpose"


def test_a_board_that_gets_no_power_gets_none_here(tmp_path: pathlib.Path) -> None:
    body = '@pytest.mark.powered\ndef test_idle(judge):\n    judge("BATT.idle_current", "0.008")\n'
    ran = ran_with(tmp_path, body, spec=SPEC.replace("hazards = []", 'hazards = ["mains"]'))
    assert outcomes(ran) == {"test_idle": "SKIPPED"}
    assert "blocked: " in ran.out
    assert "mains" in ran.out


def test_power_is_only_for_tests_that_say_so(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, 'def test_idle(judge):\n    judge("BATT.idle_current", "0.0081")\n')
    assert outcomes(ran) == {"test_idle": "FAILED"}
    assert "mark the test with @pytest.mark.powered" in " ".join(ran.out.split())


def test_a_check_of_ones_own_is_kept_beside_the_others(tmp_path: pathlib.Path) -> None:
    ran = ran_with(
        tmp_path,
        """
from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Limits, Phase
MINE = Check("lamp.drop", "lamp", "drop", Function.DC_VOLTAGE, "V", Phase.VISUAL, Limits(1.0, 2.0), why="It glows.")
def test_mine(judge):
    judge(MINE, "1.5")
def test_taken(judge):
    from dataclasses import replace
    judge(replace(MINE, id="D1.reverse"), "1.5")
""",
    )
    assert outcomes(ran) == {"test_mine": "PASSED", "test_taken": "FAILED"}
    assert "is a check of the board already" in " ".join(ran.out.split())
    assert [one.check for one in read_record(records(tmp_path)[0]).scores] == ["lamp.drop"]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ('def test_it(judge):\n    judge("R1.resistence", "4.7k")\n', 'did you mean "R1.resistance"?'),
        ('def test_it(judge):\n    judge("R1.resistance", "much")\n', "R1.resistance"),
        ('@pytest.mark.board("no.toml")\ndef test_it(judge):\n    pass\n', "there is no spec"),
        ('@pytest.mark.load_steps("VCCC")\ndef test_it(load_step):\n    pass\n', 'did you mean "VCC"?'),
        ("def test_it(load_step):\n    pass\n", "say which rail"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(tmp_path: pathlib.Path, body: str, told: str) -> None:
    ran = ran_with(tmp_path, body)
    assert ran.code != 0
    assert told in " ".join((ran.out + ran.err).split())


def test_without_a_unit_the_tests_are_skipped_and_the_others_run(tmp_path: pathlib.Path) -> None:
    laid_out(tmp_path, 'def test_it(judge):\n    judge("D1.reverse", "OL")\ndef test_other():\n    pass\n')
    ran = run_here(tmp_path, "-v", "-rs", "test_unit.py")
    assert outcomes(ran) == {"test_it": "SKIPPED", "test_other": "PASSED"}
    assert '--unit "LABEL"' in ran.out
    assert not (tmp_path / "records").exists()


def test_nobody_at_the_bench_skips_what_needs_a_hand(tmp_path: pathlib.Path) -> None:
    ran = ran_with(tmp_path, 'def test_it(judge):\n    judge("VCC.residual_voltage")\n')
    assert outcomes(ran) == {"test_it": "SKIPPED"}
    assert "nobody is there to place probes" in " ".join(ran.out.split())


def test_a_fixture_of_needles_takes_the_place_of_the_hand(tmp_path: pathlib.Path) -> None:
    (tmp_path / "conftest.py").write_text(NEEDLES, encoding="utf-8")
    ran = ran_with(tmp_path, 'def test_it(judge):\n    judge("VCC.residual_voltage")\n')
    assert outcomes(ran) == {"test_it": "PASSED"}


def test_the_supply_of_the_example_is_checked_on_the_simulated_bench(tmp_path: pathlib.Path) -> None:
    shutil.copytree(EXAMPLES.parent / "specs", tmp_path / "specs")
    (tmp_path / "examples").mkdir()
    shutil.copy(EXAMPLES / "test_supply.py", tmp_path / "examples")
    ran = run_here(tmp_path, "-v", "examples/test_supply.py", "--bench", "simulated")
    assert set(outcomes(ran).values()) == {"PASSED"}, ran.out
    record = read_record(records(tmp_path)[0])
    assert not record.problems
    told = [entry.value.text for entry in record.all_events if entry.value.kind is EventKind.INSTRUMENT]
    assert any(words.startswith("BATT on") for words in told)
    assert told[-1].startswith("off (the powered tests are done)")
