"""What main process and power keeper say to each other: one JSON object a line, numbers as they are.

Only the operations listed here can be asked for. Errors travel with their kind, so that the caller meets the same
error as if it had driven the instrument itself.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from benchcheck.errors import BenchcheckError, BenchError, Fault, InstrumentError, OutputStateUnknown
from benchcheck.instruments.connection import LinkSettings
from benchcheck.instruments.electronic_load import LoadPoint
from benchcheck.instruments.power_supply import Ceiling, Mode, SupplyPoint, SupplySettings
from benchcheck.instruments.power_watch import OffReport, OffState

__all__ = ["LEASE_S", "OPERATIONS", "SILENCE_S", "KeeperSettings", "PoweredInstrument", "decode", "encode"]

LEASE_S = 0.5
SILENCE_S = 2.0

#: what may be asked of the keeper -> (who, method)
OPERATIONS: dict[str, tuple[str, str]] = {
    f"{who}.{method}": (who, method)
    for who, methods in {
        "supply": (
            "settings",
            "set_current_limit",
            "set_voltage",
            "set_over_voltage",
            "on",
            "off",
            "is_on",
            "measure",
            "steady",
            "tripped",
            "clear_protection",
            "can",
        ),
        "load": ("set_constant_current", "set_current", "settings", "on", "off", "is_on", "measure", "steady"),
    }.items()
    for method in methods
}
VALUES: dict[str, type[Any]] = {kind.__name__: kind for kind in (SupplyPoint, SupplySettings, LoadPoint, OffReport)}
ENUMS: dict[str, Any] = {"mode": Mode, "state": OffState}
ERRORS: dict[str, type[BenchcheckError]] = {
    kind.__name__: kind for kind in (BenchError, InstrumentError, OutputStateUnknown)
}


@dataclass(frozen=True, slots=True)
class PoweredInstrument:
    """A supply or load for the keeper to own."""

    name: str
    link: LinkSettings
    ceiling: Ceiling
    channel: int = 1


@dataclass(frozen=True, slots=True)
class KeeperSettings:
    """What the keeper owns; `dialects` are the user's own dialect tables, as parsed from TOML."""

    supply: PoweredInstrument | None = None
    load: PoweredInstrument | None = None
    dialects: Mapping[str, Any] = dataclasses.field(default_factory=dict)


def encode(message: Mapping[str, Any]) -> bytes:
    """Return a message as one line."""
    return json.dumps(message, default=_plain, allow_nan=False).encode() + b"\n"


def decode(line: bytes) -> dict[str, Any]:
    """Return the message of a line; ValueError when it is none."""
    message = json.loads(line)
    if not isinstance(message, dict):
        raise ValueError("not a message")
    return message


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {item.name: getattr(value, item.name) for item in dataclasses.fields(value)}
        return {"kind": type(value).__name__, **fields}
    if isinstance(value, Mapping):
        return dict(value)  # a read-only mapping is no dict to json
    raise TypeError(f"{value!r} does not travel")


def revived(value: Any) -> Any:
    """Return a value with its own type again."""
    if not isinstance(value, dict) or value.get("kind") not in VALUES:
        return value
    fields = {key: item for key, item in value.items() if key != "kind"}
    for key, kind in ENUMS.items():
        if key in fields:
            fields[key] = kind(fields[key])
    return VALUES[value["kind"]](**fields)


def settings_from(message: Mapping[str, Any]) -> KeeperSettings:
    """Return the settings of a message."""
    return KeeperSettings(_instrument(message["supply"]), _instrument(message["load"]), message["dialects"])


def _instrument(value: Mapping[str, Any] | None) -> PoweredInstrument | None:
    if value is None:
        return None
    link = {key: item for key, item in value["link"].items() if key != "kind"}
    ceiling = {key: item for key, item in value["ceiling"].items() if key != "kind"}
    return PoweredInstrument(value["name"], LinkSettings(**link), Ceiling(**ceiling), value["channel"])


def error_message(reason: BenchcheckError) -> dict[str, Any]:
    """Return an error as it travels."""
    faults = getattr(reason, "faults", ())
    return {
        "kind": type(reason).__name__,
        "text": str(reason),
        "faults": [[fault.where, fault.key, fault.message] for fault in faults],
    }


def raised(error: Mapping[str, Any]) -> BenchcheckError:
    """Return the error that travelled, of its own kind."""
    kind = ERRORS.get(error["kind"], InstrumentError)
    if issubclass(kind, BenchError):
        return kind([Fault(*fault) for fault in error["faults"]])
    return kind(error["text"])
