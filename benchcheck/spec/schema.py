"""The JSON Schema of specs, drawn from the same entry classes the loader reads, for editors to complete and check.

A schema sees one table at a time: what tables say of each other (nets that nobody touches, designators used
twice, a switch that does not exist) and which notations of a quantity are sound, only the loader knows.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Mapping
from typing import Any, Literal

import attrs

from benchcheck.kinds.fields import Gain, Tolerance
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.part import Fitted, Kind
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.quantity.units import UNITS
from benchcheck.spec.entries import FAULT_CODES, NEVER_NEGATIVE, POSITIONS, POSITIVE, QUANTITIES, fields_of, type_of
from benchcheck.spec.pins import NAME_PATTERN, POLES
from benchcheck.spec.tables import BoardTable, NetTable

__all__ = ["json_schema"]

Schema = dict[str, Any]
_NAME: Schema = {"type": "string", "pattern": f"^{NAME_PATTERN}$"}
_PREFIX = "[pnuµμmkKMG]|meg"
#: quantity unit -> what may stand behind the digits, a letter at the decimal point included.
_SUFFIX = {
    "ohm": f"(?:{_PREFIX}|[RrLΩΩ])?\\s*\\d*\\s*(?:[Oo]hms?|Ω|Ω|R)?",
    "V": f"(?:{_PREFIX})?\\s*(?:[Vv]olts?|V|v)?\\d*",
    "A": f"(?:{_PREFIX})?\\s*(?:[Aa]mp(?:ere)?s?|A)?\\d*",
    "F": f"(?:{_PREFIX})?\\s*\\d*\\s*(?:[Ff]arads?|F)?\\d*",
    "H": f"(?:{_PREFIX})?\\s*\\d*\\s*(?:[Hh]enr(?:y|ies)|H)?\\d*",
    "degC": "\\s*(?:deg ?C|degrees? [Cc]elsius|[Cc]elsius|°C|℃|C)?",
    "Hz": f"(?:{_PREFIX})?\\s*(?:[Hh]ertz|Hz)?",
    "s": f"(?:{_PREFIX})?\\s*(?:s|sec|seconds?|min|minutes?|h|hours?)?",
    "1": "\\s*(?:%|percent|ppm)?",
    "1/K": "\\s*(?:ppm|%)?\\s*(?:/|per )?\\s*(?:K|kelvin|°C|degC)?",
}


def json_schema(kinds: Iterable[Kind]) -> Schema:
    """Return the schema (JSON Schema 2020-12) of a spec that may use these kinds of part."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchcheck spec, format 1",
        "description": "What a board should measure.",
        "type": "object",
        "required": ["benchcheck", "board"],
        "additionalProperties": False,
        "properties": {
            "benchcheck": {"const": 1, "description": "The version of the spec format."},
            "board": _entry(BoardTable),
            "net": _named(_entry(NetTable)),
            "supply": _named(_entry(Supply)),
            "rail": _named(_entry(Rail)),
            "part": _named(_part(tuple(kinds))),
            "isolation": {"type": "array", "items": _entry(Isolation)},
        },
    }


def _named(table: Schema) -> Schema:
    return {"type": "object", "propertyNames": _NAME, "additionalProperties": table}


def _part(kinds: tuple[Kind, ...]) -> Schema:
    """Return a table whose `kind` decides which further keys it takes."""
    return {
        "type": "object",
        "required": ["kind"],
        "properties": {"kind": {"enum": [kind.name for kind in kinds]}},
        "allOf": [
            {"if": {"properties": {"kind": {"const": kind.name}}, "required": ["kind"]}, "then": _kind(kind)}
            for kind in kinds
        ],
    }


def _kind(kind: Kind) -> Schema:
    table = _entry(kind.entry)
    table["description"] = kind.summary
    table["properties"] |= {"kind": {"const": kind.name}, "nets": _pins(kind)}
    if kind.name == "resistor":  # 0 ohm is a jumper
        table["properties"]["value"] = _quantity("ohm", positive=False)
    return table


def _pins(kind: Kind) -> Schema:
    by_name: Schema = {"type": "object", "minProperties": 1, "additionalProperties": _NAME, "propertyNames": _NAME}
    if not kind.any_pins:
        by_name |= {
            "additionalProperties": False,
            "properties": dict.fromkeys(kind.pins, _NAME),
            "required": list(kind.pins),
        }
    return {"anyOf": [_pair(), by_name]} if kind.two_lead else by_name


def _pair() -> Schema:
    return {"type": "array", "items": _NAME, "minItems": 2, "maxItems": 2, "uniqueItems": True}


def _entry(cl: Any) -> Schema:
    """Return the table an entry class describes."""
    keys = fields_of(cl)
    origin = typing.get_origin(cl) or cl
    table: Schema = {
        "type": "object",
        "additionalProperties": False,
        "properties": {key: _key(key, type_of(attribute, cl)) for key, attribute in keys.items()},
    }
    required = [key for key, attribute in keys.items() if attribute.default is attrs.NOTHING]
    if required:
        table["required"] = required
    if {"min", "max"} <= keys.keys() and origin is not Isolation:
        table["anyOf"] = [{"required": ["min"]}, {"required": ["max"]}]
    return table


def _key(key: str, cl: Any) -> Schema:
    """Return what a key takes: by its name where that decides, else by its type."""
    match key:
        case "nets":
            return _pair() if typing.get_origin(cl) is tuple else _poles()
        case "switches":
            return _table_of({"enum": list(POSITIONS)})
        case "priors":
            return _table_of(_quantity("1", positive=False)) | {"propertyNames": {"enum": list(FAULT_CODES)}}
        case "voltages":
            return _table_of(_quantity("V", positive=True))
    return _type(cl, positive=key in POSITIVE)


def _poles() -> Schema:
    poles = dict.fromkeys(POLES, _NAME)
    return {"type": "object", "properties": poles, "required": list(POLES), "additionalProperties": False}


def _table_of(value: Schema) -> Schema:
    return {"type": "object", "propertyNames": _NAME, "additionalProperties": value}


_PLAIN: Mapping[Any, Schema] = {
    bool: {"type": "boolean"},
    int: {"type": "integer", "minimum": 1, "maximum": 1000},
    str: {"type": "string"},
    Gain: {"anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": "^[0-9.]+$"}]},
    Tolerance: {"type": "string", "description": '"5 %", "-20/+80 %" or a letter of IEC 60062 such as "J"'},
}


def _type(cl: Any, *, positive: bool) -> Schema:
    if cl in QUANTITIES:
        return _quantity(QUANTITIES[cl], positive=positive)
    if cl in _PLAIN:
        return dict(_PLAIN[cl])
    if cl is Fitted:
        return {"anyOf": [{"const": True}, _entry(Fitted)]}
    origin, arguments = typing.get_origin(cl), typing.get_args(cl)
    if origin is Literal:
        return {"enum": [word for word in arguments if word]}
    if origin is tuple:
        items: Schema = {"type": "array", "items": _type(arguments[0], positive=positive), "uniqueItems": True}
        return items if arguments[1:] == (...,) else items | {"minItems": len(arguments), "maxItems": len(arguments)}
    if attrs.has(origin or cl):
        return _entry(cl)
    return _table_of(_type(arguments[1], positive=positive))


def _quantity(quantity_unit: str, *, positive: bool) -> Schema:
    """Return a text that looks like the quantity; ratios may be bare numbers too."""
    words = UNITS[quantity_unit]
    signed = "" if positive or quantity_unit in NEVER_NEGATIVE else "-?"
    text: Schema = {
        "type": "string",
        "description": f"{words.quantity} such as {words.examples}",
        "pattern": f"^\\s*{signed}\\+?(?=.*\\d)[\\d.,]*(?:[eE][+-]?\\d+)?\\s*{_SUFFIX[quantity_unit]}\\s*$",
    }
    return {"anyOf": [text, {"type": "number"}]} if quantity_unit == "1" else text
