"""TOML in, with the line of every key: what a file said, and where each word of it stood.

The text is kept as the bytes were, byte-order mark and line ends included, so that its digest is the file's.
"""

from __future__ import annotations

import functools
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchcheck.document.complaint import broken_toml
from benchcheck.document.files import (
    BYTE_ORDER_MARK,
    SIZE_LIMIT_BYTES,
    decode,
    digest_of,
    printable,
    read_bytes_capped,
)
from benchcheck.document.positions import KeyPath, key_lines, tokens
from benchcheck.errors import DocumentError, Fault, InputError

__all__ = ["Document", "parse_document", "read_document"]

#: our formats nest five deep; beyond this a file is a mistake, or made to exhaust the stack.
DEEPEST = 32
LONG_NUMBER = "holds a number of more than 4300 digits; write fewer"
#: what could be a key of too many parts, or a number of more digits than Python takes; both occur in texts too.
SUSPECT = re.compile(r"""(?:\.[ \t]*[\w"'-][^.\n]*){32}|(?<![0-9_])[0-9_]{4301}""", re.ASCII)


@dataclass(frozen=True)  # without slots: the line map is made when a message first needs it, and kept
class Document:
    """A TOML text that parsed: `name` as messages show it, `digest` the SHA-256 of its UTF-8 bytes."""

    name: str
    text: str
    data: dict[str, Any] = field(hash=False)
    digest: str

    @functools.cached_property
    def _lines(self) -> dict[KeyPath, int]:
        return key_lines(self.text.removeprefix(BYTE_ORDER_MARK))

    def line(self, *keypath: str | int) -> int | None:
        """Return the line, from 1, of a key path or of its nearest ancestor that is there; else None.

        The path goes by keys and by places in arrays: `line("isolation", 0, "min")`.
        """
        paths = (keypath[:depth] for depth in range(len(keypath), 0, -1))
        return next((self._lines[path] for path in paths if path in self._lines), None)

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
    """Return the TOML file at a path; `error` says where and why it cannot be used.

    `name` is what messages call the file, its path by default.
    """
    shown_name = name or str(path)
    data = read_bytes_capped(path, size_limit_bytes, error=error, name=shown_name)
    return parse_document(decode(data, shown_name, error), shown_name, error=error)


def parse_document(text: str, name: str, *, error: type[InputError] = DocumentError) -> Document:
    """Return a TOML text as a document called `name`; `error` for broken TOML, with line and column."""
    plain = text.removeprefix(BYTE_ORDER_MARK)
    _refuse_costly(plain, name, error)
    try:
        digest = digest_of(text)
        data = tomllib.loads(plain)
    except tomllib.TOMLDecodeError as reason:
        raise error(broken_toml(plain, name, str(reason))) from reason
    except UnicodeEncodeError as reason:
        line = text.count("\n", 0, reason.start) + 1
        words = "holds a sign that is no character of Unicode; remove it"
        raise error(Fault(f"{printable(name)}:{line}", "", words)) from reason
    except RecursionError as reason:
        raise error(_too_deep(name)) from reason
    if _deeper_than(data, DEEPEST):
        raise error(_too_deep(name))
    return Document(printable(name), text, data, digest)


def _refuse_costly(text: str, name: str, error: type[InputError]) -> None:
    """Raise for what tomllib would work on for minutes (its time is quadratic in the parts of a key), or
    stumble over in words of its own."""
    if not SUSPECT.search(text):
        return
    parts, previous = 0, ""
    for token in tokens(text):
        joined = token.text == "." or previous == "."
        parts = parts + (token.text == ".") if joined else 0
        long_number = token.kind == "bare" and sum(map(str.isdigit, token.text)) > 4300
        if parts >= DEEPEST or long_number:
            words = f"joins more than {DEEPEST} keys by dots; write [tables]" if parts else LONG_NUMBER
            raise error(Fault(f"{printable(name)}:{token.line}", "", words))
        previous = token.text


def _too_deep(name: str) -> Fault:
    return Fault(printable(name), "", f"nests more than {DEEPEST} levels deep; write [tables] side by side")


def _deeper_than(data: dict[str, Any], levels: int) -> bool:
    """Return whether tables and arrays nest deeper than so many levels; iterative, so depth cannot hurt."""
    containers: list[Any] = [data]
    for _ in range(levels):
        inner = (item.values() if isinstance(item, dict) else item for item in containers)
        containers = [child for items in inner for child in items if isinstance(child, dict | list)]
        if not containers:
            return False
    return True
