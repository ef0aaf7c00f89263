"""What large boards cost: reading a spec, `between` two nets, `capability` a check, `verify` a reading.

Boards of one pattern, twice as many parts each time. A sample of checks spread over the board is timed in processor
time and carried to all of them; only the surroundings of a part are solved, so a check costs about the same on every
board and the whole grows as the parts. No peer does this; the figures stand by themselves.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence

from benchcheck.document import parse_document
from benchcheck.kinds.check import Check
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.between import between
from benchcheck.score.capability import capabilities, expected_value
from benchcheck.score.judge import judge
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.load import load_board
from tests.circuit.large_specs import large_spec
from tests.factories import bench

MINUTES = 3
SIZES = (250, 500, 1000, 2000)
SAMPLE = 40
METER = bench("handheld-6000")


def _took(what: Callable[[], object]) -> float:
    started = time.process_time()
    what()
    return time.process_time() - started


def _spread_over(checks: Sequence[Check], count: int) -> list[Check]:
    return list(checks[:: max(1, len(checks) // count)])[:count]


def _judged(checks: Sequence[Check], solver: CircuitSolver) -> None:
    """Score a reading of what is expected for every check that takes a number."""
    for check in checks:
        value = expected_value(check)
        if value is not None and not check.sources and not check.answers:
            display = Display(f"{value:.9g}", DisplayState.VALUE, value, 0.0)
            one = Reading(check.id, display, check.quantity_unit, Origin.TYPED)
            judge(check, [one], METER, Session(), surroundings=solver)


def main() -> None:
    """Print one line a board."""
    print(f"  processor time, load {os.getloadavg()[0]:.1f}; the whole is carried from {SAMPLE} checks of each board")
    print("   parts  nets  checks   spec   between   capability: a check, the whole   verify: a reading, the whole")
    for parts in SIZES:
        text = large_spec(parts)
        started = time.process_time()
        board = load_board(parse_document(text, "large.toml"))
        loaded_s = time.process_time() - started
        nets = len({net for part in board.parts.values() for net in part.pins.values()})
        between_s = _took(lambda: between(board, METER, f"N{parts // 4}", f"N{parts // 4 + 5}"))  # noqa: B023
        sample = _spread_over([one for one in board.checks if not one.sources], SAMPLE)
        asked_s = _took(lambda: capabilities(sample, METER, Session(), CircuitSolver(board, METER))) / len(sample)  # noqa: B023
        scored_s = _took(lambda: _judged(sample, CircuitSolver(board, METER))) / len(sample)  # noqa: B023
        whole = f"{1e3 * asked_s:8.0f} ms {asked_s * len(board.checks):10.0f} s"
        visit = f"{1e3 * scored_s:16.0f} ms {scored_s * len(board.checks):10.0f} s"
        counts = f"{parts:8} {nets:5} {len(board.checks):7}"
        print(f"{counts} {loaded_s:5.2f} s {between_s:7.2f} s {whole:>26} {visit:>30}", flush=True)


if __name__ == "__main__":
    main()
