"""A run that was stopped before it had a result ends as an interruption, not as a success of nothing."""

from __future__ import annotations

import pathlib
import subprocess
import sys

import pytest

from benchcheck.cli import visit
from benchcheck.errors import UsageError, VisitInterrupted
from benchcheck.session.run import Request
from tests.cli.scratch import lay_out


@pytest.mark.parametrize(
    ("code", "error", "told"),
    [
        (pytest.ExitCode.INTERRUPTED, VisitInterrupted, "stopped before the visit had a result"),
        (pytest.ExitCode.NO_TESTS_COLLECTED, UsageError, "the spec gives no checks"),
    ],
)
def test_no_result_is_told_as_what_it_is(
    tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch, code: int, error: type[Exception], told: str
) -> None:
    monkeypatch.setattr(visit, "_pytest", lambda *given: code)
    request = Request("T-4", str(tmp_path / "bench.toml"), tmp_path / "card.csv", tmp_path / "records")
    with pytest.raises(error, match=told):
        visit.run_visit(lay_out(tmp_path) / "board.toml", request)
    assert VisitInterrupted.exit_code == 130


def test_an_interrupt_taken_while_python_ran_a_text_ends_with_the_codes_of_this_program(
    tmp_path: pathlib.Path,
) -> None:
    """A dataclass is made by running a text (`exec`); interrupted there, Python with `-m` kills itself at its end."""
    met = "from benchcheck import cli\ncli.cli.main = lambda **_: exec('raise KeyboardInterrupt')\ncli.main()\n"
    (tmp_path / "met.py").write_text(met, encoding="utf-8")
    done = subprocess.run([sys.executable, "-m", "met"], cwd=tmp_path, timeout=60, check=False)
    assert done.returncode == VisitInterrupted.exit_code
