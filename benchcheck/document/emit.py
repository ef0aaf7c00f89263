"""Values to TOML text: whole documents, and one-line values for the blocks of a record."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from benchcheck.errors import DocumentError

__all__ = ["dump", "toml_value"]

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
#: control signs, quotes and backslash must be escaped; the signs other programs break lines at are as well.
ESCAPED = re.compile('["\\\\\x00-\x1f\x7f\x85\u2028\u2029]')
SHORT_ESCAPES = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}


def dump(data: Mapping[str, Any]) -> str:
    """Return a TOML document; keys whose value is None are left out."""
    import tomli_w

    return tomli_w.dumps(_without_none(data))


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [_without_none(item) for item in value]
    return float(value) if isinstance(value, float) else value


def toml_value(value: Any) -> str:
    """Return a value as TOML on one line: tables inline, floats that read back exactly, None keys left out.

    DocumentError for a text no UTF-8 can hold; TypeError for what TOML has no word for.

    >>> toml_value({"max": "45 mA", "switches": {"S1": "open"}, "note": None, "currents": (0.2, 0.5)})
    '{ max = "45 mA", switches = { S1 = "open" }, currents = [0.2, 0.5] }'
    """
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return int.__repr__(value)
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, datetime | date | time):
        return _moment(value)
    if isinstance(value, Mapping):
        return _table(value)
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return f"[{', '.join(map(toml_value, value))}]"
    raise TypeError(f"TOML has no word for {type(value).__name__}: {value!r}")


def _string(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as reason:
        raise DocumentError(f"sign {reason.start} of {text!r} is no character of Unicode; remove it") from reason
    return '"' + ESCAPED.sub(_escape, text) + '"'


def _escape(match: re.Match[str]) -> str:
    return SHORT_ESCAPES.get(match[0]) or f"\\u{ord(match[0]):04x}"


def _float(value: float) -> str:
    if math.isfinite(value):
        return float.__repr__(value)
    return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf")


def _moment(value: datetime | date | time) -> str:
    offset = value.utcoffset() if isinstance(value, datetime | time) else None
    if offset is not None and (isinstance(value, time) or offset.total_seconds() % 60):
        raise TypeError(f"TOML has no word for the offset of {value!r}")
    return value.isoformat()


def _table(value: Mapping[Any, Any]) -> str:
    pairs = [f"{_key(key)} = {toml_value(item)}" for key, item in value.items() if item is not None]
    return f"{{ {', '.join(pairs)} }}" if pairs else "{}"


def _key(key: str) -> str:
    if not isinstance(key, str):
        raise TypeError(f"a TOML key is a text, not {key!r}")
    return key if BARE_KEY.fullmatch(key) else _string(key)
