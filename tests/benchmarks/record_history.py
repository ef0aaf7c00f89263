"""History of one unit among many visits: against a bare indexed SQLite query, and from a cold start.

Run: `python -m tests.benchmarks.record_history [VISITS] [DIRECTORY]`; 100,000 visits of 30 readings with their
scores take about 1.5 GB. Files are written without flushes, as only reading them is measured. Reach: warm
at most 2 times the bare query on the same file, cold (a new process) under 0.6 s, memory flat.
"""

from __future__ import annotations

import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from benchcheck.metrology import Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.codec import body_of, reading_fields, score_fields
from benchcheck.record.folders import INDEX_NAME, unit_folder
from benchcheck.record.head import head_fields, result_fields
from benchcheck.record.index import Index
from benchcheck.record.model import Head, Instrument, Result, Stage
from benchcheck.record.seal import seal_line, seal_of
from benchcheck.score.model import Outcome, Score
from tests.benchmarks.rows import row

MINUTES = 15
READINGS = 30
VISITS_A_UNIT = 5
START = datetime(2020, 1, 1, tzinfo=UTC)
BARE = """
SELECT v.file, v.date, v.stage, v.exit_code, p.check_id, p.outcome, p.verdict, p.display, p.value, p.quantity_unit,
p.expanded_uncertainty, p.lower, p.upper, p.meter FROM visits v JOIN points p ON p.visit = v.id
WHERE v.folder = ? ORDER BY v.date, p.place
"""
COLD = """
import sys
from pathlib import Path
from benchcheck.record.index import Index
with Index.beside(Path(sys.argv[1])) as index:
    visits = index.history(sys.argv[2])
print(len(visits), sum(len(visit.points) for visit in visits))
"""


def blocks() -> list[bytes]:
    """The sealed part of every visit after its head, without seals: the same thirty checks each time."""
    found = []
    for number in range(READINGS):
        check, value = f"R{number}.resistance", 1000.0 + number / 7
        display = Display(f"{value:.1f}", DisplayState.VALUE, value, 0.1)
        reading = Reading(check, display, "ohm", Origin.TYPED, meter="dmm", taken=START)
        found.append(body_of("[[reading]]", reading_fields(reading)))
    for number in range(READINGS):
        check, value = f"R{number}.resistance", 1000.0 + number / 7
        score = Score(
            check, Outcome.MEASURED, "ohm", Verdict.PASS, display=f"{value:.1f}", value=value, meter="dmm",
            expanded_uncertainty=8.1, coverage_factor=1.65, lower=900.0, upper=1100.0, limit_origin="the spec",
            guard_band=8.1, conformance_probability=1.0, attempts=1,
        )  # fmt: skip
        found.append(body_of("[[score]]", score_fields(score)))
    found.append(body_of("[[result]]", result_fields(Result(0, (("pass", READINGS),), START))))
    return found


def write(folder: Path, unit: str, number: int, bodies: list[bytes], parents: tuple[str, ...]) -> str:
    """Write one record and return the seal by which it is known."""
    date = START + timedelta(hours=number)
    meter = Instrument("dmm", "handheld-6000", "serial 0815")
    head = Head(
        unit, "board", Stage.AS_LEFT, "0" * 64, date=date, instruments=(meter,), parents=parents, id=f"{number:08x}"
    )
    body = body_of("benchcheck_record = 1", head_fields(head))
    seal = seal_of("", body)
    pieces = [body, seal_line(seal)]
    for one in bodies:
        seal = seal_of(seal, one)
        pieces += (b"\n", one, seal_line(seal))
    (folder / f"{date:%Y%m%dT%H%M%SZ}-{number:08x}.toml").write_bytes(b"".join(pieces))
    return seal


def make(records: Path, visits: int) -> None:
    bodies = blocks()
    for unit in range(0, visits, VISITS_A_UNIT):
        label = f"unit {unit // VISITS_A_UNIT}"
        folder = records / unit_folder(label)
        folder.mkdir(parents=True)
        known: tuple[str, ...] = ()
        for number in range(unit, min(unit + VISITS_A_UNIT, visits)):
            known = (write(folder, label, number, bodies, known),)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def build(records: Path) -> None:
    start = time.perf_counter()
    steps: list[float] = []

    def told(done: int, total: int) -> None:
        if done * 10 // total > len(steps):
            steps.append(peak_mb())
            print(f"  {done:6d} of {total} units, {time.perf_counter() - start:5.0f} s, peak {steps[-1]:.0f} MB")

    with Index.beside(records) as index:
        update = index.update(records, progress=told)
    print(f"index of {update.read} records built in {time.perf_counter() - start:.0f} s; peak memory MB by tenths:")
    print("  " + " ".join(f"{step:.0f}" for step in steps))


def warm(records: Path, unit: str, rounds: int = 400) -> None:
    bare = sqlite3.connect(records / INDEX_NAME)
    folder = unit_folder(unit)
    bare_s, ours_s = [], []
    with Index.beside(records) as index:
        for _ in range(rounds):
            start = time.perf_counter()
            rows = bare.execute(BARE, (folder,)).fetchall()
            bare_s.append(time.perf_counter() - start)
            start = time.perf_counter()
            visits = index.history(unit)
            ours_s.append(time.perf_counter() - start)
        assert len(rows) == sum(len(visit.points) for visit in visits) > 0
        start = time.perf_counter()
        index.refresh(records, unit)
        refresh_s = time.perf_counter() - start
    bare.close()
    what = f"history of one unit ({len(rows)} points), warm"
    row(what, median(ours_s), "a bare indexed query of the same rows", median(bare_s), 2.0)
    print(f"looking for changed files of the unit first would take {refresh_s * 1e3:.1f} ms")


def cold(records: Path, unit: str) -> None:
    taken = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", COLD, str(records), unit], check=True, stdout=subprocess.DEVNULL)
        taken.append(time.perf_counter() - start)
    row("history of one unit, cold start in a new process", median(taken), "reach, absolute", 0.6, 1.0)


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    place = Path(sys.argv[2]) if len(sys.argv) > 2 else None
    with tempfile.TemporaryDirectory(dir=place) as directory:
        records = Path(directory) / "records"
        start = time.perf_counter()
        make(records, visits)
        print(f"{visits} visits of {READINGS} readings written in {time.perf_counter() - start:.0f} s")
        build(records)
        unit = f"unit {visits // VISITS_A_UNIT // 2}"
        warm(records, unit)
        cold(records, unit)


if __name__ == "__main__":
    main()
