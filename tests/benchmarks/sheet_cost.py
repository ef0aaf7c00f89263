"""A sheet of 300 checks, each with a budget: read from the file, made into a page (reach 0.5 s).

Reading the record and making the page are printed apart: what the whole command costs beyond them is its start. Byte
code is kept, as pip compiles it when it installs, and one uncounted run makes it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from benchcheck.clock import FakeClock
from benchcheck.record.journal import Journal
from benchcheck.record.record import read_record
from benchcheck.report.html import sheet_page
from tests.benchmarks.rows import row
from tests.record.samples import HEAD, RESULT, SCORES

MINUTES = 1
CHECKS = 300
ROUNDS = 7


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path, target = _record(Path(folder)), Path(folder) / "sheet.html"
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(Path(folder) / "byte-code")}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        read_s, page_s, command_s = [], [], []
        _command(path, target, environment)
        cpu_s = -_children_s()
        for _ in range(ROUNDS):
            start = time.perf_counter()
            record = read_record(path)
            between = time.perf_counter()
            page = sheet_page(record)
            page_s.append(time.perf_counter() - between)
            read_s.append(between - start)
            command_s.append(_command(path, target, environment))
        cpu_s = (cpu_s + _children_s()) / ROUNDS
        what = f"a sheet of {CHECKS} checks, the whole command at work"
        row(what, cpu_s, "reach, absolute", 0.5, 1.0)
        told = f"    reading the record alone {median(read_s):.3f} s, making the page {median(page_s):.3f} s"
        print(f"{told} ({len(page) / 1e3:.0f} kB), the command by the clock {median(command_s):.3f} s")


def _children_s() -> float:
    """Return the processor time of all ended children: what a busy machine does not add to."""
    spent = os.times()
    return spent.children_user + spent.children_system


def _record(folder: Path) -> Path:
    with Journal.create(folder / "records", HEAD, FakeClock()) as journal:
        journal.append_scores([replace(SCORES[0], check=f"R{number}.resistance") for number in range(CHECKS)])
        journal.append_result(RESULT)
    return journal.path


def _command(path: Path, target: Path, environment: dict[str, str]) -> float:
    command = [sys.executable, "-m", "benchcheck", "sheet", str(path), "-o", str(target)]
    start = time.perf_counter()
    subprocess.run(command, capture_output=True, check=True, env=environment)
    return time.perf_counter() - start


if __name__ == "__main__":
    main()
