"""Several workers: one bench each or one bench for one of them, locks respected, records told by the controller."""

from __future__ import annotations

import pathlib
import re

import pytest

from benchcheck.clock import SystemClock
from benchcheck.instruments.connection import LOCK_WAIT_S
from benchcheck.record.store import read_record
from tests.cli.scratch import BENCH, GOOD, records, run_pytest
from tests.instruments.rig import running_rig
from tests.pytest_use.test_fixtures import NEEDLES, POWERED, laid_out, outcomes, run_here


def workers_of(out: str) -> dict[str, set[str]]:
    """Return which worker ran the tests of each file."""
    found: dict[str, set[str]] = {}
    for worker, name in re.findall(r"^\[(gw\d+)\].*?(?:PASSED|SKIPPED|FAILED) (\S+?)::", out, re.MULTILINE):
        found.setdefault(name, set()).add(worker)
    return found


def test_the_tests_of_one_bench_stay_on_one_worker(tmp_path: pathlib.Path) -> None:
    laid_out(tmp_path, POWERED, "test_more.py")
    ran = run_pytest(
        laid_out(tmp_path, POWERED), "-v", "-n", "2", "--dist", "loadgroup", "--unit", "T-4 no. 7",
        "test_unit.py", "test_more.py",
    )  # fmt: skip
    assert ran.code == 0, ran.out
    (one,) = set().union(*workers_of(ran.out).values())
    assert one.startswith("gw")
    (path,) = records(tmp_path)
    assert len(read_record(path).scores) == len(GOOD) - 1  # all but the idle current, which no test asks for
    assert f"record records/t-4%20no.%207/{path.name}" in ran.out.replace("\n", "")


def test_a_bench_that_workers_would_fight_over_is_refused(tmp_path: pathlib.Path) -> None:
    laid_out(tmp_path, 'def test_it(judge):\n    judge("D1.reverse", "OL")\n')
    ran = run_pytest(tmp_path, "test_unit.py", "--unit", "T-4", "-n", "2", "--dist", "load")
    assert ran.code == 1
    assert "add --dist loadgroup" in " ".join(ran.out.split())
    assert not (tmp_path / "records").exists()


def test_each_worker_may_have_a_bench_and_a_unit_of_its_own(tmp_path: pathlib.Path) -> None:
    laid_out(tmp_path, POWERED)
    for number in (0, 1):
        (tmp_path / f"bench-gw{number}.toml").write_text(BENCH, encoding="utf-8")
    body = """
@pytest.mark.parametrize("turn", range(4))
def test_it(judge, turn):
    judge("VCC.residual_voltage", "0.004")
"""
    laid_out(tmp_path, body)
    ran = run_pytest(
        tmp_path, "-v", "-n", "2", "--dist", "load", "test_unit.py",
        "--bench", "bench-{worker}.toml", "--unit", "T-4 {worker}",
    )  # fmt: skip
    assert ran.code == 0, ran.out
    assert {read_record(path).head.unit for path in records(tmp_path)} == {"T-4 gw0", "T-4 gw1"}


@pytest.mark.parametrize("held", [True, False])
def test_an_instrument_in_use_elsewhere_is_an_error_not_a_fail(tmp_path: pathlib.Path, held: bool) -> None:
    """The lock of the instrument is asked for a few seconds, then named; nothing is read past it."""
    with running_rig() as rig:
        link = f'[meter.dmm.link]\nresource = "{rig.meter_server.resource}"\ndialect = "generic"\n'
        if held:
            rig.multimeter()
        laid_out(tmp_path, 'def test_it(judge):\n    judge("VCC.residual_voltage", "0.004")\n')
        (tmp_path / "bench.toml").write_text(f"{BENCH.replace('leads', '# leads')}{link}", encoding="utf-8")
        (tmp_path / "conftest.py").write_text(NEEDLES, encoding="utf-8")
        began_s = SystemClock().monotonic_s()
        ran = run_here(tmp_path, "-v", "test_unit.py", "--unit", "T-4")
        took_s = SystemClock().monotonic_s() - began_s
    assert outcomes(ran) == {"test_it": "FAILED" if held else "PASSED"}, ran.out
    if held:
        assert "another process on this machine is using this instrument" in " ".join(ran.out.split())
        assert took_s >= LOCK_WAIT_S
