"""Verdicts in circuit on boards nobody tuned them on: good parts failed, absent parts passed, faults seen.

Boards and faults are drawn from seeds (`tests/diagnosis/random_boards.py`), units within their tolerances, meters
within their specification. VERDICT_BOARDS in the environment sets how many boards are drawn (20), VERDICT_FAULTS how
many faults of each (10), VERDICT_FIRST the first seed (0). What goes wrong is printed, one line each.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Iterable, Mapping

from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.circuit.devices import part_of
from benchcheck.circuit.faults import PartFault, possible_faults
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.readings.typed import read_typed
from benchcheck.score.judge import judge
from benchcheck.score.model import Score
from benchcheck.score.model_circuit import model_of
from benchcheck.score.solver import CircuitSolver
from benchcheck.simulation.population import readings_of
from benchcheck.spec.board import Board
from tests.diagnosis import boards
from tests.diagnosis.random_boards import random_spec

CAMPAIGN = True
MINUTES = 8

BOARDS = int(os.environ.get("VERDICT_BOARDS", "20"))
FAULTS = int(os.environ.get("VERDICT_FAULTS", "10"))
FIRST = int(os.environ.get("VERDICT_FIRST", "0"))
_CODES = ("open", "short", "reversed", "decade", "missing-joint", "wrong-polarity-type")
_GONE = ("open",)
#: measurands with an upper limit on the part's own number, that a part which is not there must not pass.
_SHOWS = ("resistance", "capacitance", "forward_drop", "body_diode", "be_drop", "bc_drop", "dc_resistance")


def main() -> None:
    bench, counts, began_s = default_bench(), Counter[str](), time.process_time()
    for seed in range(FIRST, FIRST + BOARDS):
        counts += of_board(boards.board(random_spec(seed)), bench, seed)
    print(f"  {BOARDS} random boards, seeds from {FIRST}, {time.process_time() - began_s:.0f} s of processor")
    for what, count in counts.items():
        print(f"  {what:58s}{count:6d}")


def of_board(board: Board, bench: Bench, seed: int) -> Counter[str]:
    """Return what came of one board, good and with each of a few faults."""
    chance, counts = random.Random(f"verdicts {seed}"), Counter[str]()
    good = scores(board, bench, (), seed)
    counts["checks of good boards"] += len(good)
    for verdict in (Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL):
        counts[f"of these {verdict}"] += sum(one.verdict is verdict for one in good.values())
    for name in failed(good.values()):
        print(f"    seed {seed}, good board: {name} fails, {good[name].display}: {good[name].because}")
    possible = [one for one in possible_faults(model_of(board).netlist) if one.code in _CODES]
    for at, fault in enumerate(chance.sample(possible, min(FAULTS, len(possible)))):
        counts += of_fault(
            board, fault, scores(board, bench, (str(fault),), 1000 * seed + at), f"seed {seed}, {fault}"
        )
    return counts


def of_fault(board: Board, fault: PartFault, found: Mapping[str, Score], where: str) -> Counter[str]:
    """Return what came of one faulty unit."""
    counts, part = Counter[str](), part_of(fault.designator)
    bad = failed(found.values())
    counts["faulty units"] += 1
    counts["of these with a fail"] += bool(bad)
    counts["of these with a fail of the part itself"] += any(board.by_id[name].subject == part for name in bad)
    for name in bad:
        subject = board.by_id[name].subject
        if subject == part or subject not in board.parts:
            continue
        named = part in found[name].because
        counts["fails of another part that name the faulty one"] += named
        counts["fails of another part that do not"] += not named
        if not named:
            print(f"    {where}: {name} fails, {found[name].display}: {found[name].because}")
    for check in board.checks:
        score = found.get(check.id)
        shows = check.subject == part and fault.code in _GONE and check.measurand in _SHOWS
        if shows and score is not None and score.verdict is Verdict.PASS:
            counts["parts that are not there and pass"] += 1
            print(f"    {where}: {check.id} passes, {score.display}")
    return counts


def failed(found: Iterable[Score]) -> list[str]:
    return [one.check for one in found if one.verdict is Verdict.FAIL]


def scores(board: Board, bench: Bench, faults: tuple[str, ...], seed: int) -> dict[str, Score]:
    """Return the scores of the unpowered checks of a virtual unit, by check id."""
    solver, found = CircuitSolver(board, bench), {}
    for name, shown in readings_of(board, bench, faults, seed).items():
        if name in board.by_id:
            check = board.by_id[name]
            found[name] = judge(check, (read_typed(check, shown.text),), bench, Session(), surroundings=solver)
    return found


if __name__ == "__main__":
    main()
