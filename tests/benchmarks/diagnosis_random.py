"""The diagnosis on boards nobody tuned it on, drawn from seeds, with faults drawn uniformly among all there may be.

DIAGNOSIS_BOARDS in the environment sets how many boards are drawn (10), each as four units with two faults each, read
once faulty and once good; DIAGNOSIS_FIRST the first seed (0). Values lie within tolerance, meters within their
specification.
"""

from __future__ import annotations

import os
import time
from collections import Counter

from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine
from tests.benchmarks.diagnosis_figures import Tally
from tests.diagnosis import boards, population
from tests.diagnosis.random_boards import random_spec

BOARDS = int(os.environ.get("DIAGNOSIS_BOARDS", "10"))
FIRST = int(os.environ.get("DIAGNOSIS_FIRST", "0"))
UNITS, FAULTS = 4, 2
CAMPAIGN = True
MINUTES = 10


def main() -> None:
    tally = Tally()
    parts: Counter[int] = Counter()
    for seed in range(FIRST, FIRST + BOARDS):
        board = boards.board(random_spec(seed))
        parts[len(board.parts)] += 1
        alone = of_board(Engine(board, boards.bench()))
        tally = together(tally, alone)
        missed = "".join(f"; missed {name}" for name in alone.missed)
        print(
            f"    seed {seed}, {len(board.parts)} parts: first {alone.first} of {alone.faulty}, good called faulty "
            f"{alone.called} of {alone.good}{missed}",
            flush=True,
        )
    sizes = sorted(parts.elements())
    tally.say(f"{BOARDS} random boards of {sizes[0]} to {sizes[-1]} parts, seeds from {FIRST}")


def of_board(engine: Engine) -> Tally:
    """Return what came of the units of one board."""
    started, tally = time.process_time(), Tally()
    for unit in population.units(engine, engine.predictions.shots, "random", UNITS, FAULTS):
        tally.take(engine, unit.truth, ranked(engine, unit.evidence), shown=unit.shown)
    print(f"    {len(engine.hypotheses)} hypotheses, {time.process_time() - started:.0f} s of processor", flush=True)
    return tally


def together(one: Tally, other: Tally) -> Tally:
    """Return two counts as one."""
    return Tally(
        one.faulty + other.faulty, one.hidden + other.hidden, one.first + other.first, one.third + other.third,
        one.good + other.good, one.called + other.called, one.otherwise + other.otherwise, one.given + other.given,
        one.missed + other.missed, one.sizes + other.sizes,
    )  # fmt: skip


if __name__ == "__main__":
    main()
