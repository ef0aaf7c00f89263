"""Whether a reading stands still, by what it does and not by a fixed wait.

The longest run of last readings that differ by no more than a count and the meter's own noise must have lasted at
least a share of the time the reading had been on the move before: what closes in on its end value exponentially is
then within a count of it, whatever its time constant. On top the slope of that run must not stand out of its
scatter (least squares, t about 3).
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

__all__ = ["Run", "Sample"]

#: slope over its standard error from which a drift is taken for real (about 1 in 400 for normal scatter).
_SURE_OF_SLOPE = 3.0
_LOOKED_AT = 16


@dataclass(frozen=True, slots=True)
class Sample:
    """One indication: seconds of a clock that never runs back, SI value (inf: overload), text as shown."""

    at_s: float
    value: float
    text: str = ""


@dataclass(slots=True)
class Run:
    """The longest run of last readings whose spread is at most `band`; kept up to date reading by reading."""

    samples: deque[Sample] = field(default_factory=deque)
    _lows: deque[Sample] = field(default_factory=deque)  # candidates for the minimum, rising
    _highs: deque[Sample] = field(default_factory=deque)

    def add(self, sample: Sample, band: float) -> None:
        """Take one reading in; what lies further from it than `band` ends the run before it."""
        while self._lows and self._lows[-1].value >= sample.value:
            self._lows.pop()
        while self._highs and self._highs[-1].value <= sample.value:
            self._highs.pop()
        for kept in (self.samples, self._lows, self._highs):
            kept.append(sample)
        while self._highs[0].value - self._lows[0].value > band:
            self._drop()

    def _drop(self) -> None:
        first = self.samples.popleft()
        for kept in (self._lows, self._highs):
            if kept[0] is first:
                kept.popleft()

    def clear(self) -> None:
        """Forget all readings."""
        for kept in (self.samples, self._lows, self._highs):
            kept.clear()

    @property
    def count(self) -> int:
        """How many readings the run has."""
        return len(self.samples)

    @property
    def lasted_s(self) -> float:
        """Seconds from its first reading to its last."""
        return self.samples[-1].at_s - self.samples[0].at_s if self.samples else 0.0

    @property
    def spread(self) -> float:
        """How far its lowest and its highest reading lie apart, 0 without readings."""
        return self._highs[0].value - self._lows[0].value if self.samples else 0.0

    def _latest(self) -> list[Sample]:
        """Return the later half of the run, at most a few: they lag least behind a drift."""
        size = min(_LOOKED_AT, (len(self.samples) + 1) // 2)
        return [self.samples[place] for place in range(-size, 0)]

    @property
    def mean(self) -> float:
        """The mean of the latest readings."""
        latest = self._latest()
        return math.fsum(one.value for one in latest) / len(latest)

    def typical(self) -> Sample:
        """Return the reading of the latest that lies nearest to their mean: one that was really shown."""
        middle = self.mean
        return min(reversed(self._latest()), key=lambda one: abs(one.value - middle))

    def drifts(self, count: float) -> bool:
        """Return whether a slope stands out of the scatter and carried the run further than half a `count`."""
        every = max(1, len(self.samples) // _LOOKED_AT)
        some = list(self.samples)[::every]
        size = len(some)
        if size < 4:
            return False
        middle_s = math.fsum(one.at_s for one in some) / size
        mean = math.fsum(one.value for one in some) / size
        times = math.fsum((one.at_s - middle_s) ** 2 for one in some)
        if times == 0.0:
            return False
        slope = math.fsum((one.at_s - middle_s) * (one.value - mean) for one in some) / times
        squares = math.fsum((one.value - mean - slope * (one.at_s - middle_s)) ** 2 for one in some)
        scatter = max(math.sqrt(squares / (size - 2)), 0.2 * count)
        significant = abs(slope) * math.sqrt(times) > _SURE_OF_SLOPE * scatter
        return significant and abs(slope) * self.lasted_s > 0.5 * count
