"""The diagnosis on units read by ngspice with other parameters than ours.

DIAGNOSIS_SPICE in the environment sets how many units a board (10; the figures asked for take 200).
"""

from __future__ import annotations

import os
import pathlib
import random
import sys
import tempfile

from tests.benchmarks.diagnosis_figures import Tally, engine_of
from tests.diagnosis import population
from tests.diagnosis.spice_units import spice_drawn, spice_row

UNITS = int(os.environ.get("DIAGNOSIS_SPICE", "10"))
CAMPAIGN = True
MINUTES = 30


def main() -> None:
    wanted = [name for name in sys.argv[1:] if name.endswith(".toml")]
    for path in [pathlib.Path(name) for name in wanted] or sorted(pathlib.Path("specs").glob("*.toml")):
        engine, tally = engine_of(path), Tally()
        shots = engine.predictions.shots
        faults = [at for at, one in enumerate(engine.hypotheses) if one.part_fault is not None]
        for number in range(UNITS):
            chance = random.Random(f"spice {engine.board.model} {number}")
            board, ambient_c = spice_drawn(engine.board, engine.netlist, chance), chance.uniform(10.0, 35.0)
            modelled = {device.designator for device in board.devices}
            usable = [at for at in faults if engine.hypotheses[at].part_fault.designator in {"", *modelled}]  # type: ignore[union-attr]
            rows = {}
            for truth in (0, chance.choice(usable)):
                with tempfile.TemporaryDirectory() as folder:
                    hypothesis = engine.hypotheses[truth]
                    rows[truth] = spice_row(engine, board, hypothesis, shots, ambient_c, pathlib.Path(folder))
                unit = population.unit_of(engine, shots, truth, rows[truth], chance)
                shown = population.differ(engine, shots, rows[truth], rows[0])
                tally.take(engine, truth, engine.weigh(unit.evidence).probability, shown=shown)
            if number % 25 == 24:
                tally.say(f"{path.stem}, by ngspice, so far")
        tally.say(f"{path.stem}, by ngspice, seed spice")


if __name__ == "__main__":
    main()
