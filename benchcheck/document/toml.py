"""TOML in, with the line of every key: what a spec, a bench file or a record was, and where each word of it stood.

The text is kept as the bytes were, byte-order mark and line ends included, so that its digest is the file's.
"""

from __future__ import annotations

import functools
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchcheck.document.files import BYTE_ORDER_MARK, SIZE_LIMIT_BYTES, decode, digest_of, read_bytes_capped
from benchcheck.document.positions import KeyPath, key_lines
from benchcheck.errors import DocumentError, Fault, InputError

__all__ = ["Document", "parse_document", "read_document"]

PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


@dataclass(frozen=True)  # without slots: the line map is made when a message first needs it, and kept
class Document:
    """A TOML text that parsed: `name` as messages show it, `digest` the SHA-256 of its UTF-8 bytes."""

    name: str
    text: str
    data: dict[str, Any]
    digest: str

    @functools.cached_property
    def _lines(self) -> dict[KeyPath, int]:
        return key_lines(self.text.removeprefix(BYTE_ORDER_MARK))

    def line(self, *keypath: str | int) -> int | None:
        """Return the line, from 1, of a key path or of its nearest ancestor that is there; else None.

        The path goes by keys and by places in arrays: `line("isolation", 0, "min")`.
        """
        for depth in range(len(keypath), 0, -1):
            line = self._lines.get(keypath[:depth])
            if line is not None:
                return line
        return None

    def where(self, *keypath: str | int) -> str:
        """Return "specs/x.toml:14" for a key path, the bare name where no line belongs to it."""
        line = self.line(*keypath)
        return self.name if line is None else f"{self.name}:{line}"


def read_document(
    path: Path,
    *,
    error: type[InputError] = DocumentError,
    size_limit_bytes: int = SIZE_LIMIT_BYTES,
    name: str | None = None,
) -> Document:
    """Return the TOML file at a path; `error` says where and why it cannot be used."""
    shown_name = name or str(path)
    data = read_bytes_capped(path, size_limit_bytes, error=error, name=shown_name)
    return parse_document(decode(data, shown_name, error), shown_name, error=error)


def parse_document(text: str, name: str, *, error: type[InputError] = DocumentError) -> Document:
    """Return a TOML text as a document called `name`; `error` for broken TOML, with line and column."""
    try:
        data = tomllib.loads(text.removeprefix(BYTE_ORDER_MARK))
    except tomllib.TOMLDecodeError as reason:
        raise error(_fault(text.removeprefix(BYTE_ORDER_MARK), name, str(reason))) from reason
    except RecursionError as reason:
        raise error(Fault(name, "", "nests its brackets too deeply; write tables instead")) from reason
    except ValueError as reason:  # a number of thousands of digits
        raise error(Fault(name, "", f"holds a value that cannot be read: {reason}")) from reason
    return Document(name, text, data, digest_of(text))


def _fault(text: str, name: str, reason: str) -> Fault:
    """Return the parser's complaint with its place in front and the line it stumbled over behind."""
    place = PLACE.search(reason)
    complaint = PLACE.sub("", reason)
    lines = text.rstrip("\n").split("\n")
    if place is None or place[1] is None:
        return Fault(f"{name}:{len(lines)}", "", f"broken TOML: {complaint} at the end of the file; finish it")
    number = int(place[1])
    found = lines[number - 1].strip() if number <= len(lines) else ""
    return Fault(f"{name}:{number}:{place[2]}", "", f"broken TOML: {complaint}; found {found[:60]!r}")
