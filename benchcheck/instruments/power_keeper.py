"""The power keeper: a separate process that owns supply and load, so that power outlives no visit.

It is started in a session of its own, where Ctrl-C and a closing terminal do not reach it. The main process sends
requests and renews a lease every half second; when it dies, hangs or is suspended the keeper switches off. When the
keeper itself dies or hangs, another one that stands by takes its place just to switch off. Not covered: mains loss of
the computer, a pulled cable, both processes killed.
"""

from __future__ import annotations

import contextlib
import os
import select
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from benchcheck.clock import Clock, SystemClock
from benchcheck.errors import BenchcheckError, InstrumentError, OutputStateUnknown
from benchcheck.instruments.keeper_wire import (
    LEASE_S,
    SILENCE_S,
    KeeperSettings,
    PoweredInstrument,
    decode,
    encode,
    raised,
    revived,
)
from benchcheck.instruments.kept import KeptLoad, KeptSupply
from benchcheck.instruments.power_watch import OffReport, OffState

__all__ = ["PowerKeeper"]

START_S = 30.0  # loading the VISA library on a busy machine
STOP_S = 10.0
GO_ON_S = 0.2  # a keeper that has not seen the output off goes on trying, and the user must hear of it now
LOST = "the power keeper is gone"
BY_HAND = "switch the supply off by hand, now"


def _unwatched(waited_s: float) -> None:
    """Nobody wants to know how long an answer takes."""


class PowerKeeper:
    """The client of the keeper process; `supply` and `load` act like the drivers they stand for.

    `waiting` hears, several times a second, for how long an answer has been waited for; what it raises ends the wait.

    Whoever holds it calls `renew` at least every half second (requests renew too); that is deliberately not left to
    a thread, which would go on renewing for a main thread that hangs.
    """

    def __init__(self, settings: KeeperSettings, clock: Clock | None = None) -> None:
        """Start the process and open the instruments; InstrumentError or BenchError as the drivers have it."""
        if os.name != "posix":
            raise InstrumentError("power needs signals and pipes of a POSIX system; switch the supply by hand")
        self._settings, self._clock = settings, clock or SystemClock()
        self._process = _spawned()
        self._standby: subprocess.Popen[bytes] | None = _spawned("standby")  # ready by the time power is on
        self._renewed_s = self._heard_s = self._clock.monotonic_s()
        self._counter, self._buffer = 0, b""
        self._closed, self._opened = False, False
        self._last = OffReport(OffState.OFF, None, "closed before")  # what was last known of the output
        self.waiting: Callable[[float], None] = _unwatched
        try:
            self.described: dict[str, Any] = self.request("open", _open_arguments(settings))
            self._opened = True
        except BaseException:
            self._end()
            raise
        self.supply, self.load = KeptSupply(self.request), KeptLoad(self.request)

    @property
    def process_id(self) -> int:
        """The process id of the keeper."""
        return self._process.pid

    def renew(self) -> None:
        """Renew the lease if half of its time is over; InstrumentError when the keeper has switched off and gone.

        Also where it has not been heard of for two seconds: it hangs, and power is off by another one then.
        """
        self._lease()
        while (message := self._next_line(0.0)) is not None:
            self._noticed(message)
        self._still_there()

    def _lease(self) -> None:
        """Renew when due; a pipe nobody reads any more is left to the reading that follows, which has the answer.

        The keeper ends by itself after its answer to `close`, and a lease may fall between the two.
        """
        now_s = self._clock.monotonic_s()
        if now_s - self._renewed_s >= LEASE_S / 2.0:
            self._renewed_s = now_s
            with contextlib.suppress(BrokenPipeError):
                self._write({"do": "lease"})

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
        """Switch off, let the instruments go and end the process; OutputStateUnknown when off is not verified.

        One that is closed already says what was last known: what nobody knew then, nobody knows now.
        """
        if not self._closed:
            try:
                self._last = cast(OffReport, self.request("close"))
            finally:
                self._end()
        if self._last.state is OffState.UNKNOWN:
            raise OutputStateUnknown(self._last.line)
        return self._last

    def __enter__(self) -> PowerKeeper:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Switch off and end, whatever happened."""
        self.close()

    # ---- inside

    def _send(self, message: dict[str, Any]) -> None:
        try:
            self._write(message)
        except OSError as reason:
            raise self._lost() from reason

    def _write(self, message: dict[str, Any]) -> None:
        if self._closed:
            raise InstrumentError("the power keeper is closed; open a new one")
        assert self._process.stdin is not None
        os.write(self._process.stdin.fileno(), encode(message))

    def _answer(self, number: int) -> dict[str, Any]:
        began_s = self._clock.monotonic_s()
        while True:
            message = self._next_line(LEASE_S / 2.0)
            self._lease()
            self.waiting(self._clock.monotonic_s() - began_s)
            if message is None:
                self._still_there()
                continue
            self._noticed(message)
            if message.get("id") == number:
                return message

    def _noticed(self, message: dict[str, Any]) -> None:
        self._heard_s = self._clock.monotonic_s()
        if message.get("event") == "off":
            raise self._ended_by_itself(message)

    def _still_there(self) -> None:
        """Take the links from a keeper that has said nothing for too long, everything it sent having been read."""
        if self._clock.monotonic_s() - self._heard_s > (SILENCE_S if self._opened else START_S):
            self._process.kill()
            raise self._lost()

    def _next_line(self, wait_s: float) -> dict[str, Any] | None:
        """Return the next message; None when there is none within `wait_s` seconds."""
        assert self._process.stdout is not None
        descriptor = self._process.stdout.fileno()
        if b"\n" not in self._buffer:
            if self._closed or not select.select([descriptor], [], [], wait_s)[0]:
                return None
            data = os.read(descriptor, 65536)
            if not data:
                raise self._lost()
            self._buffer += data
            return None if b"\n" not in self._buffer else self._next_line(wait_s)
        line, self._buffer = self._buffer.split(b"\n", 1)
        return decode(line)

    def _ended_by_itself(self, message: dict[str, Any]) -> InstrumentError:
        report = self._last = revived(message["value"])
        self._closed = True
        _left(self._process, GO_ON_S if report.state is OffState.UNKNOWN else STOP_S)
        self._dismiss()
        kind = OutputStateUnknown if report.state is OffState.UNKNOWN else InstrumentError
        return kind(f"the power keeper switched off ({message['reason']}): {report.line}")

    def _lost(self) -> InstrumentError:
        """Say what became of the power after the keeper has gone: its last word, or what a second keeper finds."""
        with contextlib.suppress(OSError, ValueError, InstrumentError):
            while (message := self._last_word()) is not None:
                if message.get("event") == "off":
                    return self._ended_by_itself(message)
        standby, self._standby = self._standby, None
        self._end()
        if not self._opened:
            return InstrumentError("the power keeper could not be started; nothing was switched on")
        try:
            with _Rescue(standby, self._clock) as rescue:
                report = cast(OffReport, rescue.request("rescue", _open_arguments(self._settings, self.described)))
        except BenchcheckError as reason:
            line = f"OUTPUT STATE UNKNOWN: {LOST} and another one fails ({reason}): {BY_HAND}"
            self._last = OffReport(OffState.UNKNOWN, None, line)
            return OutputStateUnknown(line)
        self._last = report
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
        _left(self._process, STOP_S)
        self._dismiss()

    def _dismiss(self) -> None:
        """End the one that stands by; it owns nothing."""
        standby, self._standby = self._standby, None
        if standby is not None:
            standby.kill()
            _left(standby, STOP_S)


class _Rescue(PowerKeeper):
    """A second keeper that only switches off, after the first one died or hung; it is not rescued itself."""

    def __init__(self, standby: subprocess.Popen[bytes] | None, clock: Clock) -> None:
        """Take the process that stands by, a new one where that has gone."""
        if standby is not None and standby.poll() is not None:
            _left(standby, STOP_S)
            standby = None
        ready = standby is not None
        self._process = standby or _spawned()
        self._standby = None
        self._clock, self._closed, self._opened = clock, False, ready
        self._renewed_s = self._heard_s = clock.monotonic_s()
        self._counter, self._buffer = 0, b""
        self.waiting = _unwatched

    def close(self) -> OffReport:
        """End the process; it has let the instruments go."""
        self._end()
        return OffReport(OffState.UNKNOWN, None, "")

    def _lost(self) -> InstrumentError:
        self._process.kill()
        self._end()
        return OutputStateUnknown(LOST)


def _open_arguments(settings: KeeperSettings, described: dict[str, Any] | None = None) -> dict[str, Any]:
    """Return the settings as they travel, with the dialects that were found where the bench names none."""
    found = described or {}

    def named(one: PoweredInstrument | None, who: str) -> PoweredInstrument | None:
        dialect = str(found.get(who, {}).get("dialect", ""))
        if one is None or one.link.dialect or not dialect:
            return one
        return replace(one, link=replace(one.link, dialect=dialect))

    supply, load = named(settings.supply, "supply"), named(settings.load, "load")
    return {"supply": supply, "load": load, "dialects": dict(settings.dialects)}


def _left(process: subprocess.Popen[bytes], wait_s: float) -> None:
    """Close the pipes of a process and wait until it has ended by itself, at most `wait_s` seconds."""
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(wait_s)


def _combined(answer: dict[str, Any]) -> BenchcheckError:
    """Return the driver's error, with what became of the power when it was switched off for it."""
    reason = raised(answer["error"])
    if "off" not in answer:
        return reason
    report = revived(answer["off"])
    kind = OutputStateUnknown if report.state is OffState.UNKNOWN else InstrumentError
    return kind(f"{reason}; {report.line}")


def _spawned(*words: str) -> subprocess.Popen[bytes]:
    """Start the keeper in a session of its own, with this very package and nothing from the current directory."""
    home = str(Path(__file__).parents[2])
    path = os.pathsep.join(word for word in (home, os.environ.get("PYTHONPATH", "")) if word)
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "benchcheck.instruments.keeper_process", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path},
        bufsize=0,
        start_new_session=True,
    )
