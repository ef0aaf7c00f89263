"""Dialects as they are handed over: a name and a table of commands, plain data that also reaches the power keeper.

The tables that come with benchcheck and those of plugins are alike; `Catalogue` makes dialects of them.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from importlib import resources
from typing import Any

from benchcheck.document import parse_document
from benchcheck.errors import BenchError, Fault

__all__ = ["DialectTable", "dialect_tables", "shipped_tables", "table_faults"]


@dataclass(frozen=True, slots=True)
class DialectTable:
    """One dialect: what it says differently from `generic`, in the words of a dialect file.

    `table` holds `match` and the tables `link`, `dmm`, `psu` and `load`; `where` is how messages name its file.

    >>> DialectTable("tarn-40", {"match": "TARN,40", "dmm": {"r2w": "RES?"}}).name
    'tarn-40'
    """

    name: str
    table: Mapping[str, Any] = field(default_factory=dict)
    where: str = ""


def dialect_tables(text: str, where: str) -> tuple[DialectTable, ...]:
    """Return the dialects of a TOML text, each `[name]` or `[name.dmm]`; DocumentError when it is none.

    >>> [one.name for one in dialect_tables('[tarn.dmm]\\nr2w = "RES?"', "tarn.toml")]
    ['tarn']
    """
    document = parse_document(text, where)
    faults = [
        Fault(document.where(name), name, "must be a table: [name] with link, dmm, psu or load")
        for name, table in document.data.items()
        if not isinstance(table, Mapping)
    ]
    if faults:
        raise BenchError(faults)
    return tuple(DialectTable(name, table, where) for name, table in document.data.items())


@functools.cache
def shipped_tables() -> tuple[DialectTable, ...]:
    """Return the dialects that come with benchcheck, `generic` first."""
    source = resources.files("benchcheck.instruments") / "dialects.toml"
    tables = dialect_tables(source.read_text(encoding="utf-8"), "dialects.toml")
    return tuple(sorted(tables, key=lambda one: one.name != "generic"))


def table_faults(one: DialectTable) -> Iterator[str]:
    """Yield in words what keeps a table from being a dialect: keys nobody knows, values of the wrong type."""
    from benchcheck.instruments.dialect import build_dialect

    table: Any = one.table
    if not isinstance(table, Mapping):
        yield "its table is no mapping; write what stands under its name in a dialect file"
        return
    try:
        build_dialect(one.name, table, where=one.where)
    except BenchError as error:
        yield from map(str, error.faults)
    try:
        json.dumps(_plain(table), allow_nan=False)
    except (TypeError, ValueError) as error:
        yield f"its table is not plain data ({error}); the power keeper is another process and gets it as JSON"


def _plain(value: Any) -> Any:
    return {key: _plain(item) for key, item in value.items()} if isinstance(value, Mapping) else value
