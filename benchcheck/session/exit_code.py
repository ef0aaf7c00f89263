"""One number for the whole visit; where several apply, the gravest for whoever must act on it."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.score.model import Outcome, Score, Verdict

__all__ = ["FAILED", "INTERRUPTED", "OUTPUT_UNKNOWN", "PASSED", "exit_code"]

INTERRUPTED = 130
OUTPUT_UNKNOWN = 5
FAILED = frozenset({Verdict.FAIL, Verdict.CONDITIONAL_FAIL})
PASSED = frozenset({Verdict.PASS, Verdict.CONDITIONAL_PASS})


def exit_code(scores: Iterable[Score], *, interrupted: bool = False, alarm: bool = False) -> int:
    """Return 5 output state unknown, 130 interrupted, 4 instrument trouble, 1 failed, 3 undecided, 0 all passed.

    3 also stands for skipped and blocked. Usage errors (2) never get as far as scores; they come as exceptions.
    """
    scores = tuple(scores)
    if alarm:
        return OUTPUT_UNKNOWN
    if interrupted:
        return INTERRUPTED
    if any(score.outcome is Outcome.ERROR for score in scores):
        return 4
    if any(score.verdict in FAILED for score in scores):
        return 1
    if any(score.verdict not in PASSED for score in scores):
        return 3
    return 0
