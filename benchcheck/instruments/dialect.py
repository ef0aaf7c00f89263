"""A dialect: how one family of instruments spells what every meter, supply or load can do.

Dialects are data. `generic` is SCPI-1999 with the usual instrument-class commands; every other dialect is a small
override of it, and a user's own TOML adds one. An empty command means "this instrument cannot do it": asking for it
raises, nothing is skipped in silence. Placeholders are {v} value, {ch} channel, {range} range and {token} a number.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

from benchcheck.bench.functions import Function
from benchcheck.errors import BenchError, Fault, close_match

__all__ = [
    "Dialect",
    "LinkManners",
    "LoadDialect",
    "MeterDialect",
    "Serial",
    "SupplyDialect",
    "build_dialect",
    "fill",
]

#: key of a dialect's meter table -> measuring function
METER_FUNCTIONS: dict[str, Function] = {
    "vdc": Function.DC_VOLTAGE,
    "vac": Function.AC_VOLTAGE,
    "idc": Function.DC_CURRENT,
    "r2w": Function.OHMS,
    "r4w": Function.OHMS_4W,
    "low_power": Function.LOW_POWER_OHMS,
    "diode": Function.DIODE,
    "continuity": Function.CONTINUITY,
    "capacitance": Function.CAPACITANCE,
    "temperature": Function.TEMPERATURE,
}
KINDS = ("word", "bits", "byte", "text", "bitstring", "hexbits")


@dataclass(frozen=True, slots=True)
class Serial:
    """Settings of a serial line; the defaults are 9600 baud, 8 data bits, no parity, 1 stop bit."""

    baud_rate: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: float = 1.0
    flow_control: str = "none"


@dataclass(frozen=True, slots=True)
class LinkManners:
    """How to talk to the instrument; times in milliseconds as in the dialect file."""

    write_term: str = "\n"
    read_term: str = "\n"
    read_strip: str = "\r\n \t\0"
    terminated: bool = True
    reply_gap_ms: float = 60.0
    min_gap_ms: float = 0.0
    query_delay_ms: float = 0.0
    identify_timeout_ms: float = 3000.0
    reply_timeout_ms: float = 2000.0
    reading_timeout_ms: float = 10000.0
    quiet_ms: float = 300.0
    max_reply_bytes: int = 65536
    drop_lines: tuple[str, ...] = ()
    set_ack: str = ""
    header_echo: bool = False
    remote: str = ""
    identify: str = "*IDN?"
    error_query: str = "SYST:ERR?"
    event_status: str = "*ESR?"
    token: str = "*ESE {token};*ESE?"
    opc: str = "*OPC?"
    join: str = ";:"
    serial: Serial = field(default_factory=Serial)


@dataclass(frozen=True, slots=True)
class MeterDialect:
    """Functions as a query, or as (configure, read); what overload looks like; what the meter can report."""

    vdc: tuple[str, ...] = ()
    vac: tuple[str, ...] = ()
    idc: tuple[str, ...] = ()
    r2w: tuple[str, ...] = ()
    r4w: tuple[str, ...] = ()
    low_power: tuple[str, ...] = ()
    diode: tuple[str, ...] = ()
    continuity: tuple[str, ...] = ()
    capacitance: tuple[str, ...] = ()
    temperature: tuple[str, ...] = ()
    again: str = ""
    range_argument: str = ""
    function_query: str = ""
    function_words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    range_queries: Mapping[str, str] = field(default_factory=dict)
    overload_abs: float = 9.0e37
    overload_by_function: Mapping[str, float] = field(default_factory=dict)
    overload_exactly: Mapping[str, float] = field(default_factory=dict)
    overload_words: tuple[str, ...] = ("OL", "O.L", "OVLD", "OVERLOAD", "INF", "+INF", "-INF", ".......")
    nan_value: float = 9.91e37
    nan_words: tuple[str, ...] = ("NAN", "-------", "NONE", "-NAN", "+NAN")
    suffix: str = ""

    def command(self, function: Function) -> tuple[str, ...]:
        """Return the query, or configure and read, for a function; empty when the meter has none."""
        for key, known in METER_FUNCTIONS.items():
            if known is function:
                found: tuple[str, ...] = getattr(self, key)
                return tuple(word for word in found if word)
        return ()

    def functions(self) -> tuple[Function, ...]:
        """Return the functions this meter has, in the order of the table."""
        return tuple(known for known in METER_FUNCTIONS.values() if self.command(known))


@dataclass(frozen=True, slots=True)
class SupplyDialect:
    """Commands of a supply, how it reports its output and what holds it: voltage or current."""

    channels: int = 1
    select: str = ""
    select_query: str = ""
    set_v: str = ""
    set_i: str = ""
    get_v: str = ""
    get_i: str = ""
    on: str = ""
    off: str = ""
    out: str = ""
    true_words: tuple[str, ...] = ("1", "ON")
    out_kind: str = "word"
    out_mask: tuple[int, ...] = (1,)
    outputs_together: bool = False
    watchdog: str = ""
    watchdog_off: str = ""
    meas_v: str = ""
    meas_i: str = ""
    ovp_set: str = ""
    ovp_get: str = ""
    ovp_on: str = ""
    ovp_tripped: str = ""
    ocp_on: str = ""
    ocp_off: str = ""
    ocp_set: str = ""
    ocp_tripped: str = ""
    clear_protection: str = ""
    mode: str = ""
    mode_kind: str = "bits"
    mode_cc: tuple[int, ...] = (1,)
    mode_cv: tuple[int, ...] = (2,)
    step_volt: float = 0.0125
    step_ampere: float = 0.004
    number: str = "%.6g"


@dataclass(frozen=True, slots=True)
class LoadDialect:
    """Commands of an electronic load in constant current."""

    channels: int = 1
    mode_cc: str = ""
    mode_query: str = ""
    mode_words: tuple[str, ...] = ("CURR", "CURRENT", "CC")
    set_i: str = ""
    get_i: str = ""
    on: str = ""
    off: str = ""
    inp: str = ""
    true_words: tuple[str, ...] = ("1", "ON")
    meas_v: str = ""
    meas_i: str = ""
    clear_protection: str = ""
    step_ampere: float = 0.004
    number: str = "%.6g"


@dataclass(frozen=True, slots=True)
class Dialect:
    """One family: `match` is a pattern for the answer to *IDN?, `roles` what the family is known to be."""

    name: str
    match: str = ""
    roles: tuple[str, ...] = ()
    link: LinkManners = field(default_factory=LinkManners)
    dmm: MeterDialect = field(default_factory=MeterDialect)
    psu: SupplyDialect = field(default_factory=SupplyDialect)
    load: LoadDialect = field(default_factory=LoadDialect)

    def matches(self, identity: str) -> bool:
        """Return whether an identity is of this family; a dialect without a pattern matches nothing."""
        return bool(self.match) and re.search(self.match, identity, re.IGNORECASE) is not None


TABLES: dict[str, type[Any]] = {"link": LinkManners, "dmm": MeterDialect, "psu": SupplyDialect, "load": LoadDialect}
Part = TypeVar("Part")


def fill(template: str, **values: str | int) -> str:
    """Return a command with its placeholders filled.

    >>> fill("VOLT {v},(@{ch})", v="5", ch=2)
    'VOLT 5,(@2)'
    """
    if "{" not in template:
        return template
    for name, value in values.items():
        template = template.replace("{" + name + "}", str(value))
    return template


def build_dialect(name: str, data: Mapping[str, Any], base: Dialect | None = None, where: str = "") -> Dialect:
    """Return a dialect from its table, as an override of `base`; BenchError with every fault found.

    >>> build_dialect("mine", {"psu": {"set_v": "VSET {v}"}}).psu.set_v
    'VSET {v}'
    """
    base = base or Dialect(name)
    faults = list(_unknown_keys(name, data, where))
    parts: dict[str, Any] = {}
    for table, kind in TABLES.items():
        given = data.get(table, {})
        if not isinstance(given, Mapping):
            faults.append(Fault(where, f"{name}.{table}", "must be a table of commands"))
            continue
        parts[table] = _override(getattr(base, table), kind, given, f"{name}.{table}", where, faults)
    match = str(data.get("match", ""))
    faults += _pattern_faults(match, f"{name}.match", where)
    if faults:
        raise BenchError(faults)
    roles = tuple(table for table in ("dmm", "psu", "load") if table in data)
    return Dialect(name, match, roles or base.roles, **parts)


def _unknown_keys(name: str, data: Mapping[str, Any], where: str) -> Iterator[Fault]:
    allowed = ("match", *TABLES)
    for key in data:
        if key not in allowed:
            yield Fault(where, f"{name}.{key}", f"is no key of a dialect{close_match(key, allowed)}")


def _override(
    base: Part, kind: type[Part], given: Mapping[str, Any], key: str, where: str, faults: list[Fault]
) -> Part:
    """Return `base` with the given keys replaced; what does not fit goes to `faults`."""
    known = {item.name: getattr(base, item.name) for item in fields(kind)}  # type: ignore[arg-type]
    for name, value in given.items():
        if name not in known:
            faults.append(Fault(where, f"{key}.{name}", f"is no key of this table{close_match(name, known)}"))
            continue
        try:
            known[name] = _fitted(known[name], value, f"{key}.{name}", where)
        except BenchError as reason:
            faults += reason.faults
    faults += _value_faults(known, key, where)
    return kind(**known)


def _fitted(old: Any, value: Any, key: str, where: str) -> Any:
    """Return a value in the type of the one it replaces; BenchError when it does not fit."""
    if isinstance(old, Serial) and isinstance(value, Mapping):
        faults: list[Fault] = []
        made = _override(old, Serial, value, key, where, faults)
        if faults:
            raise BenchError(faults)
        return made
    if isinstance(old, Mapping) and isinstance(value, Mapping):
        return {**old, **{name: _frozen(item) for name, item in value.items()}}
    if isinstance(old, tuple) and isinstance(value, str | int | list | tuple):
        return tuple(value) if isinstance(value, list | tuple) else (value,)
    wanted = bool if isinstance(old, bool) else int | float if isinstance(old, int | float) else str
    if not isinstance(value, wanted) or (isinstance(value, bool) and wanted is not bool):
        raise BenchError(Fault(where, key, f"{value!r} does not fit; give something like {old!r}"))
    return value


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _value_faults(values: Mapping[str, Any], key: str, where: str) -> Iterator[Fault]:
    for name in ("out_kind", "mode_kind"):
        if name in values and values[name] not in KINDS:
            hint = close_match(str(values[name]), KINDS)
            yield Fault(where, f"{key}.{name}", f'"{values[name]}" is not one of {", ".join(KINDS)}{hint}')
    for name, value in values.items():
        if name.endswith("_ms") and value < 0:
            yield Fault(where, f"{key}.{name}", f"{value} is below zero; give milliseconds")
    for pattern in values.get("drop_lines", ()):
        yield from _pattern_faults(pattern, f"{key}.drop_lines", where)


def _pattern_faults(pattern: str, key: str, where: str) -> Iterator[Fault]:
    try:
        re.compile(pattern)
    except re.error as reason:
        yield Fault(where, key, f'"{pattern}" is not a regular expression: {reason}; escape it or mend it')
