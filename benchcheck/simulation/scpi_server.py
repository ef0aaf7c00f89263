"""Simulated instruments on real TCP sockets of the loopback interface, honest or misbehaving.

One `InstrumentServer` serves one instrument to one client at a time, as cheap instruments do: a second connection
is accepted and left without an answer. `ServedBench` runs the servers in a thread of their own.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
from collections.abc import Sequence
from types import TracebackType

from benchcheck.clock import Clock, SystemClock
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from benchcheck.simulation.scpi_instrument import ScpiInstrument
from benchcheck.simulation.strikes import after_effects, before_effects, deliver

__all__ = ["InstrumentServer", "ServedBench"]

LOOPBACK = "127.0.0.1"
WATCH_S = 0.01


class InstrumentServer:
    """One instrument behind one port; `faults` may be filled and emptied while it is served."""

    def __init__(self, instrument: ScpiInstrument, clock: Clock, port: int = 0, terminator: bytes = b"\n") -> None:
        """Serve on `port` (0: any free one); answers end with `terminator`."""
        self.instrument, self.port, self.terminator = instrument, port, terminator
        self.faults: list[Misbehaviour] = []
        self.connections = 0
        self.previous_answer = "0"
        self.mute_until_s = self.refuse_until_s = 0.0
        self.last_message_s = float("-inf")
        self.first = True
        self.clock = clock
        self.turn: asyncio.Lock | None = None
        self.away: asyncio.Task[None] | None = None
        self._server: asyncio.Server | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    @property
    def resource(self) -> str:
        """The VISA resource name of the server."""
        return f"TCPIP0::{LOOPBACK}::{self.port}::SOCKET"

    @property
    def busy(self) -> bool:
        """Whether a client holds the instrument."""
        return self.turn is not None and self.turn.locked()

    async def start(self) -> None:
        """Listen."""
        self.turn = self.turn or asyncio.Lock()
        self._server = await asyncio.start_server(self._accepted, LOOPBACK, self.port, reuse_address=True)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Stop listening and end all connections."""
        if self._server is not None:
            self._server.close()
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def refuse(self, delay_s: float) -> None:
        """Close the port for a while."""
        if self._server is not None:
            self._server.close()
            self._server = None
            await asyncio.sleep(delay_s)
            with contextlib.suppress(OSError):
                await self.start()

    def strike(self, kind: Kind, message: str) -> Misbehaviour | None:
        """Return the switched-on misbehaviour of a kind that strikes this message."""
        return next((fault for fault in self.faults if fault.kind is kind and fault.strikes(message)), None)

    async def _accepted(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        assert self.turn is not None
        self._tasks.add(task)
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.connections += 1
        self.first = True
        try:
            async with self.turn:
                await self._converse(reader, writer)
        except (ConnectionError, asyncio.CancelledError, asyncio.IncompleteReadError, EOFError):
            pass
        finally:
            self._tasks.discard(task)
            with contextlib.suppress(OSError, asyncio.CancelledError):
                writer.close()

    async def _converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := await reader.readline():
            message = line.decode("latin-1").strip("\r\n \0")
            if message:
                await self._one(message, writer)

    async def _one(self, message: str, writer: asyncio.StreamWriter) -> None:
        now_s = self.clock.monotonic_s()
        heard, self.last_message_s = self.last_message_s, now_s
        if not before_effects(self, message, now_s - heard, now_s):
            return
        answer = self.instrument.handle(message, now_s)
        if self.instrument.delay_s:
            await asyncio.sleep(self.instrument.delay_s)
        answer = after_effects(self, message, answer)
        if answer is not None:
            await deliver(self, message, answer, writer)
            self.previous_answer = answer


class ServedBench:
    """A context in which instruments are reachable; `servers` are in the order given."""

    def __init__(
        self,
        instruments: Sequence[ScpiInstrument],
        clock: Clock | None = None,
        ports: Sequence[int] = (),
        terminator: bytes = b"\n",
    ) -> None:
        """Prepare a server for each instrument, on the given ports or any free ones."""
        clock = clock or SystemClock()
        self._clock = clock
        given = (*ports, *([0] * (len(instruments) - len(ports))))
        self.servers = tuple(
            InstrumentServer(instrument, clock, port, terminator)
            for instrument, port in zip(instruments, given, strict=True)
        )
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="simulated bench", daemon=True)
        self._ready = threading.Event()
        self._failed: BaseException | None = None
        self._watching: asyncio.Task[None] | None = None

    def __enter__(self) -> ServedBench:
        """Start serving; OSError when a port is taken."""
        self._thread.start()
        self._ready.wait()
        if self._failed is not None:
            self._thread.join()
            raise self._failed
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop serving and end all connections; a second time does nothing."""
        if self._loop.is_closed():
            return
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._start())
        except BaseException as reason:
            self._failed = reason
        self._ready.set()
        if self._failed is None:
            self._loop.run_forever()
        self._loop.run_until_complete(self._stop())
        self._loop.close()

    async def _start(self) -> None:
        for server in self.servers:
            await server.start()
        self._watching = asyncio.get_running_loop().create_task(self._watch())

    async def _stop(self) -> None:
        if self._watching is not None:
            self._watching.cancel()
        for server in self.servers:
            await server.stop()
        rest = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        for task in rest:
            task.cancel()
        await asyncio.gather(*rest, return_exceptions=True)

    async def _watch(self) -> None:
        """Let protections act between messages, as hardware does."""
        while True:
            now_s = self._clock.monotonic_s()
            for server in self.servers:
                server.instrument.watch(now_s)
            await asyncio.sleep(WATCH_S)
