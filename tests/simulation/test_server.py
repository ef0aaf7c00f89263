"""The server speaks TCP as instruments do: one client at a time, any line end, and it misbehaves only when told."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from benchcheck.bench.functions import Function
from benchcheck.simulation.meter_front import MeterFront
from benchcheck.simulation.misbehaviour import HARMLESS, Kind, Misbehaviour
from benchcheck.simulation.scpi_server import InstrumentServer, ServedBench
from benchcheck.simulation.strikes import CHANGES, WAYS
from benchcheck.simulation.world import PlainBench


@pytest.fixture
def server() -> Iterator[InstrumentServer]:
    with ServedBench([MeterFront(PlainBench(probed={Function.OHMS: 4680.0}), reading_time_s=0.0)]) as served:
        yield served.servers[0]


def call(server: InstrumentServer) -> socket.socket:
    made = socket.create_connection(("127.0.0.1", server.port), timeout=2.0)
    made.settimeout(2.0)
    return made


def ask(client: socket.socket, message: str) -> bytes:
    client.sendall(message.encode() + b"\n")
    data = b""
    while not data.endswith(b"\n"):
        piece = client.recv(4096)
        if not piece:
            break
        data += piece
    return data


def test_a_second_client_is_accepted_and_served_only_when_the_first_has_gone(server: InstrumentServer) -> None:
    with call(server) as first, call(server) as second:
        assert ask(first, "*ESE 1;*ESE?") == b"1\n"
        second.sendall(b"*ESE 2;*ESE?\n")
        second.settimeout(0.1)
        with pytest.raises(TimeoutError):
            second.recv(100)
        first.close()
        second.settimeout(2.0)
        assert second.recv(100) == b"2\n"


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r\n\n"])
def test_messages_end_with_any_usual_line_end(server: InstrumentServer, ending: str) -> None:
    with call(server) as client:
        client.sendall(f"*ESE 7;*ESE?{ending}".encode())
        assert client.recv(100) == b"7\n"


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (Kind.CRLF, b"3\r\n"),
        (Kind.LFCR, b"3\n\r"),
        (Kind.NUL, b"3\0\n"),
        (Kind.BLANKS, b"  3 \n"),
        (Kind.EMPTY, b"\n"),
        (Kind.DUPLICATED, b"3\n3\n"),
        (Kind.TEXT_BEFORE, b"** Fan slow\n3\n"),
        (Kind.NO_TERMINATOR, b"3"),
        (Kind.LETTER_CHANGED, b"q\n"),
        (Kind.DIGIT_CHANGED, b"2\n"),
    ],
)
def test_a_misbehaviour_strikes_as_often_as_it_is_told(server: InstrumentServer, kind: Kind, expected: bytes) -> None:
    fault = Misbehaviour(kind)
    server.faults.append(fault)
    with call(server) as client:
        client.sendall(b"*ESE 3;*ESE?\n")
        data = b""
        while len(data) < len(expected):
            data += client.recv(100)
        assert data == expected
        assert ask(client, "*ESE 3;*ESE?") == b"3\n"
    assert (fault.struck, fault.times) == (1, 0)


@pytest.mark.parametrize("kind", [Kind.CLOSES_BEFORE, Kind.CLOSES_AMID, Kind.RESETS_AMID, Kind.REFUSES])
def test_a_connection_can_end_in_four_ways(server: InstrumentServer, kind: Kind) -> None:
    server.faults.append(Misbehaviour(kind, amount=0.05))
    with call(server) as client:
        try:
            data = ask(client, "MEAS:RES?")
        except ConnectionResetError:
            data = b""
        assert not data.endswith(b"\n")


def test_a_message_too_soon_after_the_last_is_dropped(server: InstrumentServer) -> None:
    server.faults.append(Misbehaviour(Kind.DROPS_EARLY, amount=0.5))
    with call(server) as client:
        client.sendall(b"*ESE 4;*ESE?\n")
        assert client.recv(100) == b"4\n"
        client.sendall(b"*ESE 5;*ESE?\n")
        client.settimeout(0.1)
        with pytest.raises(TimeoutError):
            client.recv(100)


def test_a_port_that_is_taken_is_an_error_at_once() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        bench = ServedBench([MeterFront(PlainBench())], ports=[taken.getsockname()[1]])
        with pytest.raises(OSError, match="in use"), bench:
            pass


def test_every_kind_says_what_it_does_and_only_the_shape_of_lines_is_harmless() -> None:
    assert len(Kind) >= 25
    assert len({kind.value for kind in Kind}) == len(Kind)
    assert not HARMLESS & (set(CHANGES) - {Kind.BLANKS})
    assert set(WAYS) & HARMLESS == {Kind.SPLIT}
