"""Learned limits written into a spec: values change, the user's comments, order and layout stay.

Each limit gets a comment that says where it came from and a `reason` that says it in the report. A limit the
spec has no key for, or that stands for several checks at once, is named and not written.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from benchcheck.document import amend, parse_document
from benchcheck.errors import Fault, SpecError
from benchcheck.quantity import format_value
from benchcheck.record.limits import LearnedLimit, LearnedLimits
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

__all__ = ["AmendedSpec", "with_limits"]

_DIGITS = 4
_Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class AmendedSpec:
    """The new spec's text, the limits it now has, and in words which could not be written."""

    text: str
    written: tuple[LearnedLimit, ...]
    remarks: tuple[str, ...]


def with_limits(board: Board, learned: LearnedLimits) -> AmendedSpec:
    """Return the board's spec with the learned limits in it, checked to be a spec again.

    Raises SpecError where it is none, DocumentError where the text cannot be edited in place.
    """
    remarks = list(learned.remarks)
    limits, data = _writable(board, learned.limits, remarks), parse_document(board.source, board.name).data
    changes = {path: _key_value(limit, _so_far(data, path)) for path, limit in limits.items()}
    while changes:
        text = amend(board.source, changes, board.name)
        refused = _refused(text, board, changes)
        if not refused:
            return AmendedSpec(_commented(text, board.name, limits), tuple(limits.values()), tuple(remarks))
        for path in refused:
            remarks.append(f"{limits.pop(path).check}: the spec takes no limit here; not written")
            del changes[path]
    return AmendedSpec(board.source, (), tuple(remarks))


def _writable(board: Board, limits: tuple[LearnedLimit, ...], remarks: list[str]) -> dict[_Path, LearnedLimit]:
    """Return the limits by the key path that holds them; those that share a key are named and left out."""
    paths = [(_path(board, limit), limit) for limit in limits]
    shared = Counter(path for path, _ in paths)
    writable: dict[_Path, LearnedLimit] = {}
    for path, limit in paths:
        if path is None:
            remarks.append(f"{limit.check}: the spec has no key for it; not written")
        elif shared[path] > 1:
            remarks.append(f"{limit.check}: {'.'.join(map(str, path))} holds for several checks; not written")
        else:
            writable[path] = limit
    return writable


def _path(board: Board, limit: LearnedLimit) -> _Path | None:
    check = board.by_id[limit.check]
    for section, entries in (("part", board.parts), ("rail", board.rails), ("supply", board.supplies)):
        if check.subject in entries:
            return (section, check.subject, check.measurand)
    return None


def _so_far(data: Mapping[str, object], path: _Path) -> Mapping[str, object]:
    """Return the limit's table as it stands, {} where there is none."""
    found: object = data
    for key in path:
        found = found.get(str(key)) if isinstance(found, Mapping) else None
    return found if isinstance(found, Mapping) else {}


def _key_value(limit: LearnedLimit, so_far: Mapping[str, object]) -> dict[str, object]:
    """Return the new limit; what else the table held (switches, a bandwidth) stays."""
    sides = {
        name: None if value is None else format_value(value, limit.quantity_unit, digits=_DIGITS, ascii=True)
        for name, value in (("min", limit.lower), ("max", limit.upper))
    }
    return {**so_far, **sides, "reason": limit.origin}


def _refused(text: str, board: Board, changes: Mapping[_Path, object]) -> list[_Path]:
    """Return the paths the spec's loader will not take; raises SpecError for faults of another place."""
    try:
        load_board(parse_document(text, board.name), board.kinds.values())
    except SpecError as error:
        refused = [path for path in changes if any(_is_about(fault, path) for fault in error.faults)]
        if not refused:
            raise
        return refused
    return []


def _is_about(fault: Fault, path: _Path) -> bool:
    key = ".".join(map(str, path))
    return fault.key == key or fault.key.startswith(f"{key}.")


def _commented(text: str, name: str, limits: Mapping[_Path, LearnedLimit]) -> str:
    """Return the text with a comment above each limit; comments change no data."""
    document = parse_document(text, name)
    lines = text.split("\n")
    places = {document.line(*path): limit for path, limit in limits.items()}
    for line, limit in sorted(((line, limit) for line, limit in places.items() if line), key=lambda pair: -pair[0]):
        units = ", ".join(limit.units) if len(limit.units) <= 5 else f"{len(limit.units)} units"
        words = (
            f"# learned: mean {format_value(limit.mean, limit.quantity_unit, digits=_DIGITS)}, from {_plain(units)}"
        )
        lines.insert(line - 1, words)
    commented = "\n".join(lines)
    return commented if parse_document(commented, name).data == document.data else text


def _plain(text: str) -> str:
    """A comment is one line without control characters, whatever a unit's label holds."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
