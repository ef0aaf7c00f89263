"""How each misbehaviour is carried out: before a message is obeyed, on its answer, and on the answer's way out."""

from __future__ import annotations

import asyncio
import re
import socket
import struct
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

from benchcheck.simulation.misbehaviour import Kind
from benchcheck.simulation.supply_front import SupplyFront

if TYPE_CHECKING:
    from benchcheck.simulation.scpi_server import InstrumentServer

__all__ = ["after_effects", "before_effects", "deliver"]

DIGIT = re.compile(r"\d")
NUMBER = re.compile(r"[+-]?\d+\.\d+(?:E[+-]\d+)?")
STALE_NUMBER = "+7.77000000E+00"


def before_effects(server: InstrumentServer, message: str, pause_s: float, now_s: float) -> bool:
    """Carry out what strikes before a message is obeyed; return whether it is obeyed at all."""
    strike = server.strike
    early = next((fault for fault in server.faults if fault.kind is Kind.DROPS_EARLY), None)
    if early is not None and pause_s < early.amount:
        early.struck += 1
        return False
    if fault := strike(Kind.MUTE, message):
        server.mute_until_s = now_s + fault.amount
    if now_s < server.mute_until_s or strike(Kind.HEADER_UNKNOWN, message):
        server.instrument.push_error(-113, "Undefined header")
        return False
    _restart(server, message)
    _mind(server, message)
    return True


def _restart(server: InstrumentServer, message: str) -> None:
    instrument = server.instrument
    for kind in (Kind.RESTARTS, Kind.RESTARTS_ON):
        if server.strike(kind, message):
            instrument.power_cycle()
            if kind is Kind.RESTARTS_ON and isinstance(instrument, SupplyFront):
                instrument.handle("VOLT 5;:OUTP ON", server.clock.monotonic_s())


def _mind(server: InstrumentServer, message: str) -> None:
    """Set what the instrument does wrong by itself."""
    manner, strike = server.instrument.manner, server.strike
    manner.settings_ignored = strike(Kind.SETTINGS_IGNORED, message) is not None
    scaled = strike(Kind.SETTINGS_SCALED, message)
    manner.settings_scaled = scaled.amount if scaled else 1.0
    manner.off_ignored = strike(Kind.OFF_IGNORED, message) is not None
    manner.on_ignored = strike(Kind.ON_IGNORED, message) is not None
    shown = strike(Kind.READBACK_SCALED, message)
    manner.readback_scaled = shown.amount if shown else 1.0
    manner.error_stuck = -240 if strike(Kind.ERROR_STUCK, message) else 0
    if strike(Kind.DEVICE_ERROR, message):
        server.instrument.push_error(-240, "Hardware error")
    if strike(Kind.QUEUE_FULL, message):
        for _ in range(30):
            server.instrument.push_error(-222, "Data out of range")


def after_effects(server: InstrumentServer, message: str, answer: str | None) -> str | None:
    """Return the answer as it leaves the instrument."""
    if answer is None:
        return None
    if server.strike(Kind.OTHER_IDENTITY, message) and "*IDN?" in message.upper():
        return "Somebody Else,X1,1,1"
    for kind, change in CHANGES.items():
        if server.strike(kind, message):
            answer = change(answer)
    if server.strike(Kind.ONE_BEHIND, message):
        answer = server.previous_answer
    return answer


def _first_number(replacement: str) -> Callable[[str], str]:
    return lambda answer: NUMBER.sub(replacement, answer, count=1)


CHANGES: dict[Kind, Callable[[str], str]] = {
    Kind.OVERLOAD: _first_number("+9.90000000E+37"),
    Kind.NOT_A_NUMBER: _first_number("+9.91000000E+37"),
    Kind.OVERLOAD_TEXT: _first_number("......."),
    Kind.NAN_TEXT: _first_number("NAN"),
    Kind.DECIMAL_COMMA: lambda answer: NUMBER.sub(lambda found: found[0].replace(".", ","), answer, count=1),
    Kind.UNIT_SUFFIX: lambda answer: NUMBER.sub(lambda found: found[0] + "mV", answer, count=1),
    Kind.LETTER_CHANGED: lambda answer: DIGIT.sub("q", answer, count=1),
    Kind.DIGIT_CHANGED: lambda answer: DIGIT.sub(lambda digit: str(int(digit[0]) ^ 1), answer, count=1),
    Kind.TRUNCATED: lambda answer: answer[: max(1, len(answer) // 2)],
    Kind.EMPTY: lambda _: "",
    Kind.BLANKS: lambda answer: f"  {answer} ",
}


def _bytes(server: InstrumentServer, message: str, answer: str) -> bytes:
    endings = {Kind.CRLF: b"\r\n", Kind.LFCR: b"\n\r", Kind.NUL: b"\0\n", Kind.NO_TERMINATOR: b""}
    ending = next((end for kind, end in endings.items() if server.strike(kind, message)), server.terminator)
    return answer.encode("latin-1") + ending


async def deliver(server: InstrumentServer, message: str, answer: str, writer: asyncio.StreamWriter) -> None:
    """Send an answer, in whatever way has been switched on."""
    data = _bytes(server, message, answer)
    if server.first:
        server.first = False
        if fault := server.strike(Kind.SLOW_FIRST, message):
            await asyncio.sleep(fault.amount)
    for kind, way in WAYS.items():
        if fault := server.strike(kind, message):
            await way(server, data, writer, fault.amount)
            return
    await _send(writer, data)


async def _send(writer: asyncio.StreamWriter, data: bytes) -> None:
    writer.write(data)
    await writer.drain()


def _write_if_open(writer: asyncio.StreamWriter, data: bytes) -> None:
    if not writer.is_closing():
        writer.write(data)


Way = Callable[["InstrumentServer", bytes, asyncio.StreamWriter, float], Awaitable[None]]


async def _late(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await asyncio.sleep(amount)
    await _send(writer, data)


async def _split(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    size = max(1, len(data) // 5)
    for start in range(0, len(data), size):
        await _send(writer, data[start : start + size])
        await asyncio.sleep(amount)


async def _dribbles(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    for place in range(len(data)):
        await _send(writer, data[place : place + 1])
        await asyncio.sleep(amount)


async def _pauses(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data[: len(data) // 2])
    await asyncio.sleep(amount)
    await _send(writer, data[len(data) // 2 :])


async def _missing(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    """Say nothing."""


async def _endless(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    for _block in range(2000):
        if writer.is_closing():
            break
        await _send(writer, b"1234567890" * 100)


async def _oversized(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, b"1" * 1_000_000 + data)


async def _garbled(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data[:3] + b"\xfe\x91" + data[5:])


async def _garbled_lines(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, b"\x81\n\xff\n\x00\x02\n" * 20)


async def _duplicated(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data + data)


async def _duplicated_later(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data)
    asyncio.get_running_loop().call_later(amount, _write_if_open, writer, data)


async def _text_before(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, b"** Fan slow\n" + data)


async def _number_before(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, STALE_NUMBER.encode() + b"\n" + data)


async def _number_later(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data)
    asyncio.get_running_loop().call_later(amount, _write_if_open, writer, STALE_NUMBER.encode() + b"\n")


async def _closes_before(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    writer.close()


async def _closes_amid(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data[: len(data) // 2])
    writer.close()


async def _closes_after(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data)
    writer.close()


async def _resets_amid(_: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    await _send(writer, data[: len(data) // 2])
    linger = struct.pack("ii", 1, 0)  # on, 0 s: a reset instead of a proper close
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
    writer.transport.abort()


async def _refuses(server: InstrumentServer, data: bytes, writer: asyncio.StreamWriter, amount: float) -> None:
    writer.close()
    server.away = asyncio.get_running_loop().create_task(server.refuse(amount))


WAYS: dict[Kind, Way] = {
    Kind.LATE: _late,
    Kind.SPLIT: _split,
    Kind.DRIBBLES: _dribbles,
    Kind.PAUSES: _pauses,
    Kind.MISSING: _missing,
    Kind.ENDLESS: _endless,
    Kind.OVERSIZED: _oversized,
    Kind.GARBLED: _garbled,
    Kind.GARBLED_LINES: _garbled_lines,
    Kind.DUPLICATED: _duplicated,
    Kind.DUPLICATED_LATER: _duplicated_later,
    Kind.TEXT_BEFORE: _text_before,
    Kind.NUMBER_BEFORE: _number_before,
    Kind.NUMBER_LATER: _number_later,
    Kind.CLOSES_BEFORE: _closes_before,
    Kind.CLOSES_AMID: _closes_amid,
    Kind.RESETS_AMID: _resets_amid,
    Kind.CLOSES_AFTER: _closes_after,
    Kind.REFUSES: _refuses,
}
