"""Opening instruments over VISA: the only place that knows pyvisa, loaded when a bench names a resource.

The shipped backend is pyvisa-py; any other VISA library works too (environment variable PYVISA_LIBRARY). pyvisa
finds, parses and opens the resource. Its reads know no absolute deadline, spin on a closed socket and take an
endless stream until memory ends (measured on pyvisa-py 0.8.1), so on pyvisa-py's sockets and serial lines the bytes
are read from the descriptor that it opened; elsewhere through the library, one byte or one message at a time.
"""

from __future__ import annotations

import contextlib
import os
import socket
import warnings
from collections.abc import Callable
from typing import Any

import pyvisa
from pyvisa import constants
from pyvisa.constants import StatusCode

from benchcheck.errors import BenchError, Fault, InstrumentError
from benchcheck.instruments.dialect import LinkManners, Serial
from benchcheck.instruments.transport import Chunk, Transport, serial_transport, socket_transport

__all__ = ["canonical_resource", "resources_found", "visa_opener", "warm"]

OPEN_TIMEOUT_MS = 1500  # opening cannot be watched, and two seconds of silence count as a hang
ENDED = (StatusCode.success, StatusCode.success_termination_character_read)
PARITY = {
    "none": constants.Parity.none,
    "even": constants.Parity.even,
    "odd": constants.Parity.odd,
    "mark": constants.Parity.mark,
    "space": constants.Parity.space,
}
STOP_BITS = {1.0: constants.StopBits.one, 1.5: constants.StopBits.one_and_a_half, 2.0: constants.StopBits.two}
FLOW = {
    "none": constants.ControlFlow.none,
    "xon_xoff": constants.ControlFlow.xon_xoff,
    "rts_cts": constants.ControlFlow.rts_cts,
    "dtr_dsr": constants.ControlFlow.dtr_dsr,
}


def canonical_resource(resource: str) -> str:
    """Return a resource name in its full form; BenchError when it does not parse.

    >>> canonical_resource("TCPIP::127.0.0.1::5025::SOCKET")
    'TCPIP0::127.0.0.1::5025::SOCKET'
    """
    try:
        return str(pyvisa.rname.to_canonical_name(resource))
    except Exception as reason:  # the parser raises more than its own class
        raise BenchError(
            f'"{resource}" is no VISA resource; write for example "TCPIP0::192.0.2.7::5025::SOCKET", '
            '"USB0::0x1234::0x5678::SERIAL::INSTR", "GPIB0::12::INSTR" or "ASRL/dev/ttyUSB0::INSTR"'
        ) from reason


def resources_found(library: str = "") -> tuple[str, ...]:
    """Return the resources the VISA library lists, without opening any; InstrumentError when it cannot be loaded."""
    backend = library or os.environ.get("PYVISA_LIBRARY", "") or "@py"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a further library could find as well is said by the command
            return tuple(pyvisa.ResourceManager(backend).list_resources("?*"))
    except Exception as reason:  # whatever a backend's own search raises
        raise InstrumentError(f"the VISA library {backend!r} cannot look for instruments ({reason})") from reason


def warm(library: str = "") -> None:
    """Load the VISA library, so that opening does not wait for that; what is wrong with it shows at opening."""
    with contextlib.suppress(Exception):
        pyvisa.ResourceManager(library or os.environ.get("PYVISA_LIBRARY", "") or "@py")


def visa_opener(name: str, resource: str, manners: LinkManners, library: str = "") -> Callable[[], Transport]:
    """Return what opens a resource; BenchError at once when the resource does not parse.

    `name` is what messages call the instrument, `library` a VISA library other than the environment's or pyvisa-py.
    """
    full_name = canonical_resource(resource)
    backend = library or os.environ.get("PYVISA_LIBRARY", "") or "@py"

    def open_resource() -> Transport:
        opened = _opened(name, full_name, backend)
        try:
            return _transport(opened, full_name, manners)
        except BaseException:
            with contextlib.suppress(Exception):
                opened.close()
            raise

    return open_resource


def _opened(name: str, resource: str, backend: str) -> Any:
    """Return pyvisa's resource; its many ways to fail become ConnectionError or InstrumentError."""
    try:
        manager = pyvisa.ResourceManager(backend)
    except (ValueError, OSError) as reason:
        raise InstrumentError(
            f"{name}: the VISA library {backend!r} cannot be loaded ({reason}); "
            'unset PYVISA_LIBRARY, or set it to "@py"'
        ) from reason
    try:
        return manager.open_resource(resource, open_timeout=OPEN_TIMEOUT_MS)
    except ValueError as reason:  # pyvisa-py: the library for this kind of interface is missing
        raise InstrumentError(f"{name}: {_first_line(reason)}") from reason
    except Exception as reason:  # pyvisa-py raises plain Exception where it cannot connect
        raise ConnectionError(_first_line(reason)) from reason


def _first_line(reason: Exception) -> str:
    return (str(reason).strip().splitlines() or [type(reason).__name__])[0]


def _transport(opened: Any, resource: str, manners: LinkManners) -> Transport:
    """Return the carrier that fits the interface."""
    serial = resource.startswith("ASRL")
    inner = _inner_interface(opened)
    if serial:
        _set_serial(opened, manners.serial)
        if inner is not None and hasattr(inner, "fileno") and os.name == "posix":
            inner.timeout = 0
            inner.reset_input_buffer()
            return serial_transport(inner.fileno(), opened.close)
    if isinstance(inner, socket.socket):
        _refuse_failed(inner)
        return socket_transport(inner, opened.close)
    if serial or resource.endswith("SOCKET"):
        return _ByteTransport(opened, manners, persistent=serial)
    return _MessageTransport(opened)


def _inner_interface(opened: Any) -> Any:
    """Return the socket or serial port inside a pyvisa-py session; None with any other library."""
    sessions = getattr(opened.visalib, "sessions", None)
    if type(opened.visalib).__module__.split(".")[0] != "pyvisa_py" or sessions is None:
        return None
    return getattr(sessions.get(opened.session), "interface", None)


def _refuse_failed(sock: socket.socket) -> None:
    """pyvisa-py 0.8.1 opens a refused port without complaint: ask the socket how the connecting went."""
    code = sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    if code:
        raise _os_error(code)


def _os_error(code: int) -> OSError:
    return OSError(code, os.strerror(code))  # becomes ConnectionRefusedError and its like by the code


def _set_serial(opened: Any, serial: Serial) -> None:
    for value, known, what in (
        (serial.parity, PARITY, "parity"),
        (float(serial.stop_bits), STOP_BITS, "stop_bits"),
        (serial.flow_control, FLOW, "flow_control"),
    ):
        if value not in known:
            raise BenchError(Fault("", what, f"{value!r} is none of {', '.join(map(str, known))}"))
    opened.baud_rate = serial.baud_rate
    opened.data_bits = serial.data_bits
    opened.parity = PARITY[serial.parity]
    opened.stop_bits = STOP_BITS[float(serial.stop_bits)]
    opened.flow_control = FLOW[serial.flow_control]


class _LibraryTransport:
    """What any VISA library can do; every exception becomes TimeoutError or ConnectionError."""

    persistent = False

    def __init__(self, opened: Any) -> None:
        self._opened: Any = opened

    def send(self, data: bytes, timeout_s: float) -> None:
        self._timeout(timeout_s)
        self._call(self._require().write_raw, data)

    def clear(self) -> None:
        """Send a device clear, where the interface has one."""
        if self._opened is not None:
            with contextlib.suppress(Exception):
                self._timeout(0.5)
                self._opened.clear()

    def close(self) -> None:
        opened, self._opened = self._opened, None
        if opened is not None:
            with contextlib.suppress(Exception):
                opened.close()

    def waiting(self) -> bool:
        """Return whether bytes are there; VISA has no portable way to ask, so a message carrier says no."""
        return False

    def _require(self) -> Any:
        if self._opened is None:
            raise ConnectionError("the link is closed")
        return self._opened

    def _timeout(self, timeout_s: float) -> None:
        self._require().timeout = max(1, round(timeout_s * 1e3))

    @staticmethod
    def _call(call: Callable[..., Any], *arguments: Any) -> Any:
        try:
            return call(*arguments)
        except pyvisa.errors.VisaIOError as reason:
            if reason.error_code == StatusCode.error_timeout:
                raise TimeoutError("silence") from reason
            raise ConnectionError(_first_line(reason)) from reason
        except Exception as reason:  # OSError, serial and USB exceptions, InvalidSession and more
            raise ConnectionError(_first_line(reason)) from reason


class _ByteTransport(_LibraryTransport):
    """A byte stream through the library, one byte at a time: the only way that loses nothing at a timeout."""

    def __init__(self, opened: Any, manners: LinkManners, *, persistent: bool) -> None:
        super().__init__(opened)
        self.persistent = persistent
        self._held = b""
        with contextlib.suppress(Exception):
            opened.set_visa_attribute(constants.ResourceAttribute.suppress_end_enabled, constants.VI_FALSE)
        if persistent:
            opened.set_visa_attribute(constants.ResourceAttribute.asrl_end_in, constants.SerialTermination.none)

    def clear(self) -> None:
        """Do nothing: a byte stream has no device clear, and some libraries hang in trying."""

    def receive(self, limit_bytes: int, timeout_s: float) -> Chunk:
        held, self._held = self._held, b""
        if held:
            return Chunk(held)
        self._timeout(timeout_s)
        opened = self._require()
        data, _ = self._call(opened.visalib.read, opened.session, 1)
        if not data:
            raise TimeoutError("silence")
        return Chunk(bytes(data))

    def waiting(self) -> bool:
        try:
            self._held = self._held or self.receive(1, 0.001).data
        except TimeoutError:
            return False
        return True


class _MessageTransport(_LibraryTransport):
    """USBTMC, VXI-11, HiSLIP, GPIB: the interface marks the end of a message."""

    def __init__(self, opened: Any) -> None:
        super().__init__(opened)
        self._require().set_visa_attribute(constants.ResourceAttribute.termchar_enabled, constants.VI_FALSE)

    def receive(self, limit_bytes: int, timeout_s: float) -> Chunk:
        self._timeout(timeout_s)
        opened = self._require()
        data, status = self._call(opened.visalib.read, opened.session, limit_bytes)
        if not data:
            raise TimeoutError("silence")
        return Chunk(bytes(data), end=status in ENDED)
