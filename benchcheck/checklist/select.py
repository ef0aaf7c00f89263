"""Picking checks by name: a check id, a part or rail, or the start of either (`--only D3,C9.esr`)."""

from __future__ import annotations

from benchcheck.errors import Fault, UsageError, close_match
from benchcheck.spec.board import Board

__all__ = ["select"]


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
            known = {check.subject for check in board.checks} | set(board.by_id)
            hint = close_match(word, known) or "; name a part, a rail or a check id"
            faults.append(Fault("--only", word, f"the board has nothing of that name to check{hint}"))
        chosen |= found
    if not chosen and not faults:
        faults.append(Fault("--only", "", f'"{wanted}" names nothing; write for example --only D3,C9'))
    if faults:
        raise UsageError(faults)
    return tuple(check.id for check in board.checks if check.id in chosen)


def _fits(word: str, identity: str) -> bool:
    return identity == word or identity.startswith((word + ".", word + "["))
