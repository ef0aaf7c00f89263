"""What the meter should read between two nets of the demo board, from a cold start, beside importing numpy and scipy.

Fresh processes by turns, ours and the peer's, the median of seven of each; both have their byte code ready, as an
installed package has. Processor time (user and system) is the figure, the clock's time stands beside it: on a
busy machine the clock says more of the others.
"""

from __future__ import annotations

import os
import pathlib
import resource
import statistics
import subprocess
import sys
import tempfile
import time

from tests.benchmarks.rows import duration, row

MINUTES = 0.5
ROUNDS = 7
REACH_S = 0.6
ROOT = pathlib.Path(__file__).parents[2]
OURS = ("-m", "benchcheck", "between", "specs/quillmere-kr6.toml", "FB", "GND",
        "--bench", "examples/quillmere-kr6/bench.toml")  # fmt: skip
PEER = ("-c", "import numpy, scipy.sparse")


def main() -> None:
    """Print processor time and clock time against the bound, the peer's times beside them."""
    with tempfile.TemporaryDirectory() as byte_code:
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": byte_code}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        rounds = [(_run(OURS, environment), _run(PEER, environment)) for _ in range(ROUNDS + 1)][1:]
    ours, peer = ([statistics.median(each) for each in zip(*runs, strict=True)] for runs in zip(*rounds, strict=True))
    told = f"{duration(peer[0])} of the processor, {duration(peer[1])} by the clock"
    print(f"  import numpy, scipy.sparse: {told}, ratio {ours[0] / peer[0]:.2f}; load {os.getloadavg()[0]:.1f}")
    row("between, cold, processor time", ours[0], "the bound", REACH_S, 1.0)
    row("between, cold, by the clock", ours[1], "the bound", REACH_S, 1.0)


def _run(arguments: tuple[str, ...], environment: dict[str, str]) -> tuple[float, float]:
    """Return the processor seconds and the clock seconds of one fresh process."""
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, check=True)
    taken, after = time.perf_counter() - started, resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime, taken


if __name__ == "__main__":
    main()
