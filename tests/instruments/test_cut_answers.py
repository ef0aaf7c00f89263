"""An answer cut off anywhere by the end of its connection is never a number, on real sockets."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Iterator

import pytest

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.errors import InstrumentError
from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.line_protocol import LineProtocol, StreamingMeter
from benchcheck.instruments.link import Link
from benchcheck.instruments.reply import read_number
from benchcheck.instruments.settling import SettleRule
from benchcheck.instruments.transport import Transport, socket_transport

RESET = struct.pack("ii", 1, 0)  # linger on, 0 s: a reset instead of an orderly end
NUMBER = b"+4.70120000E+03"
#: manners, what the instrument would have answered to the first question, its terminator last
WAYS = {
    "with a token": (LinkManners(), NUMBER + b";1\n"),
    "joined, no token": (LinkManners(token=""), NUMBER + b"\n"),
    "one by one": (LinkManners(join="", token=""), NUMBER + b"\n"),
    "header echoed": (LinkManners(join="", token="", header_echo=True), b"READ 4701.2\n"),
    "LF CR": (LinkManners(join="", token="", read_term="\n"), NUMBER + b"\n\r"),
}


@contextlib.contextmanager
def says(data: bytes, *, asked: bool, reset: bool, pieces: int = 1) -> Iterator[Transport]:
    """Serve one client: wait for a message where asked, say the data, and end the connection."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            client, _ = listener.accept()
            with client:
                if asked:
                    client.recv(4096)
                size = -(-len(data) // pieces) or 1
                for start in range(0, len(data), size):
                    client.sendall(data[start : start + size])
                if reset:
                    client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        transport = socket_transport(socket.create_connection(listener.getsockname(), timeout=5.0))
        try:
            yield transport
        finally:
            transport.close()
            thread.join(5.0)


def read_by_link(transport: Transport, manners: LinkManners) -> float:
    link = Link("dmm", lambda: transport, manners, SystemClock())
    link.reopen(0.0)
    link.state.dirty = ""
    try:
        return link.query("READ?", read_number, timeout_s=5.0)
    except InstrumentError:
        assert link.state.dirty
        raise


def cuts(answer: bytes) -> Iterator[bytes]:
    """Every beginning of an answer that lacks its terminator."""
    for end in range(len(answer.rstrip(b"\r\n")) + 1):
        yield answer[:end]


@pytest.mark.parametrize("reset", [False, True], ids=["closed", "reset"])
@pytest.mark.parametrize("way", WAYS)
def test_an_answer_without_its_terminator_is_an_error_wherever_it_is_cut(way: str, reset: bool) -> None:
    manners, answer = WAYS[way]
    for data in cuts(answer):
        for pieces in (1, 3):
            with (
                says(data, asked=True, reset=reset, pieces=pieces) as transport,
                pytest.raises(InstrumentError, match=r"closed from the other side|reset by peer|Broken pipe"),
            ):
                read_by_link(transport, manners)


@pytest.mark.parametrize("way", WAYS)
def test_the_same_answer_with_its_terminator_is_a_number(way: str) -> None:
    """The counter-check: what the test above refuses is right but for its end."""
    manners, answer = WAYS[way]
    with says(answer, asked=True, reset=False) as transport:
        assert read_by_link(transport, manners) == 4701.2


def test_a_line_of_a_streaming_meter_without_its_end_is_no_reading() -> None:
    first, line = b"1 kOhm\n", b"4.7012 kOhm\n"
    rule = SettleRule(window=1, hold_s=0.0)
    for data in cuts(line):
        with says(first + data, asked=False, reset=False) as transport:
            meter = StreamingMeter("hand", lambda made=transport: made, LineProtocol(), SystemClock())  # type: ignore[misc]
            with pytest.raises(InstrumentError, match="the line is gone"):
                meter.measure("ohm", Function.OHMS, settle=rule)
