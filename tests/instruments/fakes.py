"""A transport in memory under a fake clock: every answer and its time are scripted."""

from __future__ import annotations

from collections.abc import Callable

from benchcheck.clock import FakeClock
from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.link import Link
from benchcheck.instruments.transport import Chunk

IDENTITY = "Fenwater Instruments,T1,1,1"
Reply = Callable[[str], list[tuple[float, bytes]]]


class FakeTransport:
    """Each message sent makes `reply` schedule chunks: pairs of a delay in seconds and bytes (b"" ends it)."""

    persistent = False

    def __init__(self, clock: FakeClock, reply: Reply) -> None:
        self.clock, self.reply = clock, reply
        self.sent: list[str] = []
        self.sent_at: list[float] = []
        self.queue: list[tuple[float, bytes]] = []
        self.closed = False

    def send(self, data: bytes, timeout_s: float) -> None:
        if self.closed:
            raise ConnectionError("closed")
        message = data.decode().strip("\n")
        self.sent.append(message)
        self.sent_at.append(self.clock.monotonic_s())
        now_s = self.clock.monotonic_s()
        self.queue += [(now_s + delay_s, chunk) for delay_s, chunk in self.reply(message)]
        self.queue.sort(key=lambda one: one[0])

    def receive(self, limit_bytes: int, timeout_s: float) -> Chunk:
        now_s = self.clock.monotonic_s()
        if not self.queue or self.queue[0][0] > now_s + timeout_s:
            self.clock.sleep(timeout_s)
            raise TimeoutError("silence")
        at_s, data = self.queue.pop(0)
        self.clock.sleep(at_s - now_s)
        if not data:
            raise ConnectionError("ended")
        return Chunk(data)

    def waiting(self) -> bool:
        return bool(self.queue) and self.queue[0][0] <= self.clock.monotonic_s()

    def clear(self) -> None:
        pass

    def close(self) -> None:
        self.closed = True


def answers(**known: str) -> Reply:
    """Answer *IDN? and tokens like an honest instrument, and the given words (header -> answer)."""

    def reply(message: str) -> list[tuple[float, bytes]]:
        return [(0.001, line.encode() + b"\n") for line in [honest(message, known)] if line]

    return reply


def honest(message: str, known: dict[str, str]) -> str:
    said, enabled = [], "0"
    for part in (piece.lstrip(":") for piece in message.split(";")):
        if part.startswith("*ESE "):
            enabled = part[5:]
        elif part == "*ESE?":
            said.append(enabled)
        elif part == "*IDN?":
            said.append(IDENTITY)
        elif part == "*ESR?":
            said.append("0")
        elif part == "SYST:ERR?":
            said.append('0,"No error"')
        elif part.endswith("?") and part[:-1].replace(":", "_") in known:
            said.append(known[part[:-1].replace(":", "_")])
    return ";".join(said)


def open_link(reply: Reply, manners: LinkManners | None = None) -> tuple[Link, FakeTransport, FakeClock]:
    """Return a link in step over a fake transport; a reopening gives a fresh one with the same script."""
    clock = FakeClock()
    made: list[FakeTransport] = []

    def opener() -> FakeTransport:
        made.append(FakeTransport(clock, reply))
        return made[-1]

    link = Link("meter.dmm", opener, manners or LinkManners(), clock)
    link.reopen(0.0)
    link.state.dirty = ""
    link.state.identity = IDENTITY
    return link, made[-1], clock
