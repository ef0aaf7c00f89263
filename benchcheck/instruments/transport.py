"""What carries bytes to an instrument and back: one protocol, and the carrier for anything with a descriptor.

A transport never waits longer than it is told, never reads more than it is told, and says with the built-in
exceptions what went wrong: TimeoutError for silence, ConnectionError for a connection that has ended.
"""

from __future__ import annotations

import os
import select
import socket
from collections.abc import Callable
from typing import NamedTuple, Protocol, TypeVar

__all__ = ["Chunk", "DescriptorTransport", "Opener", "Transport", "serial_transport", "socket_transport"]


Given = TypeVar("Given")
Got = TypeVar("Got")


class Chunk(NamedTuple):
    """Bytes that came in; `end` is True when the carrier itself marked the end of a message."""

    data: bytes
    end: bool = False


class Transport(Protocol):
    """A carrier of bytes. `persistent` says that a late answer can survive closing and reopening (serial lines)."""

    persistent: bool

    def send(self, data: bytes, timeout_s: float) -> None:
        """Send all bytes within `timeout_s` seconds; TimeoutError or ConnectionError otherwise."""
        ...

    def receive(self, limit_bytes: int, timeout_s: float) -> Chunk:
        """Return at least one byte, at most `limit_bytes`; TimeoutError after `timeout_s` s of silence."""
        ...

    def waiting(self) -> bool:
        """Return at once whether unread bytes are there (or the connection has ended)."""
        ...

    def clear(self) -> None:
        """Ask the instrument to drop what it was about to say, where the carrier has a way to; else nothing."""
        ...

    def close(self) -> None:
        """Let go of the carrier; a second call does nothing."""
        ...


Opener = Callable[[], Transport]


class DescriptorTransport:
    """Anything that `select` can wait on: a socket, or a serial line on a POSIX machine."""

    def __init__(
        self,
        descriptor: int,
        read: Callable[[int], bytes],
        write: Callable[[bytes], int],
        close: Callable[[], None],
        *,
        persistent: bool,
    ) -> None:
        """Take a non-blocking descriptor with its own read, write and close."""
        self.persistent = persistent
        self._descriptor = descriptor
        self._read, self._write, self._close = read, write, close
        self._open = True

    def send(self, data: bytes, timeout_s: float) -> None:
        """Send all bytes; a peer that does not read ends in TimeoutError, not in a block for ever."""
        while data:
            self._require_open()
            try:
                data = data[self._guarded(self._write, data[:4096]) :]
            except BlockingIOError:
                if not select.select([], [self._descriptor], [], max(0.0, timeout_s))[1]:
                    raise TimeoutError("the instrument takes no more bytes") from None

    def receive(self, limit_bytes: int, timeout_s: float) -> Chunk:
        """Return what is there as soon as anything is."""
        self._require_open()
        ready, _, _ = select.select([self._descriptor], [], [], max(0.0, timeout_s))
        if not ready:
            raise TimeoutError("silence")
        data = self._guarded(self._read, limit_bytes)
        if not data:
            raise ConnectionError("the connection was closed from the other side")
        return Chunk(data)

    def waiting(self) -> bool:
        """Return whether a read would not wait."""
        self._require_open()
        return bool(select.select([self._descriptor], [], [], 0)[0])

    def clear(self) -> None:
        """Do nothing: a byte stream has no way to clear a device."""

    def close(self) -> None:
        """Close the descriptor."""
        if self._open:
            self._open = False
            self._close()

    def _require_open(self) -> None:
        if not self._open:
            raise ConnectionError("the link is closed")

    @staticmethod
    def _guarded(call: Callable[[Given], Got], argument: Given) -> Got:
        """Turn every error of the operating system into ConnectionError."""
        try:
            return call(argument)
        except (ConnectionError, BlockingIOError):
            raise
        except OSError as reason:
            raise ConnectionError(str(reason.strerror or reason)) from reason


def socket_transport(sock: socket.socket, close: Callable[[], None] | None = None) -> DescriptorTransport:
    """Return a transport over a connected TCP socket.

    TCP_NODELAY: a set followed by a query otherwise waits 44 ms for a delayed acknowledgement (measured).
    """
    sock.setblocking(False)
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    return DescriptorTransport(sock.fileno(), sock.recv, sock.send, close or sock.close, persistent=False)


def serial_transport(descriptor: int, close: Callable[[], None]) -> DescriptorTransport:
    """Return a transport over the open, non-blocking descriptor of a serial line."""
    return DescriptorTransport(
        descriptor,
        lambda count: os.read(descriptor, count),
        lambda data: os.write(descriptor, data),
        close,
        persistent=True,
    )
