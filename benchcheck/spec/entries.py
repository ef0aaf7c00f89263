"""What an entry class says of its keys, read once for the loader and the JSON Schema alike."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from typing import Any

import attrs

from benchcheck.kinds import fields

__all__ = [
    "FAULT_CODES",
    "MINUS_SIGNS",
    "NAMED",
    "NEVER_NEGATIVE",
    "POSITIONS",
    "QUANTITIES",
    "UNIT_MAY_BE_LEFT_OUT",
    "above_zero_only",
    "fields_of",
    "tolerance_unit",
    "type_of",
]

#: field type -> quantity unit.
QUANTITIES: Mapping[Any, str] = {
    fields.Ohms: "ohm",
    fields.Volts: "V",
    fields.Amperes: "A",
    fields.Farads: "F",
    fields.Henries: "H",
    fields.Celsius: "degC",
    fields.Hertz: "Hz",
    fields.Seconds: "s",
    fields.Ratio: "1",
    fields.PerKelvin: "1/K",
}
NEVER_NEGATIVE = frozenset({"ohm", "A", "F", "H", "Hz", "s", "1"})
#: "4700" is how resistors are marked, and a ratio has no unit; "220" on a capacitor means anything but 220 F.
UNIT_MAY_BE_LEFT_OUT = ("ohm", "1")
#: what people type for minus, the hyphen first.
MINUS_SIGNS = "-\u2212\u2013\u2014"
#: attributes filled from the name of the table, never from a key.
NAMED = ("designator", "name")
#: quantities of which zero or less describes nothing.
POSITIVE = frozenset(
    {
        "bandwidth", "capacitance", "current_limit", "frequency", "gate_drive", "hold_current",
        "input_capacitance", "load", "loss_tangent", "max_probe_voltage", "rated_current", "rated_voltage",
        "start_current", "value",
    }
)  # fmt: skip
#: the largest a good part may have: of what is never negative, zero would leave no reading that passes.
LARGEST = "max"
POSITIONS = ("open", "closed")
#: what a part may do wrong, as `priors` names it.
FAULT_CODES = (
    "open", "short", "reversed", "decade", "leaky", "dry", "missing-joint", "bridge", "wrong-polarity-type",
    "swapped-pins",
)  # fmt: skip


def fields_of(cl: Any) -> dict[str, attrs.Attribute[Any]]:
    """Return key in the file -> attribute of an entry class, in order; the name of the table is no key."""
    resolved = attrs.resolve_types(typing.get_origin(cl) or cl)
    return {
        "nets" if attribute.name == "pins" else fields.file_key(attribute): attribute
        for attribute in attrs.fields(resolved)
        if attribute.name not in NAMED
    }


def above_zero_only(key: str, cl: Any) -> bool:
    """Return whether a key of this type takes nothing of zero or less."""
    return key in POSITIVE or (key == LARGEST and QUANTITIES.get(cl) in NEVER_NEGATIVE)


def type_of(attribute: attrs.Attribute[Any], cl: Any = None) -> Any:
    """Return an attribute's type without `| None`; the type variable of a `Window[Ohms]` is filled in."""
    annotation: Any = attribute.type
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is typing.Union:
        kept = [arm for arm in typing.get_args(annotation) if arm is not type(None)]
        annotation = kept[0] if len(kept) == 1 else annotation
    return typing.get_args(cl)[0] if isinstance(annotation, typing.TypeVar) else annotation


def tolerance_unit(keys: Mapping[str, attrs.Attribute[Any]]) -> tuple[str, str]:
    """Return (key, quantity unit) of what a tolerance among these keys belongs to: a value, else a voltage."""
    key = "value" if "value" in keys else "voltage"
    return key, QUANTITIES.get(type_of(keys[key]), "1") if key in keys else "1"
