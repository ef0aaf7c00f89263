"""When a reading stands still: the last few agree. When it does not: which way it goes.

A single changed digit cannot agree with its neighbours, so it never ends a wait for settling.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.instruments.reply import Indication, IndicationState

__all__ = ["SettleRule", "agrees", "held", "spread", "trend"]


@dataclass(frozen=True, slots=True)
class SettleRule:
    """The readings of the last `hold_s` seconds, at least `window`, agree within `relative` or `absolute` (SI).

    A fast meter would otherwise find three readings of a slow climb alike. After `timeout_s` seconds it is given up.
    """

    window: int = 3
    hold_s: float = 0.15
    relative: float = 0.0005
    absolute: float = 0.0
    timeout_s: float = 5.0


def held(times_s: Sequence[float], rule: SettleRule) -> int:
    """Return how many of the last readings must agree: the fewest, at least `window`, that surely span `hold_s`.

    `times_s` says when each was answered. It was taken some time before, but after the answer to the one before it:
    only up to there does the last one count, or a stall of this machine would pass for a wait. 0 as long as they do
    not span that much. A slow instrument is judged by its last `window` readings, however long they took.

    >>> rule = SettleRule(window=2, hold_s=0.15)
    >>> held([0.0, 0.1, 0.2, 0.3], rule), held([0.0, 0.1, 0.3], rule), held([0.0, 0.1], SettleRule(window=3))
    (4, 0, 0)
    >>> held([0.0, 1.0, 2.0], SettleRule(window=3, hold_s=0.15))
    3
    """
    if not rule.hold_s:
        return rule.window if len(times_s) >= rule.window else 0
    return next(
        (n for n in range(rule.window, len(times_s) + 1) if n > 1 and times_s[-2] - times_s[-n] >= rule.hold_s), 0
    )


def agrees(indications: Sequence[Indication], rule: SettleRule, resolution: float = 0.0) -> bool:
    """Return whether readings agree: all overload, or numbers within the rule or two steps of the display.

    >>> from benchcheck.instruments.reply import Indication, IndicationState
    >>> agrees([Indication("", IndicationState.VALUE, value) for value in (10.0, 10.001, 10.002)], SettleRule())
    True
    """
    values = [one.value for one in indications if one.value is not None]
    if not values:
        return len({one.state for one in indications}) == 1
    if len(values) < len(indications):
        return False
    return spread(values, rule.relative, max(rule.absolute, 2.0 * resolution))


def spread(values: Sequence[float], relative: float, absolute: float) -> bool:
    """Return whether values lie within the larger of two tolerances, the relative one about their median."""
    return max(values) - min(values) <= max(relative * abs(statistics.median(values)), absolute)


def trend(indications: Sequence[Indication]) -> str:
    """Return "climbs", "falls" or "jumps" for readings that do not agree; rising into overload is climbing."""
    infinite = {IndicationState.OVERLOAD: float("inf"), IndicationState.NOT_A_NUMBER: float("nan")}
    values = [one.value if one.value is not None else infinite[one.state] for one in indications]
    steps = [after - before for before, after in itertools.pairwise(values) if after != before]
    if steps and all(step > 0 for step in steps):
        return "climbs"
    if steps and all(step < 0 for step in steps):
        return "falls"
    return "jumps"
