"""From a group of structuring exceptions to the faults of a file: each with its line, its key and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import attrs
from cattrs.errors import (
    AttributeValidationNote,
    BaseValidationError,
    ForbiddenExtraKeysError,
    IterableValidationNote,
)

from benchcheck.bench.entries import RENAMED
from benchcheck.document import Document
from benchcheck.errors import BenchError, Fault, InputError, close_match

__all__ = ["Faults", "KeyPath", "key_text"]

KeyPath = tuple[str | int, ...]


def key_text(path: KeyPath) -> str:
    """Return a key path as messages show it.

    >>> key_text(("meter", "dmm", "range", 0, "accuracy"))
    'meter.dmm.range[0].accuracy'
    """
    text = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path)
    return text.removeprefix(".")


class Faults:
    """The faults of one document, collected while it is built, handed out in file order."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._found: list[tuple[KeyPath, str]] = []

    def add(self, path: KeyPath, message: str) -> None:
        """Keep one fault at a key path."""
        self._found.append((path, message))

    def take(self, error: BaseException, path: KeyPath) -> None:
        """Keep every fault of a structuring error that happened at a key path."""
        self._found += _walk(error, path)

    def raise_any(self) -> None:
        """Raise BenchError with every fault in file order; nothing when there is none."""
        found = sorted(self._found, key=lambda each: self._document.line(*each[0]) or 0)
        if found:
            where = self._document.where
            raise BenchError(Fault(where(*path), key_text(path), message) for path, message in found)


def _walk(error: BaseException, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    path += tuple(_steps(error))
    if isinstance(error, BaseValidationError):
        for inner in error.exceptions:
            yield from _walk(inner, path)
    elif isinstance(error, ForbiddenExtraKeysError):
        for name in sorted(error.extra_fields):
            yield (*path, name), _unknown(name, error.cl)
    elif isinstance(error, InputError):
        for fault in error.faults:
            yield path, fault.message
    elif isinstance(error, KeyError):
        yield path[:-1], f'the key "{path[-1]}" is missing; add it'
    else:
        yield path, f"cannot be used: {error}"


def _steps(error: BaseException) -> Iterator[str | int]:
    """Yield where an exception happened, from the notes cattrs leaves on it."""
    for note in getattr(error, "__notes__", ()):
        if isinstance(note, AttributeValidationNote):
            yield RENAMED.get(note.name, note.name)
        elif isinstance(note, IterableValidationNote):
            yield note.index


def _unknown(name: str, entry: Any) -> str:
    allowed = [RENAMED.get(field.name, field.name) for field in attrs.fields(entry)]
    return f"is not a key here; allowed are {', '.join(allowed)}{close_match(name, allowed)}"
