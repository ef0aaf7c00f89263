"""What it costs to accept one reading durably, against a bare write and fsync of the same bytes (ratio <= 1.5).

Run: `python -m tests.benchmarks.record_cost [DIRECTORY] [READINGS]`. The two take turns, reading by reading, so
that whatever else the disk does meets both alike; medians are compared.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from benchcheck.clock import SystemClock
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Stage
from tests.benchmarks.rows import row


def reading(number: int) -> Reading:
    display = Display("4.68k", DisplayState.VALUE, 4680.0 + number, 10.0)
    return Reading(f"R{number}.resistance", display, "ohm", Origin.TYPED, meter="dmm", taken=SystemClock().now())


def measure(directory: Path, count: int) -> tuple[list[float], list[float]]:
    head = Head("benchmark", "benchmark", Stage.AS_LEFT, "0" * 64)
    bare = os.open(directory / "bare.toml", os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    ours_s: list[float] = []
    bare_s: list[float] = []
    with Journal.create(directory / "records", head, SystemClock()) as journal:
        for number in range(count):
            one = reading(number)
            before = journal.path.stat().st_size
            start = time.perf_counter()
            journal.append_reading(one)
            ours_s.append(time.perf_counter() - start)
            block = journal.path.read_bytes()[before:]
            start = time.perf_counter()
            os.write(bare, block)
            os.fsync(bare)
            bare_s.append(time.perf_counter() - start)
    os.close(bare)
    return ours_s, bare_s


def main() -> None:
    place = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    with tempfile.TemporaryDirectory(dir=place) as directory:
        ours_s, bare_s = measure(Path(directory), count)
    what = f"accepting one reading durably ({count} readings)"
    row(what, median(ours_s), "bare write + fsync of the same bytes", median(bare_s), 1.5)


if __name__ == "__main__":
    main()
