"""What a reading comes to before it is a score: a verdict, or the reason why there is none, in plain words."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.metrology import Verdict
from benchcheck.score.model import Reason

__all__ = ["Finding", "undecided"]


@dataclass(frozen=True, slots=True)
class Finding:
    """A verdict with its reason code where undecided, why it came to that, and what would change it."""

    verdict: Verdict
    code: Reason | None = None
    because: str = ""
    change: str = ""


def undecided(code: Reason, because: str, change: str) -> Finding:
    """Return the finding that nothing is decided, for this reason."""
    return Finding(Verdict.UNDECIDED, code, because, change)
