"""How one check is captured: the meter's digit and noise, its open leads, and how long a contact must rest."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["CaptureRule", "Opens"]


class Opens(StrEnum):
    """What the meter shows with the tips in the air."""

    OVERLOAD = "overload"
    ZERO = "zero"


@dataclass(frozen=True, slots=True)
class CaptureRule:
    """How one check is captured; values in the SI quantity unit.

    `count_at` gives one step of the display for a value, `noise` the meter's own standard deviation. `open_below`
    is the size under which a reading is that of open leads where they show zero. `short_below` is what metal reads
    at most, leads included. `ceiling` is where the highest range overloads. `open_is_good` where what open leads show
    is what a good unit shows; `cell_volt` is then what a mark is made with where that is zero, 0 where there is none.
    `never_negative` for functions that drive a current.

    A hand that has not found its place yet may rest by accident. It stays at one value for about `dwell_s`, so a
    reading is one independent look only every period and dwell. What rests must have done so for `looks` of them and
    `least` readings; `flicker_looks` and `flicker_least` more where they agree only to a count, and `more_looks` for
    every doubling of the readings before, which were as many chances to rest by accident; for `hold_s` seconds, and
    for a `share` of the time on the move (`jumping_share` where it went back and forth). It is told `lead_s` ahead,
    less than a hand takes to leave, and taken back where it moves on; tips that leave sooner than `reaction_s` after
    that have slipped.
    A contact that jumped longer than `doubt_s`, or that follows one which jumped and never stood, must stand for
    `doubtful_s` and is taken twice. Open for less than `lift_s` is a bounce of the same contact.
    `agree` is how far two contacts may differ beyond two counts, as a ratio, plus `contact`, absolute.
    """

    count_at: Callable[[float], float]
    noise: float = 0.0
    opens: Opens = Opens.OVERLOAD
    open_below: float = 0.0
    short_below: float = 0.0
    ceiling: float = math.inf
    open_is_good: bool = False
    never_negative: bool = True
    least: int = 5
    hold_s: float = 0.06
    share: float = 0.25
    jumping_share: float = 0.5
    dwell_s: float = 0.065
    looks: float = 2.35
    flicker_looks: float = 0.65
    flicker_least: int = 1
    more_looks: float = 0.5
    lead_s: float = 0.2
    reaction_s: float = 0.15
    doubt_s: float = 0.7
    doubtful_s: float = 0.6
    lift_s: float = 0.25
    agree: float = 0.0005
    contact: float = 0.0
    overload_s: float = 0.5
    cell_volt: float = 0.0
    most_contacts: int = 4

    @property
    def markable(self) -> bool:
        """Whether an answer that looks like tips in the air can be given hands-free."""
        return self.open_is_good and (self.opens is Opens.OVERLOAD or self.cell_volt > 2.0 * self.open_below)

    def band(self, value: float) -> float:
        """Return how far apart readings of something that stands may lie: a count, and the meter's own noise."""
        return 1.2 * self.count_at(value) + 5.0 * self.noise

    def metal(self, value: float) -> bool:
        """Return whether a reading is what metal across the tips gives."""
        return abs(value) <= self.short_below

    def slack(self, value: float) -> float:
        """Return how far below zero a reading may lie for noise, offset and a null that was a little too much."""
        return max(3.0 * self.count_at(value) + 4.0 * self.noise, self.contact)

    def agreeing(self, first: float, second: float) -> bool:
        """Return whether two contacts agree, noise on each of them allowed for."""
        allowed = 2.0 * self.count_at(first) + self.agree * abs(first) + self.contact
        return abs(first - second) <= allowed + 4.0 * self.noise

    def touch_like(self, value: float) -> bool:
        """Return whether a reading is what a mark is made with: metal, or the known cell."""
        if self.opens is Opens.OVERLOAD:
            return self.metal(value)
        return abs(abs(value) - self.cell_volt) <= 0.02 * self.cell_volt + 3.0 * self.count_at(value)
