"""How fast power is off when a powered visit dies: SIGKILL, SIGSTOP, SIGTERM, Ctrl-C, closed terminal, exception.

And when the power keeper is killed or stopped instead, and the visit lives on.

The visit is the whole job of `verify` with instruments, in a process of its own, on a bench served here; one strike
in five comes before power is on. Prints for each way how often, how often with power on, outputs left on, the longest
time until supply and load were off, accepted readings lost, and wrong numbers in the record. Counts are small unless
given: `python -m tests.benchmarks.power_deaths 200 50` (SIGKILL, each other), with names of ways for those alone.
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

from benchcheck.bench.functions import Function
from benchcheck.errors import RecordError
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.store import read_record
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from tests.session.powered import FOLLOWING
from tests.session.rig import Living, Served, served_bench

KILLS, OTHERS = 6, 3
GIVE_UP_S, START_S, STRIKE_S, EARLY = 8.0, 60.0, 3.0, 0.2
CAMPAIGN = True
MINUTES = 5
ALLOWED_S = {"SIGKILL": 1.0, "SIGSTOP": 3.0, "SIGTERM": 1.0, "Ctrl-C": 1.0, "closed terminal": 1.0, "exception": 1.0}
ALLOWED_S |= {"keeper killed": 1.0, "keeper stopped": 3.0}
KEEPER = {"keeper killed": signal.SIGKILL, "keeper stopped": signal.SIGSTOP}
SIGNALS = {"SIGKILL": signal.SIGKILL, "SIGSTOP": signal.SIGSTOP, "SIGTERM": signal.SIGTERM}
OHMS, DIODE = 150.0, 0.6
VOLTS = {"": 6.0, "fresh": 6.4, "end_of_life": 5.0}


@dataclass
class Death:
    off_s: float
    lost: int
    wrong: int
    was_on: bool
    left_on: bool


def main() -> None:
    counts = [int(word) for word in sys.argv[1:] if word.isdigit()]
    kills, others = counts if len(counts) == 2 else (KILLS, OTHERS)
    chance = random.Random(20260131)
    for how in [one for one in ALLOWED_S if one in sys.argv[1:]] or list(ALLOWED_S):
        allowed_s = ALLOWED_S[how]
        times = kills if how == "SIGKILL" else others
        deaths = [one_death(how, chance) for _ in range(times)]
        slowest = max(death.off_s for death in deaths)
        late, on = sum(death.off_s > allowed_s for death in deaths), sum(death.was_on for death in deaths)
        left, lost = sum(death.left_on for death in deaths), sum(death.lost for death in deaths)
        print(
            f"  {how}: {times} times, {on} with power on; {left} outputs left on, slowest off {slowest:.3f} s "
            f"(allowed {allowed_s:g} s, {late} late), {lost} readings lost, "
            f"{sum(death.wrong for death in deaths)} wrong numbers",
            flush=True,
        )


def one_death(how: str, chance: random.Random) -> Death:
    """Start a powered visit, end it at a random moment, and say how long supply and load stayed on."""
    probed = {Function.OHMS: OHMS, Function.DIODE: DIODE, Function.AC_VOLTAGE: 0.002}
    with served_bench(probed, OHMS, kind=Living) as served, tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        (folder / "bench.toml").write_text(served.text)
        (folder / "board.toml").write_text(FOLLOWING)
        extra = [str(chance.randrange(1, 8))] if how == "exception" else []
        command = [sys.executable, "-m", "tests.session.powered_verify", name, *extra]
        master, slave = pty.openpty()
        with subprocess.Popen(
            command, stdin=slave, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True
        ) as victim:
            os.close(slave)
            try:
                return _ended(how, victim, served, folder, chance, master)
            finally:
                victim.kill()


def _ended(
    how: str,
    victim: subprocess.Popen[bytes],
    served: Served,
    folder: pathlib.Path,
    chance: random.Random,
    master: int,
) -> Death:
    """Strike at a random moment: before power is on, while it comes up, or some seconds into loads and soak."""
    assert victim.stdout is not None
    supply, load = served.supply, served.load
    told = b""
    early = how != "exception" and chance.random() < EARLY
    _wait_until(lambda: bool(supply.log) if early else supply.output or victim.poll() is not None, START_S)
    if how == "exception":
        was_on = supply.output
        while data := os.read(victim.stdout.fileno(), 65536):  # ends with the victim
            told += data
        began = time.perf_counter()
    else:
        time.sleep(chance.uniform(0.0, STRIKE_S))
        was_on, began = supply.output, time.perf_counter()
    if how in SIGNALS:
        victim.send_signal(SIGNALS[how])
    elif how in KEEPER:
        _strike_keeper(victim.pid, KEEPER[how])
    elif how == "Ctrl-C":
        os.write(master, b"\x03")
    elif how == "closed terminal":
        os.close(master)
    off_s = _settled_off(supply, load, began, 2.6 if "STOP" in how.upper() else 0.8)
    left_on = supply.output or load.input
    victim.kill()
    told += victim.stdout.read()
    if how != "closed terminal":
        os.close(master)
    kept = _kept(folder)
    lost = set(told.decode().split()) - {one.check for one in kept} - {"V6.load_regulation"}  # computed, not read
    return Death(off_s, len(lost), sum(map(is_wrong, kept)), was_on, left_on)


def _strike_keeper(visit: int, how: signal.Signals) -> None:
    """Send a signal to the child of a visit that owns supply and load, not to the one that stands by."""
    for process in pathlib.Path("/proc").glob("[0-9]*"):
        try:
            words = (process / "cmdline").read_bytes().split(b"\0")
            parent = int((process / "stat").read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
        if parent == visit and b"benchcheck.instruments.keeper_process" in words and b"standby" not in words:
            os.kill(int(process.name), how)


def _kept(folder: pathlib.Path) -> list[Reading]:
    readings: list[Reading] = []
    for path in folder.glob("records/7/*.toml"):
        try:
            readings += read_record(path).readings
        except RecordError:
            continue  # a head cut short: nothing had been accepted yet
    return readings


def is_wrong(reading: Reading) -> bool:
    """Whether a metered number is not what the bench has there."""
    value = reading.display.value
    if value is None or reading.origin is not Origin.METERED or reading.quantity_unit in ("s", "A"):
        return False
    if reading.quantity_unit == "ohm":
        return abs(value - OHMS) > 0.002 * OHMS
    if reading.check == "meter.diode":
        return abs(value - DIODE) > 0.002
    if ".voltage[" in reading.check:
        name = reading.check.partition(":")[2].rstrip("]")
        return abs(value - VOLTS[name]) > 0.01
    return abs(value) > 0.05 and not reading.check.endswith(".ripple")


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
