"""The power keeper: a separate process that owns supply and load, so that power outlives no visit.

It is started in a session of its own, where Ctrl-C and a closing terminal do not reach it. The main process sends
requests and renews a lease every half second; when it dies, hangs or is suspended the keeper switches off. When the
keeper itself dies, the client starts another one just to switch off. Not covered: mains loss of the computer, a
pulled cable, both processes killed.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

from benchcheck.clock import Clock, SystemClock
from benchcheck.errors import BenchcheckError, InstrumentError, OutputStateUnknown
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.connection import connect
from benchcheck.instruments.electronic_load import ElectronicLoad, LoadPoint
from benchcheck.instruments.keeper_loop import Instruments, Keeper, Pipe
from benchcheck.instruments.keeper_wire import (
    LEASE_S,
    KeeperSettings,
    decode,
    encode,
    raised,
    revived,
)
from benchcheck.instruments.power_supply import PowerSupply, SupplyPoint, SupplySettings
from benchcheck.instruments.power_watch import OffReport, OffState

__all__ = ["KeptLoad", "KeptSupply", "PowerKeeper"]

SILENT_S = 4.0  # the keeper says every half second that it is alive
START_S = 30.0  # loading the VISA library on a busy machine
STOP_S = 10.0
LOST = "the power keeper is gone"


class PowerKeeper:
    """The client of the keeper process; `supply` and `load` act like the drivers they stand for.

    Whoever holds it calls `renew` at least every half second (requests renew too); that is deliberately not left to
    a thread, which would go on renewing for a main thread that hangs.
    """

    def __init__(self, settings: KeeperSettings, clock: Clock | None = None) -> None:
        """Start the process and open the instruments; InstrumentError or BenchError as the drivers have it."""
        if os.name != "posix":
            raise InstrumentError("power needs signals and pipes of a POSIX system; switch the supply by hand")
        self._settings, self._clock = settings, clock or SystemClock()
        self._process = _spawned()
        self._renewed_s = self._clock.monotonic_s()
        self._counter, self._buffer = 0, b""
        self._closed, self._opened = False, False
        try:
            self.described: dict[str, Any] = self.request("open", _open_arguments(settings))
            self._opened = True
        except BaseException:
            self._end()
            raise
        self.supply, self.load = KeptSupply(self), KeptLoad(self)

    @property
    def process_id(self) -> int:
        """The process id of the keeper."""
        return self._process.pid

    def renew(self) -> None:
        """Renew the lease if half of its time is over; InstrumentError when the keeper has switched off and gone."""
        now_s = self._clock.monotonic_s()
        if now_s - self._renewed_s >= LEASE_S / 2.0:
            self._send({"do": "lease"})
            self._renewed_s = now_s

    def request(self, what: str, arguments: dict[str, Any] | None = None) -> Any:
        """Return the answer to a request, renewing the lease while waiting.

        InstrumentError or BenchError as the driver raised it (power is off then, unless it was only refused),
        OutputStateUnknown when switching off could not be verified.
        """
        self._counter += 1
        self._send({"id": self._counter, "do": what, "args": arguments or {}})
        self._renewed_s = self._clock.monotonic_s()
        answer = self._answer(self._counter)
        if "error" in answer:
            raise _combined(answer)
        return revived(answer.get("value"))

    def off(self) -> OffReport:
        """Switch load and output off and return which of the three states of off it is; never raises for that."""
        return cast(OffReport, self.request("off"))

    def close(self) -> OffReport:
        """Switch off, let the instruments go and end the process; OutputStateUnknown when off is not verified."""
        if self._closed:
            return OffReport(OffState.OFF, None, "closed before")
        try:
            report = cast(OffReport, self.request("close"))
        finally:
            self._end()
        if report.state is OffState.UNKNOWN:
            raise OutputStateUnknown(report.line)
        return report

    def __enter__(self) -> PowerKeeper:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Switch off and end, whatever happened."""
        self.close()

    # ---- inside

    def _send(self, message: dict[str, Any]) -> None:
        if self._closed:
            raise InstrumentError("the power keeper is closed; open a new one")
        assert self._process.stdin is not None
        try:
            os.write(self._process.stdin.fileno(), encode(message))
        except OSError as reason:
            raise self._lost() from reason

    def _answer(self, number: int) -> dict[str, Any]:
        heard_s = self._clock.monotonic_s()
        while True:
            message = self._next_line()
            self.renew()
            if message is None:
                if self._clock.monotonic_s() - heard_s > (SILENT_S if self._opened else START_S):
                    self._process.kill()  # it hangs, and it must not hold the links any longer
                    raise self._lost()
                continue
            heard_s = self._clock.monotonic_s()
            if message.get("event") == "off":
                raise self._ended_by_itself(message)
            if message.get("id") == number:
                return message

    def _next_line(self) -> dict[str, Any] | None:
        """Return the next message; None when there is none within half a lease."""
        assert self._process.stdout is not None
        descriptor = self._process.stdout.fileno()
        if b"\n" not in self._buffer:
            if not select.select([descriptor], [], [], LEASE_S / 2.0)[0]:
                return None
            data = os.read(descriptor, 65536)
            if not data:
                raise self._lost()
            self._buffer += data
            return None if b"\n" not in self._buffer else self._next_line()
        line, self._buffer = self._buffer.split(b"\n", 1)
        return decode(line)

    def _ended_by_itself(self, message: dict[str, Any]) -> InstrumentError:
        self._end()
        report = revived(message["value"])
        kind = OutputStateUnknown if report.state is OffState.UNKNOWN else InstrumentError
        return kind(f"the power keeper switched off ({message['reason']}): {report.line}")

    def _lost(self) -> InstrumentError:
        """Say what became of the power after the keeper has gone: its last word, or what a second keeper finds."""
        with contextlib.suppress(OSError, ValueError, InstrumentError):
            while (message := self._last_word()) is not None:
                if message.get("event") == "off":
                    return self._ended_by_itself(message)
        self._end()
        if not self._opened:
            return InstrumentError("the power keeper could not be started; nothing was switched on")
        try:
            with _Rescue(self._settings, self._clock) as rescue:
                report = rescue.off()
        except BenchcheckError as reason:
            return OutputStateUnknown(f"{LOST} and another one fails ({reason}): switch the supply off by hand, now")
        kind = OutputStateUnknown if report.state is OffState.UNKNOWN else InstrumentError
        return kind(f"{LOST}; another one was started to switch off: {report.line}")

    def _last_word(self) -> dict[str, Any] | None:
        assert self._process.stdout is not None
        if b"\n" not in self._buffer:
            self._buffer += os.read(self._process.stdout.fileno(), 65536)
        if b"\n" not in self._buffer:
            return None
        line, self._buffer = self._buffer.split(b"\n", 1)
        return decode(line)

    def _end(self) -> None:
        """Close the pipe and wait for the process, which switches off and ends by itself."""
        self._closed = True
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(STOP_S)


class _Rescue(PowerKeeper):
    """A second keeper, started only to switch off after the first one died; it is not rescued itself."""

    def _lost(self) -> InstrumentError:
        self._end()
        return OutputStateUnknown(LOST)


class KeptSupply:
    """The supply in the keeper's hands; every method does and raises what `PowerSupply` has."""

    def __init__(self, keeper: PowerKeeper) -> None:
        """Speak through a keeper."""
        self._ask: Callable[..., Any] = keeper.request

    def can(self, what: str) -> bool:
        """Return whether the supply has a command of its dialect."""
        return bool(self._ask("supply.can", {"what": what}))

    def settings(self) -> SupplySettings:
        """Return what the supply is set to."""
        return cast(SupplySettings, self._ask("supply.settings"))

    def set_current_limit(self, limit_ampere: float) -> None:
        """Set and verify the current limit."""
        self._ask("supply.set_current_limit", {"limit_ampere": limit_ampere})

    def set_voltage(self, voltage_volt: float) -> None:
        """Set and verify the voltage."""
        self._ask("supply.set_voltage", {"voltage_volt": voltage_volt})

    def set_over_voltage(self, level_volt: float) -> None:
        """Set and verify the over-voltage level."""
        self._ask("supply.set_over_voltage", {"level_volt": level_volt})

    def on(self) -> None:
        """Switch the output on and see it on."""
        self._ask("supply.on")

    def off(self) -> None:
        """Switch the output off and see it off."""
        self._ask("supply.off")

    def is_on(self) -> bool:
        """Return whether the supply says that its output is on."""
        return bool(self._ask("supply.is_on"))

    def measure(self) -> SupplyPoint:
        """Return voltage, current and mode at the output."""
        return cast(SupplyPoint, self._ask("supply.measure"))

    def steady(self) -> SupplyPoint:
        """Return what the output measures once it stands still."""
        return cast(SupplyPoint, self._ask("supply.steady"))

    def tripped(self) -> bool:
        """Return whether a protection has tripped."""
        return bool(self._ask("supply.tripped"))

    def clear_protection(self) -> None:
        """Clear a tripped protection with the output off."""
        self._ask("supply.clear_protection")


class KeptLoad:
    """The load in the keeper's hands; every method does and raises what `ElectronicLoad` has."""

    def __init__(self, keeper: PowerKeeper) -> None:
        """Speak through a keeper."""
        self._ask: Callable[..., Any] = keeper.request

    def set_constant_current(self) -> None:
        """Choose constant current with the input off."""
        self._ask("load.set_constant_current")

    def set_current(self, current_ampere: float) -> None:
        """Set and verify the level."""
        self._ask("load.set_current", {"current_ampere": current_ampere})

    def settings(self) -> float:
        """Return the level in ampere."""
        return float(self._ask("load.settings"))

    def on(self) -> None:
        """Switch the input on and see it on."""
        self._ask("load.on")

    def off(self) -> None:
        """Switch the input off and see it off."""
        self._ask("load.off")

    def is_on(self) -> bool:
        """Return whether the load says that its input is on."""
        return bool(self._ask("load.is_on"))

    def measure(self) -> LoadPoint:
        """Return voltage and current at the input."""
        return cast(LoadPoint, self._ask("load.measure"))

    def steady(self) -> LoadPoint:
        """Return what the input measures once it stands still."""
        return cast(LoadPoint, self._ask("load.steady"))


def _open_arguments(settings: KeeperSettings) -> dict[str, Any]:
    return {"supply": settings.supply, "load": settings.load, "dialects": dict(settings.dialects)}


def _combined(answer: dict[str, Any]) -> BenchcheckError:
    """Return the driver's error, with what became of the power when it was switched off for it."""
    reason = raised(answer["error"])
    if "off" not in answer:
        return reason
    report = revived(answer["off"])
    kind = OutputStateUnknown if report.state is OffState.UNKNOWN else InstrumentError
    return kind(f"{reason}; {report.line}")


def _spawned() -> subprocess.Popen[bytes]:
    """Start the keeper in a session of its own, with this very package and nothing from the current directory."""
    home = str(Path(__file__).parents[2])
    path = os.pathsep.join(word for word in (home, os.environ.get("PYTHONPATH", "")) if word)
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "benchcheck.instruments.power_keeper"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path},
        bufsize=0,
        start_new_session=True,
    )


# ---- in the keeper process


def _connected(settings: KeeperSettings, while_waiting: Callable[[], None]) -> Instruments:
    """Open what the keeper is to own."""
    catalogue, clock = shipped_catalogue().extended(settings.dialects), SystemClock()
    supply = load = None
    try:
        if (one := settings.supply) is not None:
            link = connect(one.name, "psu", one.link, catalogue, clock, while_waiting=while_waiting)
            supply = PowerSupply(link, one.ceiling, one.channel)
        if (one := settings.load) is not None:
            link = connect(one.name, "load", one.link, catalogue, clock, while_waiting=while_waiting)
            load = ElectronicLoad(link, one.ceiling, one.channel)
    except BaseException:
        Instruments(supply, load).close()
        raise
    return Instruments(supply, load)


def _announce(line: str) -> None:
    """Put a line before whoever still looks at the terminal."""
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(f"\nbenchcheck: {line}\n")
        sys.stderr.flush()


def _serve() -> int:
    clock = SystemClock()
    pipe = Pipe(clock, sys.stdin.fileno(), sys.stdout.fileno())

    def asked_to_end(*_: object) -> None:
        pipe.ended = pipe.ended or "the power keeper was told to end"

    for name in ("SIGINT", "SIGHUP", "SIGTSTP", "SIGTTOU"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, asked_to_end)
    return Keeper(pipe, clock, _connected, _announce).run()


if __name__ == "__main__":
    raise SystemExit(_serve())
