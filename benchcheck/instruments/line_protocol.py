"""A handheld meter that streams readings as lines of text over a serial or USB-serial line, described as data.

One pattern with the groups `value`, `unit` and, where the meter sends it, `function` covers the text protocols; a
binary one needs a converter in front. Only lines that began after they were asked for count: what lay in a buffer
is older than the probes on the part.
"""

from __future__ import annotations

import codecs
import contextlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.clock import Clock
from benchcheck.errors import BenchError, Fault, InstrumentError, close_match
from benchcheck.instruments.dialect import LinkManners, Serial
from benchcheck.instruments.reply import Indication, IndicationState, read_number
from benchcheck.instruments.settling import SettleRule, agrees, held
from benchcheck.instruments.transport import Opener, Transport
from benchcheck.instruments.wire import LineReader

__all__ = ["LineProtocol", "StreamedReading", "StreamingMeter", "build_line_protocol"]

PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "\u00b5": 1e-6, "\u03bc": 1e-6, "m": 1e-3, "": 1.0}
PREFIXES |= {"k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
UNITS = {"V": "V", "VDC": "V", "VAC": "V", "A": "A", "ohm": "ohm", "Ohm": "ohm", "OHM": "ohm", "\u03a9": "ohm"}
UNITS |= {"F": "F", "H": "H", "C": "degC", "degC": "degC", "\u00b0C": "degC", "": ""}
PATTERN = (
    r"(?P<function>[A-Za-z][A-Za-z ]*?)?[\s:,=]*"
    r"(?P<value>[-+]?\.?[0O]\.?L|[-+]?\s*(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(?P<unit>\S*)"
)
MAX_LINES_UNREADABLE = 20
SLICE_S = 0.1


@dataclass(frozen=True, slots=True)
class LineProtocol:
    """How a meter writes its readings; `functions` maps its own words to measuring functions.

    `request` is sent for each line where the meter waits to be asked; `overload` are the words for beyond full scale.
    """

    name: str = "generic"
    pattern: str = PATTERN
    overload: tuple[str, ...] = ("OL", "O.L", ".OL", "0L", "0.L")
    functions: Mapping[str, str] = field(default_factory=dict)
    request: str = ""
    silence_ms: float = 3000.0
    encoding: str = "ascii"
    serial: Serial = field(default_factory=Serial)


@dataclass(frozen=True, slots=True)
class StreamedReading:
    """One line: the indication, its quantity unit, and the function where the meter says it (else None)."""

    at_s: float
    indication: Indication
    quantity_unit: str
    function: Function | None


def build_line_protocol(name: str, data: Any, where: str = "") -> LineProtocol:
    """Return a line protocol from its table; BenchError with every fault found."""
    if not isinstance(data, Mapping):
        raise BenchError(Fault(where, name, f"{data!r} is no table; write [{name}] and its keys below"))
    faults: list[Fault] = []
    values: dict[str, Any] = {}
    for key, value in data.items():
        if key not in KEYS:
            faults.append(Fault(where, f"{name}.{key}", f"is no key of a line protocol{close_match(key, KEYS)}"))
        elif not KEYS[key][0](value):
            faults.append(Fault(where, f"{name}.{key}", f"{value!r} is not {KEYS[key][1]}"))
        else:
            values[key] = value
    if "overload" in values:
        values["overload"] = tuple(word.upper() for word in values["overload"])
    faults += _pattern_faults(name, str(values.get("pattern", PATTERN)), where)
    faults += _function_faults(name, values.get("functions", {}), where)
    faults += _serial_faults(f"{name}.serial", values.get("serial", {}), where)
    if faults:
        raise BenchError(faults)
    values["serial"] = Serial(**values.get("serial", {}))
    return LineProtocol(name, **values)


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _is_words(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(word, str) and word for word in value)


def _is_time(value: object) -> bool:
    return type(value) in (int, float) and 0 < value <= 60_000  # type: ignore[operator]


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _is_encoding(value: object) -> bool:
    try:
        return isinstance(value, str) and bool(codecs.lookup(value))
    except LookupError:
        return False


#: key of a line protocol -> what its value must be, and that in words.
KEYS: dict[str, tuple[Callable[[object], bool], str]] = {
    "pattern": (_is_text, "a text; write a regular expression between single quotes"),
    "overload": (_is_words, 'a list of words; write for example ["OL", "----"]'),
    "functions": (_is_table, 'a table; write for example { "RES" = "ohms" }'),
    "request": (_is_text, "a text; write what asks for one line, its line end included"),
    "silence_ms": (_is_time, "a time; write milliseconds from 1 to 60000"),
    "encoding": (_is_encoding, 'an encoding; write for example "ascii" or "utf-8"'),
    "serial": (_is_table, "a table; write for example { baud_rate = 2400 }"),
}


def _serial_faults(name: str, given: Mapping[str, Any], where: str) -> list[Fault]:
    known = Serial()
    faults = []
    for key, value in given.items():
        if key not in Serial.__slots__:
            faults.append(
                Fault(where, f"{name}.{key}", f"is no setting of a serial line{close_match(key, Serial.__slots__)}")
            )
        elif isinstance(value, bool) or not isinstance(
            value, (int, float) if key == "stop_bits" else type(getattr(known, key))
        ):
            faults.append(
                Fault(where, f"{name}.{key}", f"{value!r} does not do; the usual is {getattr(known, key)!r}")
            )
    return faults


def _pattern_faults(name: str, pattern: str, where: str) -> list[Fault]:
    try:
        groups = re.compile(pattern).groupindex
    except re.error as reason:
        return [Fault(where, f"{name}.pattern", f"is not a regular expression: {reason}; escape it or mend it")]
    return [
        Fault(where, f"{name}.pattern", f'has no group "{group}"; write it as (?P<{group}>...)')
        for group in ("value", "unit")
        if group not in groups
    ]


def _function_faults(name: str, functions: Mapping[str, str], where: str) -> list[Fault]:
    allowed = [function.value for function in Function if function.metered]
    return [
        Fault(where, f"{name}.functions.{word}", f'"{value}" is no function{close_match(str(value), allowed)}')
        for word, value in functions.items()
        if str(value) not in allowed
    ]


def read_line(line: str, protocol: LineProtocol, at_s: float) -> StreamedReading:
    """Return the reading of a line; ValueError when it is none.

    >>> read_line("DC 4.68 kOhm", LineProtocol(), 0.0).indication.value
    4680.0
    """
    found = re.fullmatch(protocol.pattern, line.strip())
    if found is None:
        raise ValueError(f"{line!r} is no reading")
    factor, unit = _unit(found["unit"] or "")
    word = found["value"].replace(" ", "")
    function = _function(found.groupdict().get("function") or "", protocol)
    if word.lstrip("+-").upper() in protocol.overload:
        return StreamedReading(at_s, Indication(line, IndicationState.OVERLOAD, None), unit, function)
    return StreamedReading(at_s, Indication(line, IndicationState.VALUE, read_number(word) * factor), unit, function)


def _unit(text: str) -> tuple[float, str]:
    """Return factor and quantity unit of a unit with its prefix; ValueError for any other word."""
    for size in (0, 1):
        prefix, unit = text[:size], text[size:]
        if prefix in PREFIXES and unit in UNITS and (unit or not prefix):
            return PREFIXES[prefix], UNITS[unit]
    raise ValueError(f"{text!r} is no unit")


def _function(word: str, protocol: LineProtocol) -> Function | None:
    known = protocol.functions.get(word.strip())
    if known is not None:
        return Function(known)
    if word.strip() and protocol.functions:
        raise ValueError(f"{word!r} is no function of this meter")
    return None


class StreamingMeter:
    """A meter that talks by itself; it has no commands, so nothing can be set from here."""

    def __init__(self, name: str, opener: Opener, protocol: LineProtocol, clock: Clock) -> None:
        """Open the line; ConnectionError or InstrumentError as the opener has it."""
        self.name = name
        self._protocol, self._clock = protocol, clock
        self._opener = opener
        self._transport: Transport | None = opener()
        self._reader = LineReader(LinkManners(), protocol.encoding)

    def close(self) -> None:
        """Close the line."""
        if self._transport is not None:
            self._transport.close()
            self._transport = None

    def measure(
        self, quantity_unit: str, function: Function | None = None, settle: SettleRule | None = None
    ) -> StreamedReading:
        """Return the reading once it stands still; InstrumentError for silence, rubbish or another function.

        Lines before the call are thrown away, and so is the first one after it: it may have begun before. A line that
        was gone is opened again.
        """
        rule = settle or SettleRule(hold_s=0.5)
        self._forget()
        seen: list[StreamedReading] = []
        deadline_s = self._clock.monotonic_s() + rule.timeout_s
        while self._clock.monotonic_s() < deadline_s:
            seen.append(self._next(quantity_unit, function))
            count = held([one.at_s for one in seen], rule)
            if count and agrees([one.indication for one in seen[-count:]], rule):
                return seen[-1]
        raise InstrumentError(
            f"{self.name}: does not stand still within {rule.timeout_s:g} s; hold the probes firmly"
        )

    def _forget(self) -> None:
        """Throw away what has come so far, and the rest of the line that is just coming."""
        try:
            transport = self._opened()
            while transport.waiting():
                transport.receive(65536, 0.0)
        except (ConnectionError, TimeoutError) as reason:
            raise self._lost(reason) from reason
        self._reader = LineReader(LinkManners(), self._protocol.encoding)
        if not self._protocol.request:
            with contextlib.suppress(ValueError):
                self._line()

    def _next(self, quantity_unit: str, function: Function | None) -> StreamedReading:
        """Return the next line that is a reading; one broken line is passed over, many are not."""
        reason: Exception | None = None
        for _ in range(MAX_LINES_UNREADABLE):
            try:
                reading = read_line(self._line(), self._protocol, self._clock.monotonic_s())
            except ValueError as caught:
                reason = caught
                continue
            self._as_wanted(reading, quantity_unit, function)
            return reading
        raise InstrumentError(f"{self.name}: sends nothing readable ({reason}); check baud rate and line protocol")

    def _as_wanted(self, reading: StreamedReading, quantity_unit: str, function: Function | None) -> None:
        if reading.quantity_unit and reading.quantity_unit != quantity_unit:
            raise InstrumentError(
                f"{self.name}: is set to measure {reading.quantity_unit}, not {quantity_unit}; turn its switch"
            )
        if function is not None and reading.function is not None and reading.function is not function:
            raise InstrumentError(f"{self.name}: is set to {reading.function}, not {function}; turn its switch")

    def _opened(self) -> Transport:
        if self._transport is None:
            self._transport = self._opener()
        return self._transport

    def _ask(self) -> None:
        try:
            self._opened().send(self._protocol.request.encode(self._protocol.encoding), 1.0)
        except (ConnectionError, TimeoutError) as reason:
            raise self._lost(reason) from reason

    def _line(self) -> str:
        if self._protocol.request:
            self._ask()
        deadline_s = self._clock.monotonic_s() + self._protocol.silence_ms / 1e3
        while True:
            line = self._reader.take()
            if line is not None:
                return line
            left_s = deadline_s - self._clock.monotonic_s()
            if left_s <= 0:
                raise InstrumentError(f"{self.name}: says nothing; switch its data output on and check the cable")
            try:
                self._reader.feed(self._opened().receive(4096, min(left_s, SLICE_S)))
            except TimeoutError:
                continue
            except ConnectionError as reason:
                raise self._lost(reason) from reason

    def _lost(self, reason: Exception) -> InstrumentError:
        self.close()
        return InstrumentError(f"{self.name}: the line is gone ({reason}); plug it in again")
