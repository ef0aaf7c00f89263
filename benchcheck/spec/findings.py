"""The faults of one file, gathered until all of it has been seen, each with its line and key."""

from __future__ import annotations

import re

from benchcheck.document import Document
from benchcheck.errors import Fault
from benchcheck.quantity.units import shown
from benchcheck.spec.words import Path, Wrong

__all__ = ["Findings", "key_text"]

_BARE = re.compile(r"[A-Za-z0-9_-]{1,40}")


def key_text(path: Path) -> str:
    """Return a path of keys as it is written in TOML; tables in a list are counted from 1.

    >>> key_text(("part", "R1.4", "tolerance")), key_text(("isolation", 0, "min"))
    ('part."R1.4".tolerance', 'isolation[1].min')
    """
    words = ""
    for step in path:
        if isinstance(step, int):
            words += f"[{step + 1}]"
        else:
            plain = _BARE.fullmatch(step) is not None
            words += ("." if words else "") + (step if plain else shown(step))
    return words


class Findings:
    """What was found wrong in a document, in no order until asked."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._found: dict[Fault, int] = {}

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, message: str, *path: str | int) -> None:
        """Keep one fault of the key at a path; a key that is not there stands at its nearest ancestor."""
        fault = Fault(self._document.where(*path), key_text(path), message)
        self._found.setdefault(fault, self.line(*path))

    def line(self, *path: str | int) -> int:
        """Return the line of a key path or of its nearest ancestor, 0 where neither has one."""
        return self._document.line(*path) or 0

    def take(self, error: Wrong, *path: str | int) -> None:
        """Keep everything found wrong with the value at a path."""
        for below, message in error.findings:
            self.add(message, *path, *below)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault once, in file order."""
        return tuple(sorted(self._found, key=lambda fault: self._found[fault]))
