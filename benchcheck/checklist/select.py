"""Picking checks by name: a check id, a part or rail, or the start of either (`--only D3,C9.esr`)."""

from __future__ import annotations

from benchcheck.errors import Fault, UsageError, close_match
from benchcheck.kinds.between import NOT_OF_A_VISIT, is_between
from benchcheck.spec.board import Board

__all__ = ["select"]

_SHOWN = 8


def select(board: Board, wanted: str) -> tuple[str, ...]:
    """Return the ids of the checks named in a comma-separated list, in board order.

    A word is a check id (`R14.resistance`), a subject (`D3`, `VSW`, `isolation`) or an id without its
    bracket (`VSW.to_ground`), in any case. Raises UsageError naming every word that fits nothing.
    """
    chosen: set[str] = set()
    faults: list[Fault] = []
    for word in filter(None, (part.strip() for part in wanted.split(","))):
        found = {check.id for check in board.checks if _fits(word.casefold(), check.id.casefold())}
        if not found:
            faults.append(Fault("--only", word, _absent(board, word)))
        chosen |= found
    if not chosen and not faults:
        faults.append(Fault("--only", "", f'"{wanted}" names nothing; write for example --only D3,C9'))
    if faults:
        raise UsageError(faults)
    return tuple(check.id for check in board.checks if check.id in chosen)


def _absent(board: Board, word: str) -> str:
    """Return why nothing is found by a word: it is withheld where power is forbidden, or not there at all."""
    if any(_fits(word.casefold(), identity.casefold()) for identity in board.withheld):
        return f"needs power, and this board gets none: {'; '.join(board.power_refusals)}"
    if is_between(word):
        return f"{NOT_OF_A_VISIT}; check-spec lists the board's checks"
    return f"the board has nothing of that name to check{_hint(board, word)}"


def _hint(board: Board, word: str) -> str:
    subjects = list(dict.fromkeys(check.subject for check in board.checks))
    near = close_match(word, {*subjects, *board.by_id})
    if near:
        return near
    alike = [subject for subject in subjects if subject[0].casefold() == word[0].casefold()] or subjects
    shown = ", ".join(alike[:_SHOWN]) + (", ..." if len(alike) > _SHOWN else "")
    return f"; there are {shown}" if alike else "; its spec gives no checks"


def _fits(word: str, identity: str) -> bool:
    return identity == word or identity.startswith((word + ".", word + "["))
