"""Readings that are no number still bound the value: overload, a beep, no beep. Each gives a span.

A span lying whole inside the limits passes, whole outside fails, anything else decides nothing. What other
paths can do to the reading opens one end of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Verdict
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.model import Reason
from benchcheck.score.words import joined, lifted, limits_words, shown

__all__ = ["Span", "from_beep", "from_overload", "judge_span"]


@dataclass(frozen=True, slots=True)
class Span:
    """Where the value surely lies, strictly between the ends; `words` say how that is known.

    `code` and `change` are for the case that the span decides nothing, `again` for that of a fail.
    """

    lower: float
    upper: float
    words: str
    code: Reason
    change: str
    again: str


#: what else shows overload, by function.
_HINTS = {Function.CAPACITANCE: ", but a short or a leak shows it too: read ohms across it"}


def from_overload(check: Check, chosen: MeterRange, meter: str, ambient_c: float) -> Span:
    """Return the span of an overload on this range: more than full scale or compliance safely is."""
    least = chosen.overload_proves(ambient_c)
    source = chosen.compliance_v is not None and (
        chosen.overload_from < chosen.ceiling or chosen.function is Function.DIODE
    )
    limit = f"{chosen.compliance_v:g} V compliance" if source else f"range {chosen.name}"
    words = f"overload on {meter} ({limit}) says more than {shown(check, least)}{_HINTS.get(check.function, '')}"
    code = Reason.COMPLIANCE if source else Reason.METER
    change = f"a meter that shows beyond {shown(check, _farthest(check))}"
    if source and chosen.function is Function.DIODE:
        change = f"a meter with a test voltage well above {shown(check, _farthest(check))}"
    return Span(least, math.inf, words, code, joined(change, check.workaround), _again(check))


def from_beep(check: Check, chosen: MeterRange, meter: str, *, beeps: bool) -> Span:
    """Return the span of a continuity beep, or of its absence: below or above the threshold's far end."""
    assert chosen.beeps_ohm is not None
    surely_beeps_below, silent_above = chosen.beeps_ohm
    change = "read the ohms instead of the beep"
    if beeps:
        words = f"a beep on {meter} says less than {shown(check, silent_above)}"
        settled = "wait until it has settled and read the ohms: what charges beeps at first"
        return Span(-math.inf, silent_above, words, Reason.METER, change, settled)
    words = f"no beep on {meter} says more than {shown(check, surely_beeps_below)}"
    return Span(surely_beeps_below, math.inf, words, Reason.METER, change, _again(check))


def _again(check: Check) -> str:
    bare = "touch down again on bare metal: a bad contact shows the same"
    if check.function in (Function.DC_VOLTAGE, Function.AC_VOLTAGE):
        return "stop: this may be more than extra-low voltage; take the probes off and set a higher range first"
    if check.function is Function.DC_CURRENT:
        return "switch off, set a higher range or jack, then read again"
    if check.function is not Function.DIODE:
        return bare
    return joined(bare, "Then exchange red and black once: a drop that way is a reversed part or the other polarity")


def _farthest(check: Check) -> float:
    limits = [limit for limit in (check.limits.lower, check.limits.upper) if limit is not None]
    return max(limits, default=0.0)


def judge_span(check: Check, span: Span) -> Finding:
    """Return what a span shows; one-sided where only the paths around keep it from deciding."""
    seen = _within(check, span.lower, span.upper)
    verdict = _within(check, *_opened(check.evidence, span))
    if verdict is Verdict.FAIL:
        return Finding(verdict, None, f"{span.words}; wanted is {limits_words(check)}", span.again)
    if verdict is Verdict.PASS and check.evidence is not Evidence.SCREEN:
        return Finding(verdict)
    if verdict is Verdict.PASS:
        because = f"{span.words}; {ONE_SIDED[Evidence.SCREEN]}"
        return undecided(Reason.ONE_SIDED, because, check.workaround or "another method")
    if seen is not Verdict.UNDECIDED:
        because = f"{span.words}; {ONE_SIDED[check.evidence]}"
        return undecided(Reason.ONE_SIDED, because, lifted(check))
    return undecided(span.code, f"{span.words}; wanted is {limits_words(check)}", span.change)


#: what the paths around a part can do to its reading.
ONE_SIDED = {
    Evidence.DIRECT: "",
    Evidence.LOWERED: "other paths on the board can only lower it, so this proves nothing",
    Evidence.RAISED: "others in parallel can only add to it, so this proves nothing",
    Evidence.SHUNTED: "what lies beside a junction takes the meter's current past it, so a low drop proves nothing",
    Evidence.SCREEN: "this check can reject, never prove",
}


def _opened(evidence: Evidence, span: Span) -> tuple[float, float]:
    """Return where the thing itself lies: at least what was read when lowered, at most when raised."""
    upper = math.inf if evidence is Evidence.LOWERED else span.upper
    lower = -math.inf if evidence is Evidence.RAISED else span.lower
    return lower, upper


def _within(check: Check, lower: float, upper: float) -> Verdict:
    low = -math.inf if check.limits.lower is None else check.limits.lower
    high = math.inf if check.limits.upper is None else check.limits.upper
    if lower >= high or upper <= low:
        return Verdict.FAIL
    inside_below = low == -math.inf or lower > low
    inside_above = high == math.inf or upper < high
    return Verdict.PASS if inside_below and inside_above else Verdict.UNDECIDED
