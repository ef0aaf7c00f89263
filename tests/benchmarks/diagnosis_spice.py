"""The diagnosis on units read by ngspice with other parameters than ours.

DIAGNOSIS_SPICE in the environment sets how many units a board (10; the figures asked for take 200), each read with
one fault and without; DIAGNOSIS_TOLD=1 prints what came first in place of a true fault, and by which readings.
"""

from __future__ import annotations

import os
import pathlib
import random
import sys
import tempfile

import numpy as np

from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine, Weighed
from tests.benchmarks.diagnosis_figures import Tally, engine_of
from tests.diagnosis import population
from tests.diagnosis.spice_units import spice_row

VERBOSE = bool(os.environ.get("DIAGNOSIS_TOLD"))
UNITS = int(os.environ.get("DIAGNOSIS_SPICE", "10"))
CAMPAIGN = True
MINUTES = 30


def main() -> None:
    wanted = [name for name in sys.argv[1:] if name.endswith(".toml")]
    for path in [pathlib.Path(name) for name in wanted] or sorted(pathlib.Path("specs").glob("*.toml")):
        by_spice(path)


def by_spice(path: pathlib.Path) -> None:
    engine, tally = engine_of(path), Tally()
    unsolved = 0
    faults = [at for at, one in enumerate(engine.hypotheses) if one.part_fault is not None]
    for number in range(UNITS):
        seed = f"spice {engine.board.model} {number}"
        chance = random.Random(seed)
        ambient_c, truth = chance.uniform(10.0, 35.0), chance.choice(faults)
        try:
            take(engine, tally, truth, seed, ambient_c, chance)
        except RuntimeError as error:
            unsolved += 1
            print(f"    {engine.hypotheses[truth]}, unit {number}: {error}", flush=True)
        if number % 25 == 24:
            tally.say(f"{path.stem}, by ngspice, so far")
    tally.say(f"{path.stem}, by ngspice, seed spice, {unsolved} units not solved by ngspice")


def take(engine: Engine, tally: Tally, truth: int, seed: str, ambient_c: float, chance: random.Random) -> None:
    """Count one unit with a fault and its good twin."""
    shots = engine.predictions.shots
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        rows = [spice_row(engine, engine.hypotheses[at], shots, seed, ambient_c, folder) for at in (0, truth)]
    shown = population.differ(engine, shots, truth, rows[1], rows[0])
    for at, row in zip((0, truth), rows, strict=True):
        unit = population.unit_of(engine, shots, at, row, chance)
        tally.take(engine, at, ranked(engine, unit.evidence), shown=shown)
        if VERBOSE:
            told(engine, unit, engine.weigh(unit.evidence), ambient_c)


def told(engine: Engine, unit: population.Unit, weighed: Weighed, ambient_c: float) -> None:
    """Print a unit that does not come first, with the readings that the true fault explains worst."""
    group = np.array(engine.groups)
    shares = np.bincount(group, weighed.probability)
    order = np.argsort(-shares)
    if order[0] == group[unit.truth]:
        return
    best = [int(np.argmax(np.where(group == at, weighed.probability, -1.0))) for at in order[:3]]
    tops = ", ".join(f"{engine.hypotheses[at]} {shares[group[at]]:.2g}" for at in best)
    print(
        f"    {engine.hypotheses[unit.truth]} at {ambient_c:.0f} degC, group {shares[group[unit.truth]]:.2g}: {tops}"
    )
    seen, terms, mean = weighed.held.seen, weighed.terms, weighed.predictions.mean
    against = terms[unit.truth] - terms[best[0]]
    column = {shot: at for at, shot in enumerate(weighed.predictions.shots)}
    for at in np.argsort(against)[:6]:
        one = seen[at]
        place = column[one.shot]
        print(
            f"      {one.shot.red} {one.shot.black} {one.shot.function} {one.shot.switches or ''}: read "
            f"{one.value:.4g}; expected {mean[unit.truth, place]:.4g}, under the first {mean[best[0], place]:.4g}, "
            f"good {mean[0, place]:.4g}; worth {against[at]:+.2f}"
        )


if __name__ == "__main__":
    main()
