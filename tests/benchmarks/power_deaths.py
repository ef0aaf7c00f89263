"""How fast power is off when a powered run dies: SIGKILL, SIGSTOP, SIGTERM, Ctrl-C, a closed terminal, an exception.

Prints for each way how often, the longest time until supply and load were off, and accepted readings that were
lost. Counts are small unless given: `python -m tests.benchmarks.power_deaths 200 50`, or with names of ways behind
them for those alone.
"""

from __future__ import annotations

import os
import pathlib
import pty
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass

from benchcheck.simulation.scpi_server import ServedBench
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from benchcheck.simulation.world import PlainBench
from tests.instruments.rig import wait_until_left

KILLS, OTHERS = 6, 3
GIVE_UP_S = 8.0
ALLOWED_S = {"SIGKILL": 1.0, "SIGSTOP": 3.0, "SIGTERM": 1.0, "Ctrl-C": 1.0, "closed terminal": 1.0, "exception": 1.0}
SIGNALS = {"SIGKILL": signal.SIGKILL, "SIGSTOP": signal.SIGSTOP, "SIGTERM": signal.SIGTERM}


@dataclass
class Death:
    off_s: float
    lost: int
    was_on: bool


def main() -> None:
    counts = [int(word) for word in sys.argv[1:] if word.isdigit()]
    kills, others = counts if len(counts) == 2 else (KILLS, OTHERS)
    chance = random.Random(20260131)
    ways = [how for how in ALLOWED_S if how in sys.argv[1:]] or list(ALLOWED_S)
    for how in ways:
        allowed_s = ALLOWED_S[how]
        times = kills if how == "SIGKILL" else others
        deaths = [one_death(how, chance) for _ in range(times)]
        slowest = max(death.off_s for death in deaths)
        late = sum(death.off_s > allowed_s for death in deaths)
        on, lost = sum(death.was_on for death in deaths), sum(death.lost for death in deaths)
        print(
            f"  {how}: {times} times, {on} with power on, slowest off {slowest:.3f} s (allowed {allowed_s:g} s), "
            f"{late} late, {lost} readings lost"
        )


def one_death(how: str, chance: random.Random) -> Death:
    """Start a powered run, end it at a random moment, and say how long supply and load stayed on."""
    bench = PlainBench()
    supply, load = SupplyFront(bench), LoadFront(bench)
    with ServedBench((supply, load)) as served, tempfile.TemporaryDirectory() as folder:
        journal = pathlib.Path(folder) / "journal"
        resources = [server.resource for server in served.servers]
        extra = [str(chance.randrange(1, 40))] if how == "exception" else []
        command = [sys.executable, "-m", "tests.instruments.powered_run", *resources, str(journal), *extra]
        master, slave = pty.openpty()
        with subprocess.Popen(
            command,
            stdin=slave,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        ) as victim:
            os.close(slave)
            try:
                return _ended(how, victim, supply, load, journal, chance, master)
            finally:
                victim.kill()
                wait_until_left(served)


def _ended(
    how: str,
    victim: subprocess.Popen[bytes],
    supply: SupplyFront,
    load: LoadFront,
    journal: pathlib.Path,
    chance: random.Random,
    master: int,
) -> Death:
    assert victim.stdout is not None
    told = b""
    _wait_until(lambda: bool(supply.log), GIVE_UP_S)
    if how == "exception":
        while data := os.read(
            victim.stdout.fileno(), 65536
        ):  # ends with the victim, which raises after its last reading
            told, began, was_on = told + data, time.perf_counter(), supply.output
    else:
        time.sleep(chance.uniform(0.0, 0.5))
        was_on, began = supply.output, time.perf_counter()
    if how in SIGNALS:
        victim.send_signal(SIGNALS[how])
    elif how == "Ctrl-C":
        os.write(master, b"\x03")
    elif how == "closed terminal":
        os.close(master)
    off_s = _settled_off(supply, load, began, 2.6 if how == "SIGSTOP" else 0.8)
    victim.kill()
    told += victim.stdout.read()
    kept = journal.read_bytes().split(b"\n") if journal.exists() else []
    if how != "closed terminal":
        os.close(master)
    return Death(off_s, len(set(told.split(b"\n")[:-1]) - set(kept)), was_on)


def _settled_off(supply: SupplyFront, load: LoadFront, began: float, watch_s: float) -> float:
    """Return when both were last seen on, watched until they have been off for `watch_s` seconds."""
    last_on = max(began, time.perf_counter()) if supply.output or load.input else began
    while time.perf_counter() - last_on < watch_s and time.perf_counter() - began < GIVE_UP_S:
        if supply.output or load.input:
            last_on = time.perf_counter()
        time.sleep(0.002)
    return last_on - began


def _wait_until(condition: object, limit_s: float) -> None:
    assert callable(condition)
    end = time.perf_counter() + limit_s
    while not condition() and time.perf_counter() < end:
        time.sleep(0.001)


if __name__ == "__main__":
    main()
