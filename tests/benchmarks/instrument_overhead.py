"""What drivers add to the bare exchange of messages: metered readings, and setting and verifying a supply.

The peer is a pyvisa loop that sends the same messages and reads the same answers, on a simulated instrument in
another process. Rounds alternate, and the ratio is the median of the rounds' ratios.
"""

from __future__ import annotations

import contextlib
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import pyvisa

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.connection import LinkSettings, connect
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.instruments.power_supply import Ceiling, PowerSupply
from tests.benchmarks.rows import row

MINUTES = 2
READINGS = 2000
ROUNDS = 5
SETS = 100
SET_ROUNDS = 60
CORES = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []


def main() -> None:
    _readings()
    _sets()


@contextlib.contextmanager
def _served(reading_time_s: float) -> Iterator[list[str]]:
    command = [sys.executable, "-m", "tests.instruments.serve_bench", str(reading_time_s)]
    with _core(-1):
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    with process, _core(0):
        assert process.stdout is not None
        assert process.stdin is not None
        try:
            yield process.stdout.readline().split()
        finally:
            process.stdin.close()


@contextlib.contextmanager
def _core(number: int) -> Iterator[None]:
    """Run on one core, for asker and instrument have one each: moving about costs more than what is compared."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {CORES[number]})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def _bare(resource: str) -> Any:
    return pyvisa.ResourceManager("@py").open_resource(
        resource, read_termination="\n", write_termination="\n", timeout=5000
    )


def _timed(call: Callable[[], object]) -> float:
    started = time.perf_counter()
    call()
    return time.perf_counter() - started


def _readings() -> None:
    with _served(0.002) as (resource, *_):
        pairs = [(_ours_read(resource), _peer_read(resource)) for _ in range(ROUNDS)]
    _row(f"{READINGS} readings of 2 ms", pairs, 1.05)


def _ours_read(resource: str) -> float:
    connection = connect("meter", "dmm", LinkSettings(resource, "generic"), shipped_catalogue(), SystemClock())
    meter = Multimeter(connection)
    meter.measure(Function.OHMS, settle=None)
    spent_s = _timed(lambda: meter.measure(Function.OHMS, count=READINGS, settle=None))
    connection.close()
    return spent_s / READINGS


def _peer_read(resource: str) -> float:
    bare = _bare(resource)
    bare.query("MEAS:RES?")
    spent_s = _timed(lambda: _bare_readings(bare))
    bare.close()
    return spent_s / READINGS


def _bare_readings(bare: Any) -> list[float]:
    values = []
    for number in range(READINGS):
        token = number % 255 + 1
        values.append(float(bare.query(f"READ?;*ESE {token};*ESE?").split(";")[0]))
    return values


def _sets() -> None:
    with _served(0.0) as (_, ours, *_rest), _served(0.0) as (_, peers, *_):  # each serves one client at a time
        connection = connect("supply", "psu", LinkSettings(ours, "generic"), shipped_catalogue(), SystemClock())
        supply, bare = PowerSupply(connection, Ceiling(12.0, 1.0)), _bare(peers)
        bare.query("*ESR?")  # it was just switched on
        pairs = [
            (_timed(lambda: _our_sets(supply)) / SETS, _timed(lambda: _bare_sets(bare)) / SETS)
            for _ in range(SET_ROUNDS)
        ]
        bare.close()
        connection.close()
    _row("set and verify the supply", pairs, 1.2)


def _our_sets(supply: PowerSupply) -> None:
    for number in range(SETS):
        supply.set_voltage(1.0 + number * 1e-3)


def _bare_sets(bare: Any) -> None:
    """What a careful script does by hand: set, read back, error queue and restart, all in one message."""
    for number in range(SETS):
        wanted, token = 1.0 + number * 1e-3, number % 255 + 1
        answer = bare.query(f"VOLT {wanted:.6g};:VOLT?;:SYST:ERR?;*ESR?;*ESE {token};*ESE?")
        back, error, status, echoed = answer.split(";")
        assert abs(float(back) - wanted) < 0.01
        assert int(error.split(",")[0]) == 0
        assert not int(status) & 128
        assert int(echoed) == token


def _row(what: str, pairs: list[tuple[float, float]], reach: float) -> None:
    ratio = statistics.median(ours / peer for ours, peer in pairs)
    added_us = statistics.median(ours - peer for ours, peer in pairs) * 1e6
    ours_s, peer_s = (statistics.median(column) for column in zip(*pairs, strict=True))
    row(what, ours_s, "the same messages by a bare pyvisa loop", peer_s, reach, ratio=ratio)
    print(f"    {added_us:+.1f} us each")


if __name__ == "__main__":
    main()
