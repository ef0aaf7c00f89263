"""How long the rest of a visit will take: the median of the answers so far to checks of the same kind.

A kind that was not answered yet takes what such a check takes by itself (where the tips go, what settles, what is
rewired), as much quicker or slower as this person has been at the others. Bringing power up and a soak are counted.
"""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Phase

__all__ = ["Pace", "supposed_s"]

_LOOKED_AT = 15
_LEAST = 3
_LONGEST_S = 600.0  # longer than this was a telephone call, not a check
#: seconds a check takes a person at an ordinary bench (common practice, no source).
_LOOK_S, _PLACED_S, _SETTLE_S, _LOAD_S, _IN_SERIES_S, _DISCHARGE_S = 8.0, 10.0, 10.0, 6.0, 90.0, 5.0
_BY_ITSELF_S, _POWER_UP_S = 3.0, 45.0
_READ_BY_SUPPLY = ("idle_current", "inrush_time")
_QUICKEST, _SLOWEST = 0.2, 5.0

_Kind = tuple[str, str, bool]


def _kind(check: Check) -> _Kind:
    return check.measurand, str(check.function), check.powered


def supposed_s(check: Check) -> float:
    """Return how many seconds a check takes by what it is: looked at, probed, settled, loaded, put in series."""
    if check.sources:
        return 0.0
    if check.function is Function.VISUAL:
        return _LOOK_S
    if check.measurand in _READ_BY_SUPPLY:
        return _BY_ITSELF_S
    if check.phase is Phase.OFF or check.function is Function.DC_CURRENT:
        return _IN_SERIES_S
    waits_s = _SETTLE_S * check.settle + _LOAD_S * bool(check.load_a)
    return _PLACED_S + waits_s + _DISCHARGE_S * (check.phase is Phase.RESIDUAL_VOLTAGE)


@dataclass(slots=True)
class Pace:
    """Takes what was answered and when, in seconds of a clock that never runs back; `soak_s` follows the checks."""

    soak_s: float = 0.0
    _took_s: defaultdict[_Kind, list[float]] = field(default_factory=lambda: defaultdict(list))
    _ratios: list[float] = field(default_factory=list)
    _before_s: float | None = None
    _powered: bool = False

    def answered(self, check: Check, at_s: float, *, read: bool = True) -> None:
        """Take in that a check was answered; one put off says nothing, and what brought power up is no part of it."""
        before_s, self._before_s = self._before_s, at_s
        brought_up, self._powered = check.powered and not self._powered, self._powered or check.powered
        if before_s is None or brought_up or not read or not 0.0 <= at_s - before_s <= _LONGEST_S:
            return
        self._took_s[_kind(check)].append(at_s - before_s)
        if supposed_s(check):
            self._ratios.append((at_s - before_s) / supposed_s(check))

    def left(self, checks: Iterable[Check]) -> str:
        """Return in words how long these checks take, the one on show among them.

        >>> Pace().left([])
        ''
        """
        left = tuple(checks)
        if not left:
            return ""
        seconds = sum(map(self._seconds, left)) + self.soak_s
        if not self._powered and any(one.powered for one in left):
            seconds += _POWER_UP_S
        return f"about {max(1, round(seconds / 60.0))} min left" if seconds >= 50.0 else "less than a minute left"

    def _seconds(self, check: Check) -> float:
        took_s = self._took_s.get(_kind(check), [])[-_LOOKED_AT:]
        if len(took_s) >= _LEAST:
            return statistics.median(took_s)
        ratios = self._ratios[-_LOOKED_AT:]
        usual = statistics.median(ratios) if len(ratios) >= _LEAST else 1.0
        return supposed_s(check) * min(max(usual, _QUICKEST), _SLOWEST)
