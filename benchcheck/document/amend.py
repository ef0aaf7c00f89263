"""Edits to a TOML text that somebody wrote: what is named changes, comments and layout stay.

The edited text is parsed again and compared with the data it should hold, so a text the editing library cannot
follow is refused instead of quietly spoilt.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from typing import Any

from benchcheck.document.emit import toml_value
from benchcheck.document.files import BYTE_ORDER_MARK
from benchcheck.document.positions import KeyPath
from benchcheck.document.toml import parse_document
from benchcheck.errors import DocumentError

__all__ = ["amend"]


def amend(text: str, changes: Mapping[KeyPath, Any], name: str = "the file") -> str:
    """Return a TOML text with the values at the given key paths set, comments and layout kept.

    Tables missing on the way are made, mappings are written inline, and a value of None removes its key.
    DocumentError when the text is broken, a path leads through what is no table, or the edit does not take.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    wanted = parse_document(text, name).data
    try:
        document = tomlkit.parse(text.removeprefix(BYTE_ORDER_MARK))
        for path, value in changes.items():
            _set(wanted, path, copy.deepcopy(value), {}, name)
            _set(document, path, None if value is None else tomlkit.value(toml_value(value)), tomlkit.table(), name)
        edited = tomlkit.dumps(document)
        read = tomllib.loads(edited)
    except (TOMLKitError, tomllib.TOMLDecodeError, KeyError, ValueError, AttributeError) as reason:
        raise DocumentError(f"{name} cannot be edited in place ({reason}); write its tables out plainly") from reason
    if toml_value(_plain(read)) != toml_value(_plain(wanted)):
        raise DocumentError(f"{name} cannot be edited in place; write its tables out plainly")
    return edited


def _set(root: Any, path: KeyPath, value: Any, new_table: Any, name: str) -> None:
    """Set or remove one value in nested tables, plain or of the editing library."""
    table = root
    for depth, key in enumerate(path[:-1]):
        _refuse_dead_end(table, path, depth, name)
        if isinstance(table, dict) and key not in table:
            if value is None:
                return
            table[key] = copy.deepcopy(new_table)
        table = table[key]
    _refuse_dead_end(table, path, len(path) - 1, name)
    if value is not None:
        table[path[-1]] = value
    elif not isinstance(table, dict) or path[-1] in table:
        del table[path[-1]]


def _refuse_dead_end(table: Any, path: KeyPath, depth: int, name: str) -> None:
    """Raise where the path goes on through what holds nothing, or to a place a list does not have."""
    key, here = path[depth], ".".join(map(str, path[:depth]))
    if not isinstance(table, dict | list):
        raise DocumentError(f"{name}: {here} holds no table, so nothing can be set in it; name a table")
    if isinstance(table, list) and not (isinstance(key, int) and 0 <= key < len(table)):
        raise DocumentError(f"{name}: {here} has no place {key}; write 0 to {len(table) - 1}")


def _plain(value: Any) -> Any:
    """Return data with keys in order and None left out, so that two of them compare by their text."""
    if isinstance(value, Mapping):
        return {key: _plain(value[key]) for key in sorted(value) if value[key] is not None}
    return [*map(_plain, value)] if isinstance(value, list | tuple) else value
