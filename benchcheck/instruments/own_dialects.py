"""Dialects of the user's own: a TOML file beside the bench file, named by a link.

A table with `link`, `dmm`, `psu` or `load` is an override of `generic`, as in the shipped dialects; one with `lines`
is the line protocol of a handheld that streams its readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchcheck.bench.meter import Link
from benchcheck.document import Document, read_document
from benchcheck.errors import BenchError, Fault, close_match
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.line_protocol import LineProtocol, build_line_protocol

__all__ = ["LINES", "command_tables", "line_protocol"]

#: the word for a meter that streams its readings as lines: a dialect in a bench file, a table in a dialect file.
LINES = "lines"


def command_tables(link: Link) -> Mapping[str, Any]:
    """Return the dialects of commands in a link's own file, by name; BenchError with the line of every fault."""
    if not link.dialect_file:
        return {}
    document = _read(link)
    tables = {name: table for name, table in document.data.items() if not _is_stream(table)}
    shipped_catalogue().with_document(document, tables)
    if link.dialect and link.dialect not in document.data:
        raise BenchError(_not_there(link, document))
    return tables


def line_protocol(link: Link) -> LineProtocol | None:
    """Return how a streaming meter writes its readings, None where a link is to one that takes commands.

    BenchError with the line of every fault of its own file.
    """
    if link.dialect == LINES and not link.dialect_file:
        return LineProtocol()
    if not link.dialect_file or not link.dialect:
        return None
    document = _read(link)
    if link.dialect not in document.data:
        raise BenchError(_not_there(link, document))
    table = document.data[link.dialect]
    if not _is_stream(table):
        return None
    name = f"{link.dialect}.{LINES}"
    faults = [
        Fault(document.where(link.dialect, key), f"{link.dialect}.{key}", f"does not go with {LINES}; take it out")
        for key in table
        if key != LINES
    ]
    try:
        protocol = build_line_protocol(name, table[LINES])
    except BenchError as reason:
        faults += [Fault(document.where(*one.key.split(".")), one.key, one.message) for one in reason.faults]
    if faults:
        raise BenchError(faults)
    return protocol


def _read(link: Link) -> Document:
    return read_document(Path(link.dialect_file), error=BenchError)


def _is_stream(table: object) -> bool:
    return isinstance(table, Mapping) and LINES in table


def _not_there(link: Link, document: Document) -> Fault:
    known = ", ".join(document.data) or "none"
    near = close_match(link.dialect, document.data)
    return Fault(
        document.name, link.dialect, f"is the dialect of a link and not in this file; there are {known}{near}"
    )
