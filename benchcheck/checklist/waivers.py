"""A waiver: one check set aside before power, by name, with a written reason, kept in the record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchcheck.errors import Fault, UsageError, close_match
from benchcheck.kinds.between import NOT_OF_A_VISIT, is_between

if TYPE_CHECKING:
    from benchcheck.spec.board import Board

__all__ = ["Waiver", "waivers_for"]


@dataclass(frozen=True, slots=True)
class Waiver:
    """`check` need not be in order before power is applied, for the `reason` somebody wrote down."""

    check: str
    reason: str


def waivers_for(board: Board, given: Iterable[tuple[str, str]]) -> tuple[Waiver, ...]:
    """Return the waivers for pairs of check id and reason.

    Raises UsageError naming every pair whose check the board does not have, whose reason says nothing, or
    that waives the same check twice.
    """
    faults: list[Fault] = []
    waivers: dict[str, Waiver] = {}
    for check, reason in given:
        if check not in board.by_id:
            hint = close_match(check, board.by_id) or "; check-spec lists the board's checks"
            missing = NOT_OF_A_VISIT if is_between(check) else "the board has no such check"
            faults.append(Fault("--waive", check, missing + hint))
        elif len(reason.split()) < 2:
            faults.append(Fault("--waive", check, f'"{reason}" is not a reason; write a sentence'))
        elif check in waivers:
            faults.append(Fault("--waive", check, "is waived twice; give one reason"))
        else:
            waivers[check] = Waiver(check, reason.strip())
    if faults:
        raise UsageError(faults)
    return tuple(waivers.values())
