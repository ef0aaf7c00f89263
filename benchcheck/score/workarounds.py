"""What the trade does when the meter cannot tell: null, four wires, a better instrument, a ratio, a difference."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Contribution
from benchcheck.score.measured import Measured
from benchcheck.score.words import joined, shown

__all__ = ["workaround"]

#: from a check and a bench to limit half-width over expanded uncertainty there.
RatioOf = Callable[[Check, Bench], float]

_ENOUGH = 1.5
#: below this the leads and contacts dominate two wires (common practice).
_SMALL_OHM = 10.0
_SMALL_FARAD = 1e-9
_FORCE = "Force a known current, 0.1 to 1 A with the limit set first, and read the millivolts at the part"


def workaround(check: Check, found: Measured, bench: Bench, ratio_of: RatioOf) -> str:
    """Return what would decide a check this reading does not, the nearest way first; "" where nothing would."""
    ways = list(_ways(check, found, bench, ratio_of))
    own = check.workaround
    if check.evidence in (Evidence.LOWERED, Evidence.RAISED) and "lift" not in own:
        ways.append("Lift one leg and read again")
    return joined(*ways, own)


def _ways(check: Check, found: Measured, bench: Bench, ratio_of: RatioOf) -> Iterator[str]:
    now = ratio_of(check, bench)
    if now >= 4.0 or found.meter is None or check.function is Function.DERIVED:
        return
    better = _other_instrument(check, bench, ratio_of, now)
    if better:
        yield better
    if check.quantity_unit == "ohm" and check.function is not Function.ESR:
        yield from _for_ohms(check, found, now)
    if check.function is Function.CAPACITANCE and abs(found.budget.value) < _SMALL_FARAD:
        yield "Null the empty jig first, or take the difference to a known capacitor"


def _other_instrument(check: Check, bench: Bench, ratio_of: RatioOf, now: float) -> str:
    """Return the instrument, or the four-wire function, of this bench that does better."""
    functions = (check.function, *((Function.OHMS_4W,) if check.function is Function.OHMS else ()))
    best, words = max(now, _ENOUGH), ""
    for function in functions:
        for meter in bench.meters.values():
            if meter.ranges_of(function):
                asked = replace(check, function=function)
                other = ratio_of(asked, replace(bench, use={**bench.use, function: meter.name}))
                if other > best * 1.01:
                    best = other
                    how = " with four wires" if function is Function.OHMS_4W else ""
                    words = f"Read it on {meter.name}{how} instead ({other:.1f} to 1)"
    return words


def _for_ohms(check: Check, found: Measured, now: float) -> Iterator[str]:
    if any(each.id.endswith(".leads") and share > 0.1 for each, share in _shares(found)):
        yield "Short the tips and null the leads"
    if now >= _ENOUGH or check.limits.upper is None:
        return
    if abs(found.budget.value) < _SMALL_OHM:
        if "orce" not in check.workaround:
            yield _FORCE
    elif found.range is not None and "ompare" not in check.workaround:
        digits = found.range.resolution * max(found.range.accuracy.counts, 1.0)
        yield (
            f"Compare with a reference resistor of nearly this value on the same range: what both share cancels, "
            f"some {shown(check, digits, 2)} remain"
        )


def _shares(found: Measured) -> Iterator[tuple[Contribution, float]]:
    return zip(found.budget.contributions, found.budget.shares, strict=True)
