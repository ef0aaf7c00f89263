"""One contact of the tips, from the touch to the lift: whether its reading stands, and what it looks like.

A reading rests when its last run lasted for enough looks that a hand which moves could not have held it, has no slope
that stands out of its scatter, and does not tend to somewhere else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from benchcheck.readings.capture_rule import CaptureRule
from benchcheck.readings.course import Course, Shape
from benchcheck.readings.steady import Run, Sample

__all__ = ["Touch"]

#: readings from which on a rest may be told ahead, and from which a reading is called steady.
_FEWEST, _SHOWN = 3, 4
#: how long it stands, in seconds, before anybody is told how much longer it must.
_STANDS_S = 1.0


@dataclass(slots=True)
class Touch:
    """A contact that began at `began_s`; `restless` where one before it went back and forth and never stood."""

    rule: CaptureRule
    began_s: float
    restless: bool = False
    before: int = 0  # readings before the run that stands now
    _run: Run = field(default_factory=Run)
    _course: Course = field(default_factory=Course)

    def follow(self, sample: Sample) -> bool:
        """Take one reading in; return whether it ended a run that stood before."""
        rule, had, before = self.rule, self._run.count, self.before
        self._run.add(sample, rule.band(sample.value))
        self.before += had + 1 - self._run.count
        self._course.add(sample.at_s, sample.value, rule.count_at(sample.value) + 3.0 * rule.noise)
        return self.before > before

    def bounced(self) -> None:
        """Take it in that the tips were open for a moment."""
        self.before += self._run.count
        self._run.clear()
        self._course.bounced()

    # ---- what it looks like

    @property
    def jumped(self) -> bool:
        """Whether it went back and forth so often that the contact is in doubt."""
        return self._course.jumping

    @property
    def reading(self) -> float:
        """What stands, or stood last: the mean of its latest readings."""
        return self._run.mean

    @property
    def climbs_high(self) -> bool:
        """Whether it climbs, past half of what the meter can show."""
        high = self._run.count > 0 and self._run.samples[-1].value > 0.5 * self.rule.ceiling
        return high and self._course.rising

    @property
    def shape(self) -> Shape:
        """What the reading looks like right now."""
        rule, run, course = self.rule, self._run, self._course
        if run.count and rule.never_negative and run.samples[-1].value < -rule.slack(run.mean):
            return Shape.RESIDUAL_CHARGE
        stands = run.count >= _SHOWN and run.lasted_s >= rule.hold_s
        if stands and not course.rising and not course.falling:
            return Shape.SHORT if rule.metal(run.mean) and not course.turns else Shape.STANDS
        if course.jumping:
            return Shape.BAD_CONTACT
        if course.rising:
            return Shape.CHARGING
        return Shape.FALLING if course.falling else Shape.UNSURE

    def forecast(self) -> tuple[float, float] | None:
        """Return where a climbing or falling reading tends to and its time constant in s, None where unknown."""
        return self._course.end() if self._course.rising or self._course.falling else None

    # ---- whether it rests

    @property
    def doubtful(self) -> bool:
        """Whether the contact jumped so long that one reading of it is not to be trusted."""
        return self.restless or (self._course.jumping and self._moved_s > self.rule.doubt_s)

    def typical(self) -> Sample:
        """Return the reading that stands for those that rest."""
        return self._run.typical()

    def rests(self, ahead_s: float = 0.0) -> bool:
        """Return whether what stands now is what the meter shows, or will be in `ahead_s` if it goes on so."""
        rule, run = self.rule, self._run
        if run.count < _FEWEST or run.lasted_s + self._whole_periods_s(ahead_s) < self._needed_s() * (1.0 - 1e-9):
            return False
        if rule.never_negative and run.mean < -rule.slack(run.mean):
            return False  # no part reads below zero
        return not self._far_from_end() and not run.drifts(rule.count_at(run.mean))

    def left_s(self) -> float | None:
        """Return how long what stands now has yet to stand before it rests, None where nothing stands."""
        if self._run.count < _SHOWN or self._run.lasted_s < _STANDS_S:
            return None
        return max(0.0, self._needed_s() - self._run.lasted_s)

    @property
    def _moved_s(self) -> float:
        """How long the reading was on the move before it stood, in seconds."""
        return self._run.samples[0].at_s - self.began_s

    @property
    def _period_s(self) -> float:
        """How far apart readings come, in seconds."""
        return self._run.lasted_s / max(1, self._run.count - 1)

    def _whole_periods_s(self, ahead_s: float) -> float:
        """Return how much of a time readings will have filled at its end: a slow meter fills none of it."""
        period_s = self._period_s
        return math.floor(ahead_s / period_s + 1e-9) * period_s if period_s > 0.0 else 0.0

    def _looked_s(self) -> float:
        """How long it takes to look often enough: the more, the likelier readings agree by accident, in seconds."""
        rule = self.rule
        flickers = self._run.spread > 0.5 * rule.count_at(self._run.mean)
        looks = rule.looks + flickers * rule.flicker_looks + rule.more_looks * self.before.bit_length()
        least = rule.least + flickers * rule.flicker_least
        return max(looks * (1 + self.restless) * (self._period_s + rule.dwell_s), (least - 1) * self._period_s)

    def _needed_s(self) -> float:
        """How long they must have agreed, in seconds."""
        rule = self.rule
        share = rule.jumping_share if self._course.jumping else rule.share
        return max(rule.hold_s, self._looked_s(), share * self._moved_s, self.doubtful * rule.doubtful_s)

    def _far_from_end(self) -> bool:
        """Whether a climb or fall is still more than a count from where it tends to."""
        end = self.forecast()
        if end is None:
            return False
        left = abs(end[0] - self._run.mean)
        return left > self.rule.count_at(self._run.mean) + 2.0 * self.rule.noise
