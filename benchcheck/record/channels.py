"""Parts of a board that stand for one another: the left and the right channel, built alike.

Two channels of one board are two values and still one board: what differs from board to board, they share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from benchcheck.errors import Fault, UsageError, close_match
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = ["twin_id", "twins_of"]

_WHERE = "--channel"


def twins_of(board: Board, channels: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Return each part's twin, both ways.

    Raises UsageError, every fault at once, for a part that is not on the board, is given twice, or is not built like
    the other: of another kind or value, or without a check in common.
    """
    faults = [*_unknown(board, channels), *_given_twice(channels)]
    if not faults:
        faults += [
            Fault(_WHERE, f"{one} {two}", words) for one, two in channels if (words := _unlike(board, one, two))
        ]
    if faults:
        raise UsageError(faults)
    return {**dict(channels), **{right: left for left, right in channels}}


def twin_id(check: Check, twins: dict[str, str]) -> str:
    """Return the id of the same check of the other channel, "" where the part has no twin."""
    twin = twins.get(check.subject)
    return twin + check.id.removeprefix(check.subject) if twin else ""


def _unknown(board: Board, channels: Sequence[tuple[str, str]]) -> Iterable[Fault]:
    for name in dict.fromkeys(name for pair in channels for name in pair if name not in board.parts):
        hint = close_match(name, board.parts) or "; name one"
        yield Fault(_WHERE, name, f"the board has no such part{hint}")


def _given_twice(channels: Sequence[tuple[str, str]]) -> Iterable[Fault]:
    for name, times in Counter(name for pair in channels for name in pair).items():
        if times > 1:
            yield Fault(_WHERE, name, f"is given {times} times; a part has one twin, and is not its own")


def _unlike(board: Board, one: str, two: str) -> str:
    """Return why two parts are no channels of each other, "" where they may be."""
    first, second = board.parts[one], board.parts[two]
    if first.kind != second.kind:
        return f"are of kinds {first.kind} and {second.kind}; channels are built alike"
    if getattr(first, "value", None) != getattr(second, "value", None):
        return f"are of values {first.value} and {second.value}; channels are built alike"  # type: ignore[attr-defined]
    checks = [{check.id.removeprefix(name) for check in board.checks if check.subject == name} for name in (one, two)]
    return (
        "" if checks[0] & checks[1] else "have no check in common; there is nothing to learn from one for the other"
    )
