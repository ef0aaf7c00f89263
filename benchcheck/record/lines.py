"""A quick way through blocks as this room writes them: a key and a plain value a line.

Texts without escapes, numbers and times in UTC are read by one pattern, several times faster than by a TOML
parser, which matters over a hundred thousand records; inline tables of these (budgets) by the JSON parser, once
`key = ` has become `"key": `. Every other line goes to the TOML parser, and so does a whole block in which anything
is unusual; what comes back is the same either way.
"""

from __future__ import annotations

import json
import re
from datetime import datetime

from benchcheck.document import parse_document
from benchcheck.errors import RecordError

__all__ = ["read_block"]

_LINE = re.compile(
    r'([a-z_]+) = (?:"([^"\\\x00-\x1f\x7f]*)"'
    r"|(-?(?:0|[1-9][0-9]{0,17}))"
    r"|(-?(?:0|[1-9][0-9]*)(?:\.[0-9]+(?:e[+-]?[0-9]+)?|e[+-]?[0-9]+))"
    r"|([0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{6})?\+00:00)"
    r"|(.+))"
)
#: what means the same in TOML and, keys aside, in JSON: a colon, a null or an escape stands in none of it.
_NESTED = re.compile(
    r'[\[{](?>"[^"\\\x00-\x1f\x7f]*"|[a-z_]+ = |true|false'
    r"|-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?|[\[\]{}, ])++"
)
_KEY = re.compile(r'(?<![a-z_])(?=[a-z_]+": )')
_NOT_A_BRACKET = re.compile(r"[^\[\]{}]+")
_DEEPEST = 8


def read_block(text: str, where: str) -> dict[str, object]:
    """Return the keys of a block, its header line left out; raises RecordError for broken TOML.

    >>> read_block('check = "R14.resistance"\\nvalue = 4680.0\\nretries = ["8.1"]\\n', "x")
    {'check': 'R14.resistance', 'value': 4680.0, 'retries': ['8.1']}
    """
    quick = _quickly(text)
    if quick is None:
        return parse_document(text, where, error=RecordError).data
    values, rest = quick
    if rest:
        found = parse_document("".join(rest.values()), where, error=RecordError).data
        if found.keys() != rest.keys():
            return parse_document(text, where, error=RecordError).data
        values.update(found)
    return values


def _quickly(text: str) -> tuple[dict[str, object], dict[str, str]] | None:
    """Return the values of plain lines, None for others, and those lines by key; None for an unusual block."""
    values: dict[str, object] = {}
    rest: dict[str, str] = {}
    lines = text.split("\n")
    for line in lines[:-1]:
        found = _LINE.fullmatch(line)
        if found is None or found[1] in values:
            return None
        key, string, whole, real, moment, other = found.groups()
        if string is not None:
            values[key] = string
        elif real is not None:
            values[key] = float(real)
        elif whole is not None:
            values[key] = int(whole)
        elif moment is not None and (at := _moment(moment)) is not None:
            values[key] = at
        elif other is not None and (nested := _nested(other)) is not None:
            values[key] = nested
        else:
            values[key] = None
            rest[key] = line + "\n"
    return None if lines[-1] else (values, rest)


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _nested(text: str) -> object:
    """Return the value of an inline table or array, None where it is not plain or not well made."""
    if _NESTED.fullmatch(text) is None:
        return None
    pieces = text.split('"')  # every second one is a text
    outside = "\n".join(pieces[::2])
    brackets = _NOT_A_BRACKET.sub("", outside)
    for _ in range(_DEEPEST):
        brackets = brackets.replace("[]", "").replace("{}", "")
    if brackets:
        return None
    pieces[::2] = _KEY.sub('"', outside.replace(" = ", '": ')).split("\n")
    try:
        value: object = json.loads('"'.join(pieces), object_pairs_hook=_table)
    except ValueError:
        return None
    return value


def _table(pairs: list[tuple[str, object]]) -> dict[str, object]:
    table = dict(pairs)
    if len(table) < len(pairs):
        raise ValueError("a key stands twice")
    return table
