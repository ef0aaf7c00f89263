"""Volts near zero under power: what a meter also shows with its tips in the air, so they are never plainly believed.

Where such a reading is wanted it decides nothing, since zero says not which way round a part lies. Where it is not,
or of alternating volts, the score says that the tips may have been off. Nothing is in doubt where direct volts at the
same clips were seen just before, as the reading's note then says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import CLIPS_SEEN, Reading
from benchcheck.score.model import Reason, Score
from benchcheck.score.words import joined, shown

__all__ = ["with_open_leads"]

#: what tips in the air read at most on direct volts (common practice, no source), as capture has it.
_OPEN_VOLT = 0.02
_SEE = "see that both tips are on their points and the supply is up"
_INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)


def with_open_leads(check: Check, readings: Sequence[Reading], score: Score) -> Score:
    """Return the score of readings under power, in doubt where tips in the air would show the same."""
    if not check.powered or not all(_as_open(check, one) for one in readings):
        return score
    value = readings[-1].display.value or 0.0
    as_open = f"{shown(check, value)} is also what tips in the air show"
    if check.function is Function.AC_VOLTAGE:
        if score.verdict not in _INSIDE:
            return score
        return replace(score, because=as_open, change=f"{_SEE}: direct volts at the same points would show it")
    if _wanted_near_zero(check):
        nothing = f"{as_open}, and says nothing of which way round {check.subject} lies"
        again = f"{_SEE}, then read again"
        return replace(score, verdict=Verdict.UNDECIDED, code=Reason.CONTACT, because=nothing, change=again)
    again = f"{score.change[:1].upper()}{score.change[1:]}"
    return replace(score, because=f"{score.because}; tips in the air show the same", change=joined(_SEE, again))


def _wanted_near_zero(check: Check) -> bool:
    lower, upper = check.limits.lower, check.limits.upper
    return (lower is None or lower <= _OPEN_VOLT) and (upper is None or upper >= -_OPEN_VOLT)


def _as_open(check: Check, reading: Reading) -> bool:
    """Whether a reading is what tips in the air show: some millivolt direct, nothing at all alternating."""
    value = reading.display.value
    if value is None or CLIPS_SEEN in reading.note:
        return False
    if check.function is Function.AC_VOLTAGE:
        return value == 0.0
    return check.function is Function.DC_VOLTAGE and abs(value) <= _OPEN_VOLT
