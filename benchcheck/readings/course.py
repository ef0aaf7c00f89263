"""What a reading has been doing since the tips touched: it stands, climbs, falls, jumps, or lies below zero.

A capacitor that charges climbs steadily; a short is near zero at once and stays there; a bad contact goes up and
down; charge that was left makes ohms negative, which no part does. The course keeps no more than a few hundred
readings, thinned out evenly, so that a minute of waiting costs what a second does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

__all__ = ["Course", "Shape"]

_KEPT = 256
#: turns back and forth, each larger than contacts and noise make, from which a contact is called bad.
_TURNS = 4
_RISES = 4
_SHARE = 0.005


class Shape(StrEnum):
    """What the course of a reading looks like, in words a person can act on."""

    OPEN = "open"
    UNSURE = "settling"
    STANDS = "steady"
    CHARGING = "climbs: a capacitor is charging"
    SHORT = "near zero at once: metal or a short"
    BAD_CONTACT = "jumps: bad contact, press again or clean the point"
    RESIDUAL_CHARGE = "below zero: charge is left, discharge through a resistor"
    FALLING = "falls: charge that goes, or a part that cools"


@dataclass(slots=True)
class Course:
    """The way of a reading since the touch. `turns` counts its changes of direction."""

    turns: int = 0
    _points: list[tuple[float, float]] = field(default_factory=list)
    _stride: int = 1
    _seen: int = 0
    _mark: float = math.nan  # where the last step in this direction ended
    _extreme: float = math.nan  # the furthest it got in this direction
    _direction: int = 0
    _legs: int = 0  # steps on in the present direction

    def add(self, at_s: float, value: float, count: float) -> None:
        """Take one finite reading in; `count` is one step of the display there."""
        if math.isnan(self._mark):
            self._mark = self._extreme = value
        step = max(3.0 * count, _SHARE * abs(self._mark))
        if (value - self._extreme) * self._direction > 0.0:
            self._extreme = value
        onwards, back = value - self._mark, value - self._extreme
        if self._direction and back * self._direction <= -step:
            self._leg(-self._direction, value)
        elif abs(onwards) >= step and onwards * (self._direction or onwards) > 0.0:
            self._leg(1 if onwards > 0.0 else -1, value)
        self._keep(at_s, value)

    def bounced(self) -> None:
        """Take it in that the contact opened for a moment."""
        self.turns += 2
        self._direction, self._legs, self._mark = 0, 0, math.nan
        self._points.clear()
        self._stride, self._seen = 1, 0

    def _leg(self, direction: int, value: float) -> None:
        if direction == -self._direction:
            self.turns += 1
            self._legs = 0
            self._points.clear()
            self._stride, self._seen = 1, 0
        self._direction = direction
        self._mark = self._extreme = value
        self._legs += 1

    def _keep(self, at_s: float, value: float) -> None:
        if self._seen % self._stride == 0:
            self._points.append((at_s, value))
        self._seen += 1
        if len(self._points) > _KEPT:
            self._points = self._points[::2]
            self._stride *= 2

    @property
    def rising(self) -> bool:
        """Whether it has climbed several steps on end."""
        return self._direction > 0 and self._legs >= _RISES

    @property
    def falling(self) -> bool:
        """Whether it has fallen several steps on end."""
        return self._direction < 0 and self._legs >= _RISES

    @property
    def jumping(self) -> bool:
        """Whether it has gone back and forth so often that the contact is in doubt."""
        return self.turns >= _TURNS

    def end(self) -> tuple[float, float] | None:
        """Return where an exponential course tends to, and its time constant in seconds; None without one.

        From three readings equally far apart in time (Aitken's delta-squared).
        """
        if len(self._points) < 6:
            return None
        (first_s, first), (last_s, last) = self._points[0], self._points[-1]
        middle = self._at((first_s + last_s) / 2.0)
        before, after = middle - first, last - middle
        if before == 0.0 or not 0.02 < after / before < 0.98:
            return None
        ratio = after / before
        return last + after * ratio / (1.0 - ratio), (last_s - first_s) / 2.0 / -math.log(ratio)

    def _at(self, at_s: float) -> float:
        """Return the value at a time between the first and last point, on a straight line between neighbours."""
        low, high = 0, len(self._points) - 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self._points[middle][0] <= at_s else (low, middle)
        (begin_s, begin), (end_s, end) = self._points[low], self._points[high]
        share = (at_s - begin_s) / (end_s - begin_s) if end_s > begin_s else 0.0
        return begin + share * (end - begin)
