"""Touches that say where the tips are, for checks whose right answer looks like tips in the air.

A meter cannot see contact where open is good, nor where volts near zero are. So the answer counts only between two
marks: three touches before (the leads are whole, and somebody says "now"), the points for a second, three touches
after. What is touched is metal, tip to tip, or a cell for volts; to prove a tester before and after a dead circuit is
how the trade does it. A mark begins with lifted tips: where the check before left them is no touch. Whatever else
shows in between, such as the points reading near zero, spoils it: then only a reading that is seen, or a key, counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from benchcheck.readings.steady import Run, Sample

__all__ = ["Mark", "Marks", "Sight"]

#: so many touches are a mark: once or twice is how tips that slip are pressed again. Each shows in two readings.
_TIMES, _READINGS = 3, 2
#: seconds a touch and the gap after it may last, or so many readings of a slow meter.
_TOUCH_S, _TOUCH_READINGS = 0.8, 4.5
#: seconds the points must have stood between the marks, and when it has been too long to be one movement.
_STOOD_S, _LONGEST_S = 1.0, 30.0
#: seconds the tips must have been in the air before the first touch: less is a bounce of tips that were left on.
_LIFTED_S = 0.25
#: seconds tips may bounce and a meter may take to follow, at the edge of a touch.
_BOUNCE_S, _EDGE_S = 0.06, 0.15
#: a pause of the readings longer than this (seconds, or readings) is a gap nobody can speak for.
_PAUSE_S, _PAUSE_READINGS = 2.0, 6.0
_ODD = "something else showed"


class Sight(StrEnum):
    """What one indication looks like: tips in the air, what is touched for a mark, anything else."""

    OPEN = "open"
    TOUCH = "touch"
    OTHER = "other"


class Mark(StrEnum):
    """What the touches have come to with an indication."""

    BEGUN = "begun"
    MISSED = "missed"
    SPOILT = "spoilt"
    DONE = "done"


@dataclass(slots=True)
class Marks:
    """Follows the touches of one check; `band` is how far readings of the points may differ and still stand."""

    least: int = 4
    spoilt: bool = False
    begun: bool = False
    why: str = ""  # why touches were no mark, the last time they were none
    worst: Sample | None = None  # of what stood between the marks, the reading furthest from zero
    _lifted: bool = False  # the tips were seen in the air since they were last down for something else
    _air_s: float | None = None  # since when they are in the air, while that is not yet long enough
    _touches: int = 0
    _length: int = 0  # readings of the touch under way, 0 between touches
    _since_s: float = -math.inf  # when the touch under way, or the open stretch after one, began
    _open_s: float = math.inf  # since when the points have been shown
    _held_s: float = 0.0  # how long they were until the touch that may begin the closing mark
    _leaves_s: float | None = None  # since when the touch under way seems to have ended
    _odd: int = 0  # readings in a row that are neither
    _odd_s: float = 0.0  # since when
    _last_s: float | None = None
    _every_s: float = 0.0
    _opens: int = 0
    _run: Run = field(default_factory=Run)

    @property
    def touch_s(self) -> float:
        """How long a touch, and the gap after it, may last, in seconds."""
        return max(_TOUCH_S, _TOUCH_READINGS * self._every_s)

    @property
    def least_s(self) -> float:
        """How long a touch has to last, so that the meter shows it in enough readings, in seconds."""
        return _READINGS * self._every_s

    def broken_off(self) -> Mark | None:
        """Take it in that the meter was away: nobody knows what was touched meanwhile."""
        self._last_s = None
        return self._malformed("the meter was away")

    def see(self, sample: Sample, sight: Sight, band: float = 0.0) -> Mark | None:
        """Take one indication in and return what it completes."""
        if self.spoilt:
            return None
        if self._paused(sample.at_s):
            return self._malformed("the readings paused")
        if not self._lifted:
            self._lifting(sample.at_s, sight)
            return None
        match sight:
            case Sight.TOUCH:
                return self._touch(sample.at_s)
            case Sight.OPEN:
                return self._open(sample, band)
            case _:
                return self._other(sample.at_s)

    def _paused(self, at_s: float) -> bool:
        """Follow how often readings come; return whether they paused."""
        before, self._last_s = self._last_s, at_s
        if before is None:
            return False
        gap_s = at_s - before
        long = self._every_s > 0.0 and gap_s > max(_PAUSE_S, _PAUSE_READINGS * self._every_s)
        if not long:
            self._every_s = gap_s if self._every_s == 0.0 else 0.8 * self._every_s + 0.2 * gap_s
        return long

    def _lifting(self, at_s: float, sight: Sight) -> None:
        """Wait until the tips have been in the air for longer than they bounce."""
        if sight is not Sight.OPEN:
            self._air_s = None
            return
        self._air_s = at_s if self._air_s is None else self._air_s
        self._lifted = at_s - self._air_s + self._every_s >= _LIFTED_S

    def _touch(self, at_s: float) -> Mark | None:
        self._odd, self._leaves_s = 0, None
        if self._length == 0:
            if self._touches == 0:
                self._held_s = at_s - self._open_s
            self._since_s = at_s
        self._length += 1
        long = at_s - self._since_s > self.touch_s
        return self._malformed(f"held longer than {self.touch_s:.1f} s") if long else None

    def _open(self, sample: Sample, band: float) -> Mark | None:
        odd, self._odd = self._odd, 0
        if self._length:
            return self._leaving(sample.at_s)
        if odd and self._touches:
            return self._malformed(_ODD)
        if odd:  # something showed for a moment, as where nets charge: from here on it must stand open
            self._stands_from(sample.at_s)
        if self._touches:
            return self._quiet(sample.at_s) if sample.at_s - self._since_s > self.touch_s else None
        if self.begun:
            self._stand(sample, band)
            if sample.at_s - self._open_s > _LONGEST_S:
                return self._malformed(f"more than {_LONGEST_S:.0f} s since the touches before")
        return None

    def _leaving(self, at_s: float) -> Mark | None:
        """Wait until the tips have left for longer than they bounce."""
        self._leaves_s = at_s if self._leaves_s is None else self._leaves_s
        bounce = at_s - self._leaves_s < _BOUNCE_S and self._every_s < _BOUNCE_S
        return None if bounce else self._left(self._leaves_s)

    def _left(self, at_s: float) -> Mark | None:
        """End a touch; one that a single reading shows is a knock or a bounce."""
        length, self._length, self._leaves_s = self._length, 0, None
        self._since_s = at_s
        if length < _READINGS:
            seconds = f", {self.least_s:.1f} s" if self.least_s >= _EDGE_S / 2.0 else ""
            return self._malformed(f"shorter than {_READINGS} readings{seconds}", in_the_air=True)
        self._touches += 1
        return None

    def _quiet(self, at_s: float) -> Mark | None:
        """Nothing more is touched: three touches are a mark, fewer or more are not."""
        touches, self._touches = self._touches, 0
        if touches != _TIMES:
            times = "once" if touches == 1 else f"{touches} times"
            why = f"touched {times}, not {_TIMES}: gaps no longer than {self.touch_s:.1f} s"
            return self._malformed(why, in_the_air=True)
        stood = self.worst is not None and self._held_s >= _STOOD_S
        if self.begun and stood:
            return Mark.DONE
        self.begun = True
        self._stands_from(self._since_s)
        return Mark.BEGUN

    def _stands_from(self, at_s: float) -> None:
        self.worst, self._opens, self._open_s = None, 0, at_s
        self._run.clear()

    def _stand(self, sample: Sample, band: float) -> None:
        """Follow the points: what stood there counts, the furthest from zero first."""
        if math.isinf(sample.value):
            self._opens += 1
            self.worst = sample if self._opens >= self.least else None
            return
        self._run.add(sample, band)
        stands = self._run.count >= self.least and self._run.lasted_s >= 0.5 * _STOOD_S
        if stands and (self.worst is None or abs(self._run.mean) > abs(self.worst.value)):
            self.worst = self._run.typical()

    def _other(self, at_s: float) -> Mark | None:
        """One odd reading, or a short while of them, may be the edge of a touch; more are something that is there."""
        self._odd_s = self._odd_s if self._odd else at_s
        self._odd += 1
        return self._malformed(_ODD) if self._odd > 1 and at_s - self._odd_s > _EDGE_S else None

    def _malformed(self, why: str, *, in_the_air: bool = False) -> Mark | None:
        """Begin anew, from lifted tips; where a first mark stood already, nothing more is taken without a key."""
        self._lifted, self._air_s = in_the_air, None
        touched = bool(self._touches or self._length) or why.startswith(("held", "touched", "shorter"))
        was_begun, self.begun, self.worst = self.begun, False, None
        self._touches = self._length = self._odd = 0
        self._leaves_s = None
        self._open_s = math.inf
        self._run.clear()
        self.spoilt = self.spoilt or was_begun
        self.why = why if touched or was_begun else self.why
        return Mark.SPOILT if was_begun else Mark.MISSED if touched else None
