"""From a budget to a finding: the conformity of JCGM 106, then what the circuit around lets it show.

On a board a resistance reads at most the part's own: too high convicts, right or low proves nothing, but above
a lone lower limit it is proven. Everything short of a pass says why, in numbers, and what would change it.
"""

from __future__ import annotations

import math

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Phase
from benchcheck.metrology import Budget, Conformity, DecisionRule, ToleranceInterval, Verdict, assess
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.model import Reason
from benchcheck.score.span import ONE_SIDED
from benchcheck.score.words import joined, lifted, limits_words, shown

__all__ = ["assessed", "conclude"]

_INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
_OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
_OHMS = (Function.OHMS, Function.OHMS_4W, Function.LOW_POWER_OHMS)
_NEVER_NEGATIVE = ("ohm", "F", "H")
#: a reading this near zero across what should be far apart is metal: the lead zero and half an ohm (trade).
_SHORT_OHM, _FAR_APART_OHM = 0.5, 100.0
#: below this a diode mode shows a short: meters sound it from 50 to 100 mV down (meter manuals).
_SHORT_V = 0.1


def assessed(check: Check, budget: Budget, rule: DecisionRule) -> Conformity | None:
    """Return the conformity of a value with the check's limits, None where the check has no limits."""
    if check.limits.lower is None and check.limits.upper is None:
        return None
    return assess(budget, ToleranceInterval(check.limits.lower, check.limits.upper), rule)


def conclude(check: Check, budget: Budget, found: Conformity | None, evidence: Evidence) -> Finding:
    """Return the finding of a measured value under this evidence; an unconditional pass has no words."""
    if found is None:
        return undecided(Reason.METHOD, "the check has no limits to judge the value by", "give it limits in the spec")
    above = check.limits.upper is not None and found.value >= check.limits.upper
    hidden = _joined(check, found, above=above) or _hidden(check, found, evidence, above=above)
    if hidden is not None:
        return hidden
    if found.verdict in _INSIDE and check.method:
        return undecided(Reason.METHOD, check.method, check.workaround)
    if found.verdict is not Verdict.FAIL and not _room(check, found):
        return _no_room(check, found, budget)
    if found.verdict is Verdict.PASS:
        return Finding(Verdict.PASS)
    because = _because(check, found, evidence, above=above)
    if found.verdict is Verdict.FAIL:
        return Finding(found.verdict, None, because, _change_of_fail(check, found, above=above))
    return Finding(found.verdict, None, because, _better(check, found, budget))


def _room(check: Check, found: Conformity) -> bool:
    """Return whether the guard bands leave anything to accept; what cannot be negative has its end at zero."""
    upper, lower = check.limits.upper, check.limits.lower
    if upper is not None and lower is None and check.quantity_unit in _NEVER_NEGATIVE:
        return upper - found.guard_band > 0.0
    return found.decides


def _hidden(check: Check, found: Conformity, evidence: Evidence, *, above: bool) -> Finding | None:
    """Return why the paths around a part keep this value from showing anything, or None when they do not."""
    if evidence is Evidence.DIRECT:
        return None
    if evidence is not Evidence.SCREEN and found.verdict is not Verdict.FAIL and not _room(check, found):
        return None  # lifted or not, this meter leaves no room: that comes first
    convicts = found.verdict in _OUTSIDE
    if evidence is Evidence.LOWERED:
        shows = (convicts and above) or (check.limits.upper is None and found.verdict in _INSIDE)
    elif evidence is Evidence.SHUNTED:
        shows = above or not convicts or found.value <= _SHORT_V
    elif evidence is Evidence.RAISED:
        shows = (convicts and not above) or (check.limits.lower is None and found.verdict in _INSIDE)
    else:
        shows = convicts or found.verdict is Verdict.UNDECIDED
    if shows:
        return None
    if check.method and found.verdict in _INSIDE:
        return undecided(Reason.METHOD, check.method, check.workaround)
    because = f"{shown(check, found.value)}{_consistent(check, found.value, evidence)}; {ONE_SIDED[evidence]}"
    change = check.workaround or "another method" if evidence is Evidence.SCREEN else lifted(check)
    return undecided(Reason.ONE_SIDED, because, change)


def _joined(check: Check, found: Conformity, *, above: bool) -> Finding | None:
    """Return undecided where a part read too low with both tips on one net: there the board itself conducts."""
    nets = {probe.net for probe in (check.red, check.black) if probe is not None}
    if len(nets) != 1 or None in nets or check.phase is not Phase.PARTS or above or found.verdict not in _OUTSIDE:
        return None
    because = f"both tips lie on net {nets.pop()} by the spec, so the board joins what this check tells apart"
    return undecided(Reason.METHOD, because, lifted(check))


def _consistent(check: Check, value: float, evidence: Evidence) -> str:
    """Return what would have to lie around a good part for it to read this, where that is a plain sum."""
    good = check.expected
    if good is None or value <= 0.0 or check.function not in _OHMS:
        return ""
    if evidence is Evidence.LOWERED and value < good * (1.0 - 1e-9):
        around = value * good / (good - value)
        return f" is what a good part reads with {shown(check, around, 3)} around it"
    return ""


def _because(check: Check, found: Conformity, evidence: Evidence, *, above: bool) -> str:
    value, distance, name, limit = _nearest(check, found)
    if check.function in _OHMS and found.value < 0.0:
        value = "0 ohm, as far as can be told once the leads are taken off,"
    size = shown(check, distance, 3)
    if found.verdict is Verdict.CONDITIONAL_PASS:
        return (
            f"{value} lies inside, but only {size} from the {name} limit {limit}; "
            f"the guard band is {shown(check, found.guard_band, 3)}"
        )
    side = "above" if above else "below"
    place = f"lies {size} {side} the {name} limit {limit}" if distance > 0.0 else f"lies on the {name} limit"
    if found.verdict is Verdict.CONDITIONAL_FAIL:
        return f"{value} {place}, within the guard band of {shown(check, found.guard_band, 3)}"
    return f"{value} {place}{_convicts(check, found, evidence, above=above)}"


def _convicts(check: Check, found: Conformity, evidence: Evidence, *, above: bool) -> str:
    limit = check.limits.lower
    if check.phase is Phase.POLARITY and not above:
        return "; the part is the wrong way round, or something across the same two nets is a short"
    resistance = check.quantity_unit == "ohm"
    if above and evidence is Evidence.LOWERED:
        return "; other paths can only lower it, so the part or its joint is high or open"
    if not above and evidence is Evidence.RAISED:
        return "; others in parallel can only add to it, so the part is low or open"
    if resistance and limit is not None and limit >= _FAR_APART_OHM and abs(found.value) <= _SHORT_OHM:
        return "; that is metal: a short or a bridge"
    if check.function is Function.DIODE and not above and abs(found.value) <= _SHORT_V:
        return "; that is no junction: a short, a low resistance beside it, or a part that is switched on"
    return ""


def _nearest(check: Check, found: Conformity) -> tuple[str, float, str, str]:
    """Return value, distance to the limit that matters, and that limit by name and in words."""
    ends = (("lower", check.limits.lower), ("upper", check.limits.upper))
    distance, name, limit = min((abs(found.value - limit), name, limit) for name, limit in ends if limit is not None)
    return shown(check, found.value), distance, name, shown(check, limit)


def _change_of_fail(check: Check, found: Conformity, *, above: bool) -> str:
    limit = check.limits.upper if above else check.limits.lower
    assert limit is not None
    bound = limit - found.guard_band if above else limit + found.guard_band
    side = "below" if above else "above"
    again = "touch down again with a needle tip" if check.phase.value and not check.powered else "read again"
    if check.phase is Phase.RESIDUAL_VOLTAGE:
        again = "discharge it through a resistor and measure again"
    if check.first_step:
        again = f"{check.first_step.rstrip('.')}, then {again}"
    if bound <= 0.0 and check.quantity_unit in _NEVER_NEGATIVE:
        return again
    ends = [abs(end) for end in (check.limits.lower, check.limits.upper) if end is not None]
    other = check.limits.lower if above else check.limits.upper
    misplaced = other is not None and (bound <= other if above else bound >= other)
    if misplaced or not 0.5 * min(ends) <= abs(found.value) <= 2.0 * max(ends):
        # the guard band was that of this far-off reading, not of one near the limit
        return f"{again}: a reading well inside {limits_words(check)} would pass"
    return f"{again}: a reading {side} {shown(check, bound)} would pass"


def _no_room(check: Check, found: Conformity, budget: Budget) -> Finding:
    because = (
        f"{shown(check, found.value)} with U = {shown(check, found.expanded_uncertainty, 3)}: "
        f"guard bands of {shown(check, found.guard_band, 3)} leave no room; wanted is {limits_words(check)}"
    )
    return undecided(Reason.METER, because, _better(check, found, budget))


def _better(check: Check, found: Conformity, budget: Budget) -> str:
    """Return the expanded uncertainty that would settle it, and the nearest way to get it."""
    settled = _nearest(check, found)[1]
    if found.verdict is Verdict.UNDECIDED and found.tolerance.contains(found.value):
        settled = min(settled, found.tolerance.span / 2)
    share = found.guard_band / found.expanded_uncertainty if found.expanded_uncertainty else 1.0
    needed = settled / share if share > 0.0 else math.inf
    if needed <= 0.0:
        return joined("no meter settles a reading on the limit itself: read again", check.workaround)
    first = f"a meter with U below {shown(check, needed, 3)}"
    cure = _own_cure(budget)
    return joined(*((cure, f"Or {first}") if cure else (first,)), check.workaround)


def _own_cure(budget: Budget) -> str:
    """Return what the person can do with the same meter when one avoidable term dominates the budget."""
    if not budget.contributions:
        return ""
    worst, share = max(zip(budget.contributions, budget.shares, strict=True), key=lambda each: each[1])
    if share < 0.5:
        return ""
    if worst.id.endswith(".leads"):
        return "short the tips and enter what they read as meter.leads_shorted, or null the leads"
    if worst.id.endswith(".digits"):
        return "write down every digit the display shows"
    if worst.id.endswith(".repeatability"):
        return "read again a few times: the readings scatter"
    return ""
