"""The process of the power keeper: its signals, its pipe, and a voice that waits for nobody.

Started with the word "standby" it loads what it needs and waits until the first line comes.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import threading
import traceback
from collections.abc import Callable

from benchcheck.clock import SystemClock
from benchcheck.instruments.catalogue import Catalogue, shipped_catalogue
from benchcheck.instruments.connection import Connection, connect
from benchcheck.instruments.dialect import fill
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.keeper_loop import Instruments, Keeper, Pipe
from benchcheck.instruments.keeper_wire import KeeperSettings, PoweredInstrument
from benchcheck.instruments.power_supply import PowerSupply

ANNOUNCE_S = 0.2


def _connected(
    settings: KeeperSettings, while_waiting: Callable[[], None], *, off_first: bool = False
) -> Instruments:
    """Open what the keeper is to own; `off_first` sends the command to switch off before anything is asked."""
    shipped, clock = shipped_catalogue().extended(settings.dialects), SystemClock()
    supply = load = None

    def connected(one: PoweredInstrument, role: str) -> Connection:
        blind = _off_commands(shipped.extended(one.link.own), one, role) if off_first else ()
        return connect(one.name, role, one.link, shipped, clock, while_waiting=while_waiting, blind=blind)

    try:
        if (one := settings.supply) is not None:
            supply = PowerSupply(connected(one, "psu"), one.ceiling, one.channel)
        if (one := settings.load) is not None:
            load = ElectronicLoad(connected(one, "load"), one.ceiling, one.channel)
    except BaseException:
        Instruments(supply, load).close()
        raise
    return Instruments(supply, load)


def _off_commands(catalogue: Catalogue, one: PoweredInstrument, role: str) -> tuple[str, ...]:
    """Return what switches an instrument off whose dialect is named, nothing where it is not."""
    if not one.link.dialect:
        return ()
    dialect = getattr(catalogue.named(one.link.dialect), role)
    commands = (getattr(dialect, "select", ""), dialect.off)
    return tuple(fill(command, ch=one.channel) for command in commands if command)


def _announce(line: str) -> None:
    """Put a line before whoever still looks at the terminal; a terminal or pipe that takes nothing is not waited for.

    The descriptor is shared with other processes, so it cannot be made non-blocking: a thread waits in our place.
    """
    data = f"\nbenchcheck: {line}\n".encode(errors="replace")

    def write() -> None:
        with contextlib.suppress(OSError):
            os.write(2, data)

    voice = threading.Thread(target=write, daemon=True)
    voice.start()
    voice.join(ANNOUNCE_S)


def _serve(standby: bool) -> int:
    clock = SystemClock()
    for name in ("SIGINT", "SIGHUP", "SIGTSTP", "SIGTTOU"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    if standby:
        _wait_warm()
    pipe = Pipe(clock, sys.stdin.fileno(), sys.stdout.fileno())

    def asked_to_end(*_: object) -> None:
        pipe.ended = pipe.ended or "the power keeper was told to end"

    signal.signal(signal.SIGTERM, asked_to_end)
    try:
        return Keeper(pipe, clock, _connected, _announce).run()
    except Exception:  # power is off by then; the report must not wait for a reader either
        _announce(traceback.format_exc())
        return 1


def _wait_warm() -> None:
    """Load the VISA library, then wait for the first line or the end of the pipe."""
    from benchcheck.instruments.visa import warm

    warm()
    select.select([sys.stdin.fileno()], [], [])


if __name__ == "__main__":
    code = _serve("standby" in sys.argv[1:])
    os._exit(code)  # no buffer is left to flush, and a voice that still waits must not hold the process
