"""A powered run to be killed: powers on in the one safe order, then watches until something happens to it.

Usage: powered_run SUPPLY_RESOURCE LOAD_RESOURCE JOURNAL [exception]. Each accepted reading is first made durable in
the journal and then told on standard output.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import signal
import sys
import termios
from collections.abc import Callable

from benchcheck.clock import SystemClock
from benchcheck.errors import BenchcheckError
from benchcheck.instruments.connection import LinkSettings
from benchcheck.instruments.keeper_wire import KeeperSettings, PoweredInstrument
from benchcheck.instruments.power_keeper import PowerKeeper
from benchcheck.instruments.power_sequence import Do, PowerRequest, plan_power, power_on_steps
from benchcheck.instruments.power_supply import Ceiling
from benchcheck.instruments.power_watch import PowerWatch

CEILING = Ceiling(12.0, 1.0)


def settings(supply: str, load: str) -> KeeperSettings:
    return KeeperSettings(
        PoweredInstrument("supply.psu", LinkSettings(supply, "generic"), CEILING),
        PoweredInstrument("load.eload", LinkSettings(load, "generic"), CEILING),
    )


def power_on(keeper: PowerKeeper, clock: SystemClock) -> PowerWatch:
    plan = plan_power(PowerRequest("BATT", 6.0, 0.7, 0.045, 680e-6, 0.3), CEILING)
    does: dict[Do, Callable[[float], object]] = {
        Do.LOAD_OFF: lambda _: keeper.load.off(),
        Do.OUTPUT_OFF: lambda _: keeper.supply.off(),
        Do.SET_OVER_VOLTAGE: keeper.supply.set_over_voltage,
        Do.SET_LIMIT: keeper.supply.set_current_limit,
        Do.SET_VOLTAGE: keeper.supply.set_voltage,
        Do.READ_BACK: lambda _: keeper.supply.settings(),
        Do.OUTPUT_ON: lambda _: keeper.supply.on(),
    }
    for step in power_on_steps(plan, keeper.supply.settings(), has_load=True, has_over_voltage=True):
        does[step.do](step.value if step.value is not None else 0.0)
    return PowerWatch(plan, clock.monotonic_s())


def main() -> int:
    supply, load, journal_name, *how = sys.argv[1:]
    clock = SystemClock()
    with contextlib.suppress(OSError):  # so that Ctrl-C and hang-up come from the kernel
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job would ignore it
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    signal.signal(signal.SIGHUP, lambda *_: sys.exit(129))
    with open(journal_name, "ab", buffering=0) as journal, PowerKeeper(settings(supply, load), clock) as keeper:
        watch = power_on(keeper, clock)
        keeper.load.set_constant_current()
        keeper.load.set_current(0.06)
        keeper.load.on()
        number = 0
        while True:
            keeper.renew()
            stop = watch.observe(keeper.supply.measure())
            if stop is not None:
                raise RuntimeError(stop.line)
            number += 1
            journal.write(f"{number}\n".encode())
            os.fsync(journal.fileno())
            sys.stdout.write(f"{number}\n")
            sys.stdout.flush()
            if how and number >= int(how[0]):
                raise RuntimeError("an exception in the middle of a powered run")
            clock.sleep(0.005)


if __name__ == "__main__":
    try:
        raise SystemExit(main())
    except BenchcheckError as reason:
        sys.stderr.write(f"{reason}\n")
        raise SystemExit(reason.exit_code) from reason
