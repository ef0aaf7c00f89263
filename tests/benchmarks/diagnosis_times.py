"""What an answer takes: the dictionary worked out, taken from the shelf, and an answer once it exists.

Each demo board, and three boards drawn from seeds with 50 to 55 parts. Seconds are of processor time; an answer is
the mean of eight units within tolerance, four of them faulty, with all readings. Asked for on 60 parts: an answer in
1 s, in 5 s with the dictionary. Import and the reading of files are not counted.
"""

from __future__ import annotations

import pathlib
import tempfile
import time
from statistics import mean

import numpy as np

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.builtin import load_spec
from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine
from benchcheck.document import parse_document
from benchcheck.shelf import FileShelf
from benchcheck.spec.board import Board
from tests.benchmarks.rows import row
from tests.diagnosis import boards, population
from tests.diagnosis.random_boards import random_spec

MINUTES = 4
ANSWER_S, WITH_DICTIONARY_S = 1.0, 5.0
SOONER_FROM_SHELF = 10.0
RANDOM_SEEDS = (2, 6, 15)
DRAWN, FAULTS = "within tolerance", 4


def main() -> None:
    bench = load_bench(parse_document(boards.BENCH, "bench.toml"))
    for path in sorted(pathlib.Path("specs").glob("*.toml")):
        measure(path.stem, load_spec(path), bench)
    for seed in RANDOM_SEEDS:
        measure(f"drawn from seed {seed}", boards.board(random_spec(seed)), bench)


def measure(name: str, board: Board, bench: Bench) -> None:
    """Print the rows of one board."""
    with tempfile.TemporaryDirectory() as folder:
        shelf = FileShelf(pathlib.Path(folder))
        out, worked_out_s = made_ready(Engine(board, bench, shelf=shelf))
        taken, from_shelf_s = made_ready(Engine(board, bench, shelf=shelf))
        kept_mb = sum(path.stat().st_size for path in pathlib.Path(folder).iterdir()) / 1e6
    if not np.array_equal(out.predictions.mean, taken.predictions.mean, equal_nan=True):
        raise RuntimeError(f"{name}: what was kept is not what was worked out")
    what = f"{name}, {len(board.parts)} parts"
    row(
        f"{what}: dictionary from the shelf ({kept_mb:.0f} MB)",
        from_shelf_s, "worked out", worked_out_s, SOONER_FROM_SHELF, faster=True,
    )  # fmt: skip
    answer_s = mean(answers(taken))
    row(f"{what}: an answer", answer_s, "at most", ANSWER_S, 1.0)
    row(f"{what}: an answer with the dictionary", worked_out_s + answer_s, "at most", WITH_DICTIONARY_S, 1.0)


def made_ready(engine: Engine) -> tuple[Engine, float]:
    """Return the engine and what its predictions and groups took, in seconds."""
    began_s = time.process_time()
    assert len(engine.groups) == len(engine.predictions.mean)
    return engine, time.process_time() - began_s


def answers(engine: Engine) -> list[float]:
    """Return the seconds of every answer."""
    took = []
    for unit in population.units_of_draw(engine, engine.predictions.shots, DRAWN, 0, FAULTS):
        began_s = time.process_time()
        ranked(engine, unit.evidence)
        took.append(time.process_time() - began_s)
    return took


if __name__ == "__main__":
    main()
