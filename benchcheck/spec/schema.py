"""The JSON Schema of specs, drawn from the same entry classes the loader reads, for editors to complete and check.

A schema sees one table at a time: what tables say of each other (nets that nobody touches, designators used
twice, a switch that does not exist), and what two values say of each other, only the loader knows.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Mapping
from typing import Any, Literal

import attrs

from benchcheck.kinds.fields import Gain, Tolerance, Window
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.part import Fitted, Kind
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.quantity.units import UNITS
from benchcheck.spec.entries import (
    FAULT_CODES,
    POSITIONS,
    QUANTITIES,
    above_zero_only,
    fields_of,
    tolerance_unit,
    type_of,
)
from benchcheck.spec.keyhelp import key_help
from benchcheck.spec.patterns import quantity_pattern, tolerance_pattern
from benchcheck.spec.pins import NAME_PATTERN, POLES
from benchcheck.spec.references import RESERVED
from benchcheck.spec.sense import CLAMPS
from benchcheck.spec.tables import BoardTable, NetTable
from benchcheck.spec.words import LONGEST_QUANTITY, LONGEST_TEXT

__all__ = ["json_schema"]

Schema = dict[str, Any]
_NAME: Schema = {"$ref": "#/$defs/name"}
_UNSEEN = r"^[^\u0000-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]*$"
_PLAIN: Mapping[Any, Schema] = {
    bool: {"type": "boolean"},
    float: {"type": "number", "minimum": 0},
    int: {"type": "integer", "minimum": 1, "maximum": 1000},
    str: {"type": "string", "maxLength": LONGEST_TEXT, "pattern": _UNSEEN},
    Tolerance: {"description": 'Such as "5 %", "-20/+80 %" or a letter of IEC 60062 such as "J".'},
    Gain: {"anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": "^[0-9.]+$"}]},
}


def json_schema(kinds: Iterable[Kind]) -> Schema:
    """Return the schema (JSON Schema 2020-12) of a spec that may use these kinds of part."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchcheck spec, format 1",
        "description": "What the board of a device should measure.",
        "type": "object",
        "required": ["benchcheck", "board"],
        "additionalProperties": False,
        "properties": {
            "benchcheck": {"type": "integer", "const": 1, "description": "The version of the spec format."},
            "board": _entry(BoardTable),
            "net": _named(_entry(NetTable), "What is known of a net: [net.NAME]."),
            "supply": _named(_supply(), "Where the bench supply feeds the unit: [supply.NAME].", owned=True),
            "rail": _named(_entry(Rail), "A voltage the unit makes: [rail.NAME].", owned=True),
            "part": _named(_part(tuple(kinds)), "A part by its designator: [part.R14].", owned=True),
            "isolation": {
                "type": "array",
                "items": _entry(Isolation),
                "description": "Pairs of nets that must not be joined: [[isolation]].",
            },
        },
        "$defs": _definitions(),
    }


def _definitions() -> dict[str, Schema]:
    """Return what many tables share: names, tolerances, limits, and each quantity, also above zero."""
    kept: dict[str, Schema] = {"name": {"type": "string", "pattern": f"^{NAME_PATTERN}$"}, "fitted": _entry(Fitted)}
    kept |= {_limit(cl): _entry(Window[cl]) for cl in (*QUANTITIES, Gain)}  # type: ignore[valid-type]
    for unit in QUANTITIES.values():
        kept[_tolerance(unit)] = {"type": "string", "maxLength": LONGEST_QUANTITY, "pattern": tolerance_pattern(unit)}
        for positive in (False, True):
            text, definition = _text(unit, positive=positive), _definition(unit, positive=positive)
            bound = {"exclusiveMinimum": 0} if positive else {"minimum": 0}
            number = {"type": "number", "maximum": 1e9, **bound}
            kept[definition] = {"anyOf": [text, number]} if unit == "1" else text
    return kept


def _text(quantity_unit: str, *, positive: bool) -> Schema:
    return {
        "type": "string",
        "maxLength": LONGEST_QUANTITY,
        "pattern": quantity_pattern(quantity_unit, positive=positive),
    }


def _limit(cl: Any) -> str:
    return f"limit-{cl.__name__.lower()}"


def _tolerance(quantity_unit: str) -> str:
    return f"tolerance-{_definition(quantity_unit, positive=False)}"


def _definition(quantity_unit: str, *, positive: bool) -> str:
    words = {"1": "ratio", "1/K": "per-kelvin"}.get(quantity_unit, quantity_unit)
    return words + ("-above-zero" if positive else "")


def _quantity(quantity_unit: str, *, positive: bool) -> Schema:
    words = UNITS[quantity_unit]
    return {
        "$ref": f"#/$defs/{_definition(quantity_unit, positive=positive)}",
        "description": f"{words.quantity[0].upper()}{words.quantity[1:]} such as {words.examples}.",
    }


def _named(table: Schema, description: str, *, owned: bool = False) -> Schema:
    """Return a section of tables by name; `owned` names are those no reserved word may take."""
    anycase = "|".join("".join(f"[{sign}{sign.upper()}]" for sign in word) for word in RESERVED)
    names = {"allOf": [_NAME, {"not": {"pattern": f"^(?:{anycase})$"}}]} if owned else _NAME
    return {"type": "object", "description": description, "propertyNames": names, "additionalProperties": table}


def _supply() -> Schema:
    table = _entry(Supply)
    table["properties"]["voltage"] = _quantity("V", positive=True)
    return table


def _part(kinds: tuple[Kind, ...]) -> Schema:
    """Return a table whose `kind` decides which further keys it takes."""
    return {
        "type": "object",
        "required": ["kind"],
        "properties": {"kind": {"enum": [kind.name for kind in kinds], "description": key_help("kind", limit=False)}},
        "allOf": [
            {"if": {"properties": {"kind": {"const": kind.name}}, "required": ["kind"]}, "then": _kind(kind)}
            for kind in kinds
        ],
    }


def _kind(kind: Kind) -> Schema:
    table = _entry(kind.entry)
    table["description"] = kind.summary
    nets = _pins(kind) | {"description": key_help("nets", limit=False)}
    table["properties"] |= {"kind": {"const": kind.name}, "nets": nets}
    if kind.name == "resistor":  # 0 ohm is a jumper
        table["properties"]["value"] = _quantity("ohm", positive=False)
    return table


def _pins(kind: Kind) -> Schema:
    by_name: Schema = {"type": "object", "minProperties": 1, "additionalProperties": _NAME, "propertyNames": _NAME}
    if not kind.any_pins:
        by_name = _all_of(kind.pins)
    return {"anyOf": [_pair(), by_name]} if kind.two_lead else by_name


def _pair() -> Schema:
    return {"type": "array", "items": _NAME, "minItems": 2, "maxItems": 2, "uniqueItems": True}


def _all_of(pins: tuple[str, ...]) -> Schema:
    """Return a table that names a net for each of these pins and no other."""
    nets = dict.fromkeys(pins, _NAME)
    return {"type": "object", "properties": nets, "required": list(pins), "additionalProperties": False}


def _entry(cl: Any) -> Schema:
    """Return the table an entry class describes."""
    keys = fields_of(cl)
    table: Schema = {
        "type": "object",
        "additionalProperties": False,
        "properties": {key: _described(key, attribute, cl) for key, attribute in keys.items()},
    }
    if "tolerance" in keys and type_of(keys["tolerance"]) is Tolerance:
        table["properties"]["tolerance"] |= {"$ref": f"#/$defs/{_tolerance(tolerance_unit(keys)[1])}"}
    required = [key for key, attribute in keys.items() if attribute.default is attrs.NOTHING]
    if required:
        table["required"] = required
    if {"min", "max"} <= keys.keys() and cl is not Isolation:
        table["anyOf"] = [{"required": ["min"]}, {"required": ["max"]}]
    return table


def _described(key: str, attribute: attrs.Attribute[Any], cl: Any) -> Schema:
    """Return what a key takes, with a line of help: a plugin's own under `help` in its metadata comes first."""
    annotation = type_of(attribute, cl)
    limit = typing.get_origin(annotation) is Window or (attrs.has(annotation) and annotation is not Fitted)
    value = _key(key, annotation)
    line = attribute.metadata.get("help") or key_help(key, limit=limit)
    words = [line, value.get("description", "")]
    return value | {"description": " ".join(filter(None, words))}


def _key(key: str, cl: Any) -> Schema:
    """Return what a key takes: by its name where that decides, else by its type."""
    match key:
        case "nets":
            return _pair() if typing.get_origin(cl) is tuple else _all_of(POLES)
        case "switches":
            return _table_of({"enum": list(POSITIONS)})
        case "priors":
            chance = {"anyOf": [{"type": "number", "minimum": 0, "maximum": 1}, _text("1", positive=False)]}
            return {"type": "object", "propertyNames": {"enum": list(FAULT_CODES)}, "additionalProperties": chance}
        case "clamps":
            return _table_of({"type": "array", "items": {"enum": list(CLAMPS)}, "uniqueItems": True})
        case "voltages":
            return _table_of(_quantity("V", positive=True))
        case "model":
            return _PLAIN[str] | {"minLength": 1, "pattern": _UNSEEN.replace("^", "^(?=.*\\S)", 1)}
    return _type(cl, positive=above_zero_only(key, cl))


def _table_of(value: Schema) -> Schema:
    return {"type": "object", "propertyNames": _NAME, "additionalProperties": value}


def _type(cl: Any, *, positive: bool = False) -> Schema:
    """Return what a type takes; anything goes for a type only a stranger's kind knows."""
    if cl in QUANTITIES:
        return _quantity(QUANTITIES[cl], positive=positive)
    if cl in _PLAIN:
        return dict(_PLAIN[cl])
    if cl is Fitted:
        return {"anyOf": [{"const": True}, {"$ref": "#/$defs/fitted"}]}
    origin, arguments = typing.get_origin(cl), typing.get_args(cl)
    if attrs.has(origin or cl):
        return {"$ref": f"#/$defs/{_limit(arguments[0])}"} if origin is Window else _entry(cl)
    return _generic(origin, arguments)


def _generic(origin: Any, arguments: tuple[Any, ...]) -> Schema:
    if origin is Literal:
        return {"enum": [word for word in arguments if word]}
    if origin is tuple:
        return _list_of(arguments)
    return _table_of(_type(arguments[-1])) if arguments else {}


def _list_of(arguments: tuple[Any, ...]) -> Schema:
    items: Schema = {"type": "array", "items": _type(arguments[0]), "uniqueItems": True}
    return items if arguments[1:] == (...,) else items | {"minItems": len(arguments), "maxItems": len(arguments)}
