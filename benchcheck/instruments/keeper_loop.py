"""Inside the power keeper: it owns the links, obeys one request at a time, and trusts nobody to be alive.

The end of the pipe, two seconds of silence, a jump of the wall clock (the machine was suspended) or a signal to end
means: off at once, blind, then verified. A failed request on a powered board means the same, before it is reported.
It says four times a second that it is alive, for the main process takes two seconds of silence for a hang, too.
"""

from __future__ import annotations

import os
import select
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from benchcheck.clock import Clock
from benchcheck.errors import BenchcheckError, InputError, InstrumentError, UsageError
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.keeper_wire import (
    LEASE_S,
    OPERATIONS,
    SILENCE_S,
    KeeperSettings,
    decode,
    encode,
    error_message,
    settings_from,
)
from benchcheck.instruments.make_safe import NO_SUPPLY, make_safe, off_at_once
from benchcheck.instruments.power_supply import PowerSupply
from benchcheck.instruments.power_watch import OffReport, OffState

__all__ = ["Instruments", "Keeper", "MainGone", "Pipe"]

PERSIST_S = 60.0
JUMP_S = 1.5
RECOVER_S = 2.0  # how long a link with power behind it may take to be mended
URGENT = ("off", "close")
POLL_S = 0.1
ENERGISING = ("supply.on", "load.on")
LAST_FALL_S = 0.5


class MainGone(BaseException):
    """Whoever asked for power is no longer there; not an error, so that no handler of errors swallows it."""


class Hurry(BaseException):
    """Switching off was asked for while something else was waited for."""


class Pipe:
    """Lines from and to the main process; every line that comes in is a sign of life."""

    def __init__(self, clock: Clock, read_descriptor: int, write_descriptor: int) -> None:
        """Take both ends; reading never waits."""
        self._clock, self._read, self._write = clock, read_descriptor, write_descriptor
        os.set_blocking(read_descriptor, False)
        os.set_blocking(write_descriptor, False)
        self._buffer = b""
        self._heard_s = clock.monotonic_s()
        self._wall_ahead_s = self._ahead_s()
        self.requests: list[dict[str, Any]] = []
        self.ended = ""
        self.interruptible = False
        self._said_s = self._heard_s

    def check(self) -> None:
        """Take in what has come; MainGone when the main process is dead, silent, or was suspended with us."""
        self._take_in()
        if not self.ended and self._clock.monotonic_s() - self._heard_s > SILENCE_S:
            self.ended = f"no sign of life for {SILENCE_S:g} s"
        ahead_s = self._ahead_s()
        if not self.ended and ahead_s - self._wall_ahead_s > JUMP_S:
            self.ended = "the machine was suspended"
        self._wall_ahead_s = ahead_s
        if self.ended:
            raise MainGone(self.ended)
        if self.interruptible and any(request.get("do") in URGENT for request in self.requests):
            raise Hurry
        self.alive()

    def alive(self) -> None:
        """Say that this process does not hang, unless it has just said something."""
        if self._clock.monotonic_s() - self._said_s >= LEASE_S / 2.0:
            self.say({"event": "alive"})

    def wait(self, timeout_s: float) -> None:
        """Wait for a line, at most `timeout_s` seconds."""
        if not self.requests and not self.ended:
            select.select([self._read], [], [], timeout_s)

    def say(self, message: dict[str, Any]) -> None:
        """Send a line; a main process that does not read is not waited for."""
        self._said_s = self._clock.monotonic_s()
        try:
            os.write(self._write, encode(message))
        except OSError:
            self.ended = self.ended or "the main process does not listen"

    def _take_in(self) -> None:
        while not self.ended:
            try:
                data = os.read(self._read, 65536)
            except BlockingIOError:
                return
            except OSError as reason:
                self.ended = f"the pipe broke: {reason.strerror}"
                return
            if not data:
                self.ended = "the main process ended"
                return
            self._heard_s = self._clock.monotonic_s()
            *lines, self._buffer = (self._buffer + data).split(b"\n")
            self.requests += [message for message in map(decode, lines) if message.get("do") != "lease"]

    def _ahead_s(self) -> float:
        """Return by how much the wall clock is ahead of the monotonic one, which stands still in suspend."""
        return self._clock.now().timestamp() - self._clock.monotonic_s()


class Instruments:
    """The supply and load in the keeper's hands; `maybe_on` stays True from the first command to switch on."""

    def __init__(self, supply: PowerSupply | None = None, load: ElectronicLoad | None = None) -> None:
        """Take over both drivers; their failures are not looked into, so that switching off does not wait."""
        self.supply, self.load = supply, load
        self.maybe_on = False
        for driver in (supply, load):
            if driver is not None:
                driver.explains, driver.recover_s = False, RECOVER_S

    def close(self) -> None:
        """Let both instruments go."""
        for driver in (self.load, self.supply):
            if driver is not None:
                driver.close()


class Connector(Protocol):
    """What opens the instruments; `off_first` sends the command to switch off before anything is asked."""

    def __call__(
        self, settings: KeeperSettings, while_waiting: Callable[[], None], *, off_first: bool = False
    ) -> Instruments:
        """Return what was opened."""
        ...


class Keeper:
    """The loop of the keeper process."""

    def __init__(self, pipe: Pipe, clock: Clock, connector: Connector, announce: Callable[[str], None]) -> None:
        """`connector` opens the instruments, `announce` puts a line before the user's eyes."""
        self._pipe, self._clock, self._connector, self._announce = pipe, clock, connector, announce
        self._owned = Instruments()
        self._done = False

    def run(self) -> int:
        """Serve until closed or left alone; return 0, or 5 when the output state is unknown in the end."""
        try:
            while not self._done:
                self._pipe.wait(POLL_S)
                self._pipe.check()
                if self._pipe.requests:
                    self._serve(self._pipe.requests.pop(0))
        except MainGone as gone:
            return self._abandoned(str(gone))
        except BaseException as reason:
            self._abandoned(f"the power keeper failed: {type(reason).__name__}")
            raise
        finally:
            self._owned.close()
        return 0

    def _serve(self, request: dict[str, Any]) -> None:
        answer: dict[str, Any] = {"id": request.get("id")}
        try:
            self._pipe.interruptible = request.get("do") not in URGENT
            answer["value"] = self._obey(request)
        except Hurry:
            answer["error"] = error_message(InstrumentError("interrupted to switch off"))
        except BenchcheckError as reason:
            self._pipe.interruptible = False
            answer["error"] = error_message(reason)
            if self._owned.maybe_on and not isinstance(reason, InputError):
                answer["off"] = self._off()
        finally:
            self._pipe.interruptible = False
        self._pipe.say(answer)

    def _obey(self, request: dict[str, Any]) -> object:
        what, arguments = str(request.get("do")), request.get("args", {})
        if what == "open":
            self._owned = self._connector(settings_from(arguments), self._pipe.check)
            return self._described()
        if what == "off":
            return self._off()
        if what == "rescue":
            return self._rescued(settings_from(arguments))
        if what == "close":
            report, self._done = self._off(), True
            return report
        if what not in OPERATIONS:
            raise UsageError(f"the power keeper has no operation {what!r}")
        who, method = OPERATIONS[what]
        driver = getattr(self._owned, who)
        if driver is None:
            raise UsageError(f"the power keeper owns no {who}")
        self._owned.maybe_on = self._owned.maybe_on or what in ENERGISING
        return getattr(driver, method)(**arguments)

    def _rescued(self, settings: KeeperSettings) -> OffReport:
        """Switch off what another keeper has left on: the source first, then the load, which may not answer."""
        report = self._safe(replace(settings, load=None))
        if settings.load is None:
            return report
        try:
            line = self._safe(replace(settings, supply=None)).line
        except BenchcheckError as reason:
            line = str(reason)
        return report if line == NO_SUPPLY else replace(report, line=f"{report.line}; the load may be on ({line})")

    def _safe(self, settings: KeeperSettings) -> OffReport:
        owned = self._connector(settings, self._pipe.alive, off_first=True)
        try:
            return make_safe(owned.supply, owned.load, LAST_FALL_S)
        finally:
            owned.close()

    def _described(self) -> dict[str, Any]:
        described = {}
        for who in ("supply", "load"):
            driver = getattr(self._owned, who)
            if driver is not None:
                described[who] = {
                    "identity": driver.connection.identity,
                    "known": driver.connection.known,
                    "dialect": driver.connection.dialect.name if driver.connection.known else "",
                    "notes": driver.notes,
                    "errors": [str(entry) for entry in driver.errors_found],
                }
        return described

    def _off(self) -> OffReport:
        report = make_safe(self._owned.supply, self._owned.load, LAST_FALL_S)
        self._owned.maybe_on = report.state is OffState.UNKNOWN
        return report

    def _abandoned(self, reason: str) -> int:
        """Switch off at once, verify, and keep trying for a minute while the state is unknown."""
        if self._owned.supply is None and self._owned.load is None:
            return 0
        off_at_once(self._owned.supply, self._owned.load)
        for driver in (self._owned.supply, self._owned.load):
            if driver is not None:
                driver.link.while_waiting = self._pipe.alive  # a main process that still listens must not take over
        deadline_s = self._clock.monotonic_s() + PERSIST_S
        report = self._off()
        self._pipe.say({"event": "off", "reason": reason, "value": report})
        if report.state is OffState.UNKNOWN:
            self._announce(f"{reason}: {report.line}")
        while report.state is OffState.UNKNOWN and self._clock.monotonic_s() < deadline_s:
            self._clock.sleep(1.0)
            report = self._off()
        self._announce(f"{reason}: {report.line}")
        return 5 if report.state is OffState.UNKNOWN else 0
