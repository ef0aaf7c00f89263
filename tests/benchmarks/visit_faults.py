"""Every kind of misbehaviour against a whole powered visit, once, at a random message: right, refused, wrong.

Each kind strikes meter, supply and load in turn, in a visit of `verify` with instruments on a served bench. Right:
all readings true, all checks as on a good unit. Refused: an error, a blocked or undecided check, exit code 4 or 5, or
a bench refused before anything was recorded. Wrong: a number that is not what the bench has there, an output left on,
a fail of a good unit, another exception, or a visit of more than a minute. A round takes ten minutes;
`python -m tests.benchmarks.visit_faults 5` makes five, `... 1 supply` strikes the supply alone.
"""

from __future__ import annotations

import contextlib
import io
import pathlib
import random
import sys
import tempfile
import time
from collections import Counter

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.kinds.check import Check
from benchcheck.record.store import read_record
from benchcheck.score.model import Score, Verdict
from benchcheck.session.answers import Source
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from tests.benchmarks.power_deaths import DIODE, OHMS, is_wrong
from tests.instruments.fault_matrix import AMOUNTS, BEYOND_ANY_DRIVER
from tests.session.powered import FOLLOWING, spec_board
from tests.session.rig import Living, Plain, ScriptedHand, Served, served_bench, source

CAMPAIGN = True
MINUTES = 10
ROLES = ("meter", "supply", "load")
MESSAGES = {"meter": 160, "supply": 280, "load": 40}  # about as many as a visit sends
LONGEST_S = 60.0
OFF_S = 3.0
EXIT_GOOD = 3  # the ripple of an AC meter is undecided


class Silent:
    def scored(self, check: Check, score: Score, place: int, total: int) -> None: ...

    def undone(self, check: Check | None) -> None: ...


def main() -> None:
    rounds = next((int(word) for word in sys.argv[1:] if word.isdigit()), 1)
    roles = [role for role in ROLES if role in sys.argv[1:]] or list(ROLES)
    chance = random.Random(20260131)
    counts: Counter[str] = Counter()
    faults: list[str] = []
    slowest_s = 0.0
    for _ in range(rounds):
        for kind in Kind:
            for role in roles:
                began = time.perf_counter()
                found = one_visit(kind, role, chance.randrange(MESSAGES[role]))
                slowest_s = max(slowest_s, time.perf_counter() - began)
                counts[found.split(":")[0]] += 1
                if found.startswith("wrong"):
                    faults.append(f"{kind.value} at the {role}: {found}")
    print(f"  {len(Kind)} kinds x {len(roles)} instruments x {rounds}: {sum(counts.values())} visits")
    for outcome, count in counts.most_common():
        print(f"    {count:5d} {outcome}")
    print(f"    slowest {slowest_s:.1f} s")
    for fault in faults:
        print(f"    {fault}")


def one_visit(kind: Kind, role: str, skip: int) -> str:
    """Return in words what came of a visit in which one message met the misbehaviour."""
    probed = {Function.OHMS: OHMS, Function.DIODE: DIODE, Function.AC_VOLTAGE: 0.002}
    with served_bench(probed, OHMS, kind=Living) as served, tempfile.TemporaryDirectory() as name:
        fault = Misbehaviour(kind, times=1, amount=AMOUNTS.get(kind, 0.0), skip=skip)
        served.served.servers[ROLES.index(role)].faults.append(fault)
        began = time.perf_counter()
        try:
            with contextlib.redirect_stderr(io.StringIO()):
                report = _conducted(pathlib.Path(name), served)
        except (BenchError, InstrumentError) as reason:
            return f"refused: {reason}" if not _left_on(served) else "wrong: an output was left on"
        except Exception as reason:
            return f"wrong: {type(reason).__name__}: {reason}"
        finally:
            fault.times = 0
        return _judged(kind, report, served, time.perf_counter() - began)


def _conducted(folder: pathlib.Path, served: Served) -> Report:
    (folder / "bench.toml").write_text(served.text)
    board = spec_board(folder, FOLLOWING)

    def made(bench: Bench) -> Source:
        return source(bench, ScriptedHand(), kind=Plain)

    request = Request("7", str(folder / "bench.toml"), records=folder / "records")
    return Conduct(request, Silent(), made).run(board, tuple(one.id for one in board.checks))


def _judged(kind: Kind, report: Report, served: Served, spent_s: float) -> str:
    readings = read_record(report.record).readings
    bad = [f"{one.check} {one.display.text}" for one in readings if is_wrong(one)]
    if bad and kind not in BEYOND_ANY_DRIVER:
        return f"wrong: {', '.join(bad)}"
    if _left_on(served) and report.exit_code != 5:
        return "wrong: an output was left on"
    failed = [one.check for one in report.scores if one.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)]
    if failed and kind not in BEYOND_ANY_DRIVER:
        return f"wrong: {', '.join(failed)} failed"
    if spent_s > LONGEST_S:
        return f"wrong: {spent_s:.0f} s"
    return "right" if report.exit_code == EXIT_GOOD else f"refused: exit code {report.exit_code}"


def _left_on(served: Served) -> bool:
    end = time.perf_counter() + OFF_S
    while (served.supply.output or served.load.input) and time.perf_counter() < end:
        time.sleep(0.01)
    return served.supply.output or served.load.input


if __name__ == "__main__":
    main()
