"""A whole visit that something happens to under power: a pulled connection, a latch, mains lost; and another process.

Whatever happens, no wrong number is kept, no good unit fails, and supply and load are off in the end.
"""

from __future__ import annotations

import pathlib
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.builtin import load_spec
from benchcheck.kinds.check import Check
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Score, Verdict
from benchcheck.session.answers import Answer, Hindered, Source, Step
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from benchcheck.spec.board import Board
from tests.benchmarks.power_deaths import is_wrong
from tests.session.powered import FOLLOWING, spec_board
from tests.session.rig import Living, Plain, ScriptedHand, Served, served_bench, source

ROOT = pathlib.Path(__file__).parents[2]
GOOD_EXIT = 3  # no check of this unit fails, and the ripple an AC meter shows is undecided, where there is any
PROBED = {Function.OHMS: 150.0, Function.DIODE: 0.6, Function.AC_VOLTAGE: 0.002}


def latch(served: Served) -> None:
    served.supply._trip()


def mains_lost(served: Served) -> None:
    served.supply.power_cycle()


def mains_lost_and_on_again(served: Served) -> None:
    served.supply.output_after_power_on = True
    served.supply.power_cycle()


def load_mains_lost(served: Served) -> None:
    served.load.power_cycle()


def meter_mains_lost(served: Served) -> None:
    served.meter.power_cycle()


def pulled(role: int, seconds: float) -> Callable[[Served], None]:
    def pull(served: Served) -> None:
        fault = Misbehaviour(Kind.REFUSES, times=1, amount=seconds)
        served.served.servers[role].faults.append(fault)

    return pull


CASES: dict[str, Callable[[Served], None]] = {
    "over-voltage latch": latch,
    "supply off and on": mains_lost,
    "supply off and on, output on": mains_lost_and_on_again,
    "load off and on": load_mains_lost,
    "meter off and on": meter_mains_lost,
    "meter pulled": pulled(0, 0.3),
    "supply pulled": pulled(1, 0.3),
    "load pulled": pulled(2, 0.3),
    "supply pulled for good": pulled(1, 30.0),
}


def conducted(folder: pathlib.Path, text: str, board: Board, made: Callable[[Bench], Source]) -> Report:
    (folder / "bench.toml").write_text(text)
    request = Request("7", str(folder / "bench.toml"), records=folder / "records")
    wanted = tuple(
        one.id for one in board.checks if not one.id.endswith(".off_current")
    )  # a meter goes in series there
    return Conduct(request, Silent(), made).run(board, wanted)


@pytest.mark.parametrize("after", [3, 25])
@pytest.mark.parametrize("case", CASES)
def test_what_happens_under_power_never_fails_a_good_unit(tmp_path: pathlib.Path, case: str, after: int) -> None:
    with served_bench(PROBED, 150.0, kind=Living) as served:
        heard, handle = [0], served.supply.handle

        def handled(message: str, now_s: float) -> str | None:
            heard[0] += served.supply.output
            if heard[0] == after:
                heard[0] += 1
                CASES[case](served)
            return handle(message, now_s)

        served.supply.handle = handled  # type: ignore[method-assign]
        report = conducted(
            tmp_path,
            served.text,
            spec_board(tmp_path, FOLLOWING),
            lambda bench: source(bench, ScriptedHand(), kind=Plain),
        )
        still_on = served.supply.output
        served.served.servers[1].faults.clear()
    assert heard[0] > after, "nothing was under power so long"
    readings = read_record(report.record).readings
    assert [one.check for one in readings if is_wrong(one)] == []
    failed = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
    assert [one.check for one in report.scores if one.verdict in failed] == []
    assert report.exit_code in ((5,) if still_on else (0, GOOD_EXIT, 4, 5))
    if case == "supply pulled for good":
        assert report.exit_code == 5


@pytest.mark.parametrize("case", ["supply off and on", "load off and on", "load pulled"])
def test_whoever_is_there_is_asked_at_the_very_check_that_lost_its_power(tmp_path: pathlib.Path, case: str) -> None:
    met: list[str] = []

    def ruled(step: Step, reason: str) -> Answer:
        assert reason
        met.append(step.check.id)
        return Hindered("kept off")

    def made(bench: Bench) -> Source:
        found = source(bench, ScriptedHand(), kind=Plain)
        found.power_ruled = ruled
        return found

    with served_bench(PROBED, 150.0, kind=Living) as served:
        heard, handle = [0], served.supply.handle

        def handled(message: str, now_s: float) -> str | None:
            heard[0] += served.supply.output
            if heard[0] == 25:
                heard[0] += 1
                CASES[case](served)
            return handle(message, now_s)

        served.supply.handle = handled  # type: ignore[method-assign]
        report = conducted(tmp_path, served.text, spec_board(tmp_path, FOLLOWING), made)
    read = {one.check for one in read_record(report.record).readings}
    powered = [one.check for one in report.scores if one.outcome in (Outcome.ERROR, Outcome.BLOCKED)]
    assert met == powered[:1], "once, and where it happened"
    assert met[0] not in read


class Silent:
    def scored(self, check: Check, score: Score, place: int, total: int) -> None: ...

    def undone(self, check: Check | None) -> None: ...


@dataclass
class LineHand:
    """A hand in another process, moved by lines."""

    served: subprocess.Popen[str]

    def _line(self, text: str) -> str:
        assert self.served.stdin is not None
        assert self.served.stdout is not None
        self.served.stdin.write(text + "\n")
        self.served.stdin.flush()
        return self.served.stdout.readline().strip()

    def place(self, check: Check) -> Answer | None:
        self._line(check.id)
        return None

    def lift(self) -> None:
        self._line("lift")

    def look(self, check: Check) -> str:
        return self._line(f"look {check.id}").rpartition("? ")[2]

    def confirm(self, question: str) -> bool:
        return question != ""

    def read(self, check: Check, meter: str) -> str:
        assert meter
        return self._line(f"read {check.id}")

    def discharge(self, check: Check) -> None:
        self._line("discharge")
        self.place(check)


@contextmanager
def simulating(spec: str, *words: str) -> Iterator[tuple[str, LineHand]]:
    command = [sys.executable, "-m", "benchcheck", "simulate", spec, "--pace", "400", *words]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as served:
        assert served.stdin is not None
        assert served.stdout is not None
        said = ""
        while "Ctrl-C ends" not in said:
            said += served.stdout.readline()
        try:
            yield said[said.index("benchcheck_bench = 1") :].partition("Here the hand")[0], LineHand(served)
        finally:
            served.stdin.write("quit\n")
            served.stdin.close()


def test_a_unit_simulated_in_another_process_is_verified_power_up_included(tmp_path: pathlib.Path) -> None:
    spec = str(ROOT / "specs" / "quillmere-kr6.toml")
    with simulating(spec, "--seed", "0") as (text, hand):
        report = conducted(tmp_path, text, load_spec(pathlib.Path(spec)), lambda read: source(read, hand))
    verdicts = {one.check: one.verdict for one in report.scores}
    assert [check for check, verdict in verdicts.items() if verdict is Verdict.FAIL] == []
    assert verdicts["BATT.idle_current"] is Verdict.PASS
    assert report.exit_code == 3
