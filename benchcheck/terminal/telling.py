"""The check that would tell most now: what a diagnosis of the readings so far would have measured next."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.bench.model import Bench
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.errors import BenchcheckError
from benchcheck.readings.reading import Reading, Session
from benchcheck.spec.board import Board

__all__ = ["most_telling"]


def most_telling(board: Board, bench: Bench, readings: Sequence[Reading], session: Session) -> str:
    """Return the id of the check that tells most for its time, "" where none is worth it."""
    taken = {one.check for one in readings}
    try:
        found = diagnose(board, bench, readings, session)
    except BenchcheckError:
        return ""
    names = (one.check for one in found.suggestions)
    return next((name for name in names if name in board.by_id and name not in taken), "")
