"""From the accepted readings of one check to its score; what a reading is decides which way it goes.

Numbers go through a budget, overload and beeps bound the value, words answer visual checks, and jumps, climbs
without an end and contradictions decide nothing, with the reason why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Conformity, Verdict
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.conclude import assessed, conclude
from benchcheck.score.derived import derive
from benchcheck.score.finding import Finding
from benchcheck.score.measured import Measured
from benchcheck.score.model import Outcome, Reason, Score
from benchcheck.score.open_leads import with_open_leads
from benchcheck.score.seen import seen
from benchcheck.score.surroundings import Solver

__all__ = ["blocked", "erroneous", "judge", "judge_derived", "skipped"]

#: an own value below this share of the reading is none: no part reads so, and rounding decides what is found.
_DEGENERATE = 1e-3
_ABSENT = {
    DisplayState.NOT_REACHABLE: "the point cannot be reached",
    DisplayState.NOT_PRESENT: "not present on this unit",
}


def skipped(check: Check, reason: str) -> Score:
    """Return the score of a check nobody answered; it counts as unproven."""
    return _unmeasured(check, Outcome.SKIPPED, reason, "read it")


def blocked(check: Check, reason: str) -> Score:
    """Return the score of a check that must not be taken yet; `reason` says what stands in the way."""
    return _unmeasured(check, Outcome.BLOCKED, reason, "clear what stands in the way")


def erroneous(check: Check, reason: str) -> Score:
    """Return the score of a check an instrument failed on: nothing is known of it, so it is never a fail."""
    return _unmeasured(check, Outcome.ERROR, reason, "put the instrument right, then read again")


def judge(
    check: Check,
    readings: Sequence[Reading],
    bench: Bench,
    session: Session,
    *,
    surroundings: Solver | None = None,
) -> Score:
    """Return the score of a check from its accepted readings, several touch-downs allowed.

    `surroundings` turns a reading into the part's own value where the circuit around it can be solved; None
    leaves the evidence as the check states it.
    """
    if not readings:
        return skipped(check, "no reading given")
    for reading in readings:
        reason = _ABSENT.get(reading.display.state)
        if reason is not None:
            return _unmeasured(check, Outcome.SKIPPED, reason, "read it", readings)
    found = seen(check, readings, bench, session)
    if isinstance(found, Finding):
        return _score(check, readings, found)
    return with_open_leads(check, readings, _judged(check, readings, found, bench, surroundings))


def judge_derived(
    check: Check,
    sources: Mapping[str, Sequence[Reading]],
    bench: Bench,
    session: Session,
    by_id: Mapping[str, Check],
    *,
    surroundings: Solver | None = None,
) -> Score:
    """Return the score of a check computed from the readings of its sources (check id -> readings).

    `by_id` holds at least the source checks. A source without readings leaves the check skipped. `surroundings` says
    what the circuit around a junction makes of its drop.
    """
    missing = [name for name in check.sources if not sources.get(name) or name not in by_id]
    if missing:
        return _unmeasured(check, Outcome.SKIPPED, f"needs a reading of {', '.join(missing)}", "read it")
    used = [reading for name in check.sources for reading in sources[name]]
    found = derive(check, sources, bench, session, by_id, surroundings)
    if isinstance(found, Finding):
        return _score(check, used, found)
    return _judged(check, used, found, bench, None)


def _judged(
    check: Check, readings: Sequence[Reading], measured: Measured, bench: Bench, solver: Solver | None
) -> Score:
    """Score a measured value by the bench's decision rule, through the circuit around it if that is solved."""
    around = solver(check, measured.budget) if solver is not None else None
    if around is None:
        conformity = assessed(check, measured.budget, bench.decision)
        finding = conclude(check, measured.budget, conformity, check.evidence)
        return _score(check, readings, finding, measured, conformity)
    found = around.budget if around.budget.value > _DEGENERATE * measured.budget.value else measured.budget
    own = Measured(found, measured.meter, measured.range)
    conformity = assessed(check, own.budget, bench.decision)
    finding = conclude(check, own.budget, conformity, Evidence.DIRECT if around.complete else check.evidence)
    reviewed = around.reviewed(check, finding)
    if reviewed.verdict is Verdict.FAIL and finding.verdict is not Verdict.FAIL:
        return _score(check, readings, reviewed)  # by a fault that leaves the part no value of its own
    says_nothing = own.budget.combined_standard_uncertainty >= abs(own.budget.value)
    discredited = finding.verdict is Verdict.FAIL and reviewed.verdict is Verdict.UNDECIDED
    if discredited or (around.masked and says_nothing):
        return _score(check, readings, reviewed, measured)  # a number that says nothing: what was read stands there
    return _score(check, readings, reviewed, own, conformity)


def _score(
    check: Check,
    readings: Sequence[Reading],
    finding: Finding,
    measured: Measured | None = None,
    conformity: Conformity | None = None,
) -> Score:
    last, limits = readings[-1], check.limits
    meter = measured.meter.name if measured is not None and measured.meter is not None else last.meter
    return Score(
        check=check.id,
        outcome=Outcome.MEASURED,
        quantity_unit=check.quantity_unit,
        verdict=finding.verdict,
        code=finding.code,
        display=_displays(readings),
        value=measured.budget.value if measured is not None else None,
        expanded_uncertainty=conformity.expanded_uncertainty if conformity is not None else None,
        coverage_factor=conformity.coverage_factor if conformity is not None else None,
        lower=limits.lower,
        upper=limits.upper,
        limit_origin=limits.origin,
        guard_band=conformity.guard_band if conformity is not None else None,
        conformance_probability=_probability(finding, conformity),
        polarity=last.polarity or _polarity(check),
        meter=meter,
        attempts=_attempts(readings),
        because=finding.because,
        change=finding.change,
        budget=measured.budget if measured is not None else None,
    )


def _probability(finding: Finding, conformity: Conformity | None) -> float | None:
    """Return the probability that the thing conforms; None where the reading does not speak for the thing."""
    silent = finding.code in (Reason.ONE_SIDED, Reason.METHOD)
    return None if conformity is None or silent else conformity.conformance_probability


def _unmeasured(check: Check, outcome: Outcome, reason: str, change: str, readings: Sequence[Reading] = ()) -> Score:
    return Score(
        check=check.id,
        outcome=outcome,
        quantity_unit=check.quantity_unit,
        display=_displays(readings),
        lower=check.limits.lower,
        upper=check.limits.upper,
        limit_origin=check.limits.origin,
        polarity=_polarity(check),
        attempts=_attempts(readings),
        because=reason,
        change=change,
    )


def _displays(readings: Sequence[Reading]) -> str:
    return ", ".join(reading.display.text for reading in readings)


def _attempts(readings: Sequence[Reading]) -> int:
    return sum(1 + len(reading.retries) for reading in readings)


def _polarity(check: Check) -> str:
    return check.bracket if check.bracket.startswith("red:") else ""
