"""From a key press to the changed screen while a linked meter is being read, in a process of its own.

The meter is a simulated one on a socket that takes its time for each reading. The peer is the bound a person notices
nothing below: 50 ms. Half the keys come while the meter answers quickly, half while each reading takes 300 ms.
"""

from __future__ import annotations

import pathlib
import statistics
import tempfile
import time

from benchcheck.builtin import load_spec, plugins
from benchcheck.simulation.simulated_bench import SimulatedBench, fragment_of
from tests.benchmarks.rows import row
from tests.terminal.desk_person import DeskPerson

MINUTES = 1
SPEC = pathlib.Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml"
NOTICED_S = 0.05
PRESSES = 60
SLOW_S = 0.3


def main() -> None:
    """Print the median and the slowest of many presses, at a quick and at a slow meter."""
    board = load_spec(SPEC, plugins())
    for name, reading_s in (("a quick meter", 1e-3), ("a meter of 300 ms a reading", SLOW_S)):
        with SimulatedBench(board) as served, tempfile.TemporaryDirectory() as folder:
            served.meter.reading_time_s = reading_s
            bench = pathlib.Path(folder) / "bench.toml"
            bench.write_text(fragment_of(served.names, served.resources, False), encoding="utf-8")
            took = _presses(pathlib.Path(folder))
        took.sort()
        slowest = took[int(len(took) * 0.95)]
        row(f"key to screen beside {name}, median", statistics.median(took), "noticed from", NOTICED_S, 1.0)
        row(f"key to screen beside {name}, slowest of 20", slowest, "noticed from", NOTICED_S, 1.0)


def _presses(folder: pathlib.Path) -> list[float]:
    command = ("benchcheck", "verify", str(SPEC), "--unit", "7", "--silent", "--only", "R14")
    took = []
    with DeskPerson(folder, *command) as person:
        person.sees("any key goes on")
        person.press(b" ")
        person.sees("waiting for the tips")
        for place in range(PRESSES):
            wanted = place % 2 == 0
            began_s = time.perf_counter()
            person.press(b"x")
            while ("red and black exchanged" in person.glass.text) is not wanted:
                person.look(0.2)
            took.append(time.perf_counter() - began_s)
            time.sleep(0.013 * (place % 7))
        person.kill()
    return took


if __name__ == "__main__":
    main()
