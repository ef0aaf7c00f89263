"""What came of a visit."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchcheck.score.model import Score
from benchcheck.session.exit_code import exit_code

__all__ = ["VisitResult", "interrupted"]


@dataclass(frozen=True, slots=True)
class VisitResult:
    """What came of a visit: the scores in checklist order and the exit code they add up to.

    `alarm` says why nobody knows whether power is off, "" where it is.
    """

    scores: tuple[Score, ...]
    exit_code: int
    interrupted: bool = False
    alarm: str = ""


def interrupted(result: VisitResult) -> VisitResult:
    """Return the result of a visit that was stopped after its last check: what it came to stands, exit code 130."""
    return replace(result, interrupted=True, exit_code=exit_code(result.scores, interrupted=True))
