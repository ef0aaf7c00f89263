"""What befalls records, counted: kills, full disks, torn and flipped bytes, two processes, clocks set back.

Run: `python -m tests.benchmarks.record_faults [KILLS]`. Every line should end with nothing lost, nothing
unreadable and nothing wrong.
"""

from __future__ import annotations

import errno
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from unittest import mock

from benchcheck.clock import FakeClock, SystemClock
from benchcheck.errors import RecordError
from benchcheck.record.journal import Journal
from benchcheck.record.record import Record, read_record_bytes
from benchcheck.record.store import read_record, records_of
from tests.record.samples import HEAD, READINGS, value, write_visit
from tests.record.test_journal import CHILD

Counts = tuple[int, int, int, int]  # tried, lost, unreadable, wrong


CAMPAIGN = True
MINUTES = 5


def kills(folder: Path, count: int) -> Counts:
    """Kill a process that appends to one record, at a random moment, again and again."""
    draws = random.Random(1)
    place, told, lost, wrong = folder, 0, 0, 0
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    for _ in range(count):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(place)], stdout=subprocess.PIPE, text=True, env=environment
        )
        assert child.stdout is not None
        place = Path(child.stdout.readline().strip())
        time.sleep(draws.uniform(0.0, 0.03))
        child.send_signal(signal.SIGKILL)
        told += sum(line.endswith("\n") for line in child.stdout)
        child.stdout.close()
        child.wait()
        record = read_record(place)
        kept = [reading.display.value for reading in record.readings]
        lost += max(0, told - len(kept))
        told = len(kept)  # one more may be on the disk than was told
        wrong += sum(reading.display.text != f"{reading.display.value:g}" for reading in record.readings)
    return count, lost, 0, wrong


def full_disk(folder: Path, count: int) -> Counts:
    """Let the disk be full at every size, and enter the same reading again."""
    lost = wrong = 0
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Journal.create(folder, HEAD, SystemClock()) as journal:
        for room in range(count):
            size = journal.path.stat().st_size
            reading = value("R1.resistance", str(room), float(room))
            resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, hard))
            try:
                journal.append_reading(reading)
            except RecordError:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
                wrong += journal.path.stat().st_size != size
                journal.append_reading(reading)
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    kept = [reading.display.value for reading in read_record(journal.path).readings]
    lost += kept != [float(room) for room in range(count)]
    return count, lost, 0, wrong


def read_only(folder: Path, count: int) -> Counts:
    """Refuse the record's file by each number a system has for it; nothing may be left behind."""
    left = 0
    for number in (errno.EROFS, errno.EACCES, errno.EPERM, errno.ENOSPC, errno.EDQUOT)[:count]:
        refusal = OSError(number, os.strerror(number))
        with mock.patch("os.open", side_effect=refusal):
            try:
                Journal.create(folder / str(number), HEAD, SystemClock())
                left += 1
            except RecordError:
                pass
        left += sum(path.is_file() for path in folder.rglob("*.toml"))
    return count, 0, 0, left


def damaged(folder: Path, spoil: Callable[[bytes], Iterator[tuple[int, bytes]]]) -> Counts:
    """Damage a record's bytes in every place; count sealed blocks lost before it, and values never written.

    `spoil` gives how many bytes from the start are untouched, and the damaged bytes.
    """
    path = write_visit(folder)
    data = path.read_bytes()
    whole = read_record(path)
    ends = [mark.end() for mark in re.finditer(rb'^seal = ".*"$', data, re.MULTILINE)]
    known = {(entry.seal, entry.value) for entry in whole.all_readings}
    tried = lost = unreadable = wrong = 0
    for untouched, spoilt in spoil(data):
        tried += 1
        before = sum(end <= untouched for end in ends)
        record: Record | None = None
        try:
            record = read_record_bytes(spoilt, path)
        except RecordError:
            unreadable += before > 0
            continue
        lost += max(0, before - record.blocks)
        wrong += sum((entry.seal, entry.value) not in known for entry in record.all_readings)
    return tried, lost, unreadable, wrong


def torn(data: bytes) -> Iterator[tuple[int, bytes]]:
    for cut in range(len(data)):
        yield cut, data[:cut]


def flipped(data: bytes) -> Iterator[tuple[int, bytes]]:
    """A block reaches to the line end of its seal, so one byte before the flip may not end a block."""
    for place in range(len(data)):
        for bit in range(8):
            yield place - 1, data[:place] + bytes([data[place] ^ 1 << bit]) + data[place + 1 :]


def two_processes(folder: Path, count: int) -> Counts:
    """Open a record that is open already."""
    admitted = 0
    with Journal.create(folder, HEAD, SystemClock()) as journal:
        for _ in range(count):
            try:
                Journal.resume(journal.path, SystemClock()).close()
                admitted += 1
            except RecordError:
                journal.append_reading(READINGS[0])
    return count, count - len(read_record(journal.path).readings) - admitted, 0, admitted


def clock_set_back(folder: Path, count: int) -> Counts:
    draws, clock, paths = random.Random(2), FakeClock(), []
    for _ in range(count):
        clock.set_wall(clock.now() + timedelta(days=draws.randint(-900, 900)))
        paths.append(write_visit(folder, clock=clock))
    shown = [record.path for record in records_of(folder, HEAD.unit)]
    return count, len(paths) - len(shown), 0, int(shown != paths)


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    rows: dict[str, Callable[[Path], Counts]] = {
        "SIGKILL while appending": lambda folder: kills(folder, number),
        "disk full at any size": lambda folder: full_disk(folder, 400),
        "read-only or full folder": lambda folder: read_only(folder, 5),
        "torn at every byte": lambda folder: damaged(folder, torn),
        "every bit flipped": lambda folder: damaged(folder, flipped),
        "two processes on one record": lambda folder: two_processes(folder, 100),
        "clock set back or forth": lambda folder: clock_set_back(folder, 40),
    }
    print(f"{'fault':30s}{'tried':>8s}{'lost':>8s}{'unreadable':>12s}{'wrong':>8s}")
    for name, run in rows.items():
        with tempfile.TemporaryDirectory() as directory:
            tried, lost, unreadable, wrong = run(Path(directory))
        print(f"{name:30s}{tried:8d}{lost:8d}{unreadable:12d}{wrong:8d}")


if __name__ == "__main__":
    main()
