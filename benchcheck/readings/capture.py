"""Hands-free capture: told every indication as it comes, it says what the probes are doing and what counts.

Pure: times come in with the indications, nothing waits and nothing is read. The tips touch, the reading settles,
it counts; the tips are lifted before the next. A contact that jumped is taken a second time and both must agree.
Open leads show overload on a driven function and nothing on the others; where that is itself the right answer it
counts only between two marks (see `marks`): neither tips in the air nor a broken lead can make them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.course import Shape
from benchcheck.readings.marks import Mark, Marks, Sight
from benchcheck.readings.steady import Sample
from benchcheck.readings.touch import Touch

__all__ = ["Capture", "Happening", "Seen"]

#: overloads in a row that are an answer, where somebody says that the tips are on.
_OVERLOADS = 4


class Happening(StrEnum):
    """What an indication was the last sign of."""

    TOUCHED = "touched"
    LIFTED = "lifted"
    SETTLED = "settled"
    KEPT = "kept"
    MOVED_ON = "moved on"
    RESEAT = "reseat"
    NO_CONTACT = "no contact"
    NOTHING_SEEN = "nothing seen"
    MARKED = "marked"
    MARK_MISSED = "mark missed"
    MARK_SPOILT = "mark spoilt"


@dataclass(frozen=True, slots=True)
class Seen:
    """What happened, when, and what the reading looked like; `samples` are what counts, one for each contact."""

    happening: Happening
    at_s: float
    shape: Shape = Shape.UNSURE
    samples: tuple[Sample, ...] = ()

    @property
    def overloaded(self) -> bool:
        """Whether what counts is an overload."""
        return bool(self.samples) and math.isinf(self.samples[-1].value)


@dataclass(slots=True)
class Capture:
    """One check being captured. `lifted` says that the tips are known to be in the air at the start."""

    rule: CaptureRule
    lifted: bool = False
    done: bool = False
    _touch: Touch | None = None
    _held: bool = False  # somebody says the tips are down: no sign of contact is waited for
    _air: int = 0  # overloads in a row since the tips left
    _marks: Marks = field(default_factory=Marks)
    _missed: bool = False  # touches were no mark, and that was not told yet
    _spoilt_unsaid: bool = False
    _contacts: list[Sample] = field(default_factory=list)
    _taken: bool = False  # this contact has given its reading
    _settled_as: Seen | None = None  # settled, not kept yet
    _left_s: float | None = None  # since when the tips seem to be in the air
    _restless: bool = False  # an earlier contact went back and forth and never stood

    def placed(self) -> None:
        """Take it from somebody who knows (a key, a scripted hand) that the tips are down from now on."""
        self._held = True
        self.lifted = True
        self._air, self._left_s = 0, None

    @property
    def shape(self) -> Shape:
        """What the reading looks like right now."""
        return Shape.OPEN if self._touch is None else self._touch.shape

    @property
    def contacts(self) -> int:
        """How many contacts have given a reading so far."""
        return len(self._contacts)

    def forecast(self) -> tuple[float, float] | None:
        """Return where a climbing or falling reading tends to and its time constant in s, None where unknown."""
        return self._touch.forecast() if self._touch is not None else None

    def left_s(self) -> float | None:
        """Return how long what stands now has yet to stand before it counts, None where nothing stands."""
        return self._touch.left_s() if self._touch is not None and not self._taken else None

    def feed(self, at_s: float, value: float, text: str = "") -> Seen | None:
        """Take one indication in (inf: overload; not a number: passed over) and return what it was the sign of."""
        if math.isnan(value) or self.done:
            return None
        sample = Sample(at_s, value, text)
        marked = self._marked(sample) if self.rule.markable and not self._held else None
        if marked is not None:
            return marked
        seen = self._in_the_air(sample) if self._is_open(value) else self._down(sample)
        if seen is None and self._missed:
            self._missed = False
            return Seen(Happening.MARK_MISSED, at_s, self.shape)
        return seen

    def broken_off(self) -> None:
        """Take it in that the meter was away: what stood before is no part of what comes now."""
        if self._touch is not None:
            self._begin_anew()
        self._marks.broken_off()

    # ---- marks

    @property
    def marking(self) -> bool | None:
        """Whether a mark has been made and the points come now; None where touches say nothing any more."""
        return None if self._marks.spoilt or not self.rule.markable else self._marks.begun

    @property
    def mark_fault(self) -> str:
        """Why touches were no mark, the last time they were none."""
        return self._marks.why

    @property
    def mark_touch_s(self) -> tuple[float, float]:
        """How long a touch of a mark has to last at least and may last at most, in seconds."""
        return self._marks.least_s, self._marks.touch_s

    def _marked(self, sample: Sample) -> Seen | None:
        """Follow the touches; what stood between two marks counts."""
        band = self.rule.band(sample.value) if math.isfinite(sample.value) else 0.0
        match self._marks.see(sample, self._sight(sample.value), band):
            case Mark.DONE:
                stood = self._marks.worst
                assert stood is not None
                self.done = True
                return Seen(Happening.KEPT, sample.at_s, Shape.STANDS, (stood,))
            case Mark.BEGUN:
                self._begin_anew()
                self._restless = False  # the touches of a mark are no contact that jumped
                return Seen(Happening.MARKED, sample.at_s)
            case Mark.SPOILT:
                return self._spoilt(sample.at_s)
            case Mark.MISSED:
                self._missed = True
        return None

    def _spoilt(self, at_s: float) -> Seen | None:
        """Say so, but not before a contact that is seen has had its chance to give a reading."""
        self._spoilt_unsaid = self._touch is not None
        return None if self._spoilt_unsaid else Seen(Happening.MARK_SPOILT, at_s, Shape.OPEN)

    def _sight(self, value: float) -> Sight:
        if self._is_open(value):
            return Sight.OPEN
        return Sight.TOUCH if self.rule.touch_like(value) else Sight.OTHER

    # ---- tips in the air, or overload

    def _is_open(self, value: float) -> bool:
        if math.isinf(value):
            return True
        return self.rule.opens is Opens.ZERO and not self._held and abs(value) <= self.rule.open_below

    def _in_the_air(self, sample: Sample) -> Seen | None:
        if math.isinf(sample.value) and self._touch is not None and self._touch.climbs_high:
            return self._overloaded(sample, Shape.CHARGING)
        self._left_s = sample.at_s if self._left_s is None else self._left_s
        self._air += math.isinf(sample.value)
        if self._touch is not None:
            if sample.at_s - self._left_s >= self.rule.lift_s * (1.0 - 1e-9):
                return self._let_go(sample)
            return None
        self.lifted = True
        if self._held and self._long_open((self._air, sample.at_s - self._left_s)):
            return self._overloaded(sample, Shape.STANDS)
        return None

    def _let_go(self, sample: Sample) -> Seen | None:
        """End a contact; what had been told to stand counts, unless the tips left before anybody could hear of it."""
        touch, told = self._touch, self._settled_as
        if touch is not None and told is not None and self._gone_s(sample) - told.at_s >= self.rule.reaction_s:
            return self._kept(touch, sample)
        jumped = touch is not None and touch.jumped and not self._taken
        self._restless = self._restless or jumped
        self._begin_anew()
        if self._spoilt_unsaid:
            return self._spoilt(sample.at_s)
        return Seen(Happening.LIFTED, sample.at_s, Shape.BAD_CONTACT if jumped else Shape.OPEN)

    def _gone_s(self, sample: Sample) -> float:
        """Return since when the tips have been in the air."""
        return sample.at_s if self._left_s is None else self._left_s

    def _begin_anew(self) -> None:
        self._touch, self._taken, self._settled_as = None, False, None
        self.lifted = True

    def _long_open(self, stretch: tuple[int, float]) -> bool:
        return stretch[0] >= _OVERLOADS and stretch[1] >= self.rule.overload_s

    def _overloaded(self, sample: Sample, shape: Shape) -> Seen:
        self.done = True
        return Seen(Happening.KEPT, sample.at_s, shape, (Sample(sample.at_s, math.inf, sample.text),))

    # ---- tips down

    def _down(self, sample: Sample) -> Seen | None:
        if not self.lifted:
            return None  # still on the points of the check before
        touch, began = self._touch, self._touch is None
        if touch is None:
            touch = self._touch = Touch(self.rule, sample.at_s, self._restless)
        elif self._left_s is not None:
            self._bounced(touch)
        self._left_s, self._air = None, 0
        moved_on = touch.follow(sample)
        if self._settled_as is not None:
            return self._still_there(touch, sample, moved_on=moved_on)
        if self._taken:
            return None
        ahead_s = 0.0 if self._contacts or touch.doubtful else self.rule.lead_s
        if touch.rests(ahead_s) and not self._perhaps_a_mark(touch, sample):
            return self._count(touch, sample)
        return Seen(Happening.TOUCHED, sample.at_s) if began else None

    def _perhaps_a_mark(self, touch: Touch, sample: Sample) -> bool:
        """Whether this may still be only a touch of a mark."""
        short = sample.at_s - touch.began_s <= 2.0 * self._marks.touch_s
        return self.rule.markable and short and self.rule.touch_like(touch.reading)

    def _still_there(self, touch: Touch, sample: Sample, *, moved_on: bool) -> Seen | None:
        """Keep what was told ahead once it has stood long enough; begin anew where the reading moves on."""
        if moved_on:
            self._settled_as, self._taken = None, False
            return Seen(Happening.MOVED_ON, sample.at_s)
        return self._kept(touch, sample) if touch.rests() else None

    def _kept(self, touch: Touch, sample: Sample) -> Seen:
        self.done = True
        return Seen(Happening.KEPT, sample.at_s, touch.shape, (touch.typical(),))

    def _bounced(self, touch: Touch) -> None:
        touch.bounced()
        if self._settled_as is not None:
            self._settled_as, self._taken = None, False

    def _count(self, touch: Touch, sample: Sample) -> Seen | None:
        self._taken = True
        if not self._contacts and not touch.doubtful:
            if touch.rests():
                return self._kept(touch, sample)
            self._settled_as = Seen(Happening.SETTLED, sample.at_s, touch.shape, (touch.typical(),))
            return self._settled_as
        self._contacts.append(touch.typical())
        if len(self._contacts) == 1:
            return Seen(Happening.RESEAT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))
        first, second = self._contacts[-2:]
        if self.rule.agreeing(first.value, second.value):
            self.done = True
            return Seen(Happening.KEPT, sample.at_s, touch.shape, (first, second))
        if len(self._contacts) >= self.rule.most_contacts:
            self.done = True
            return Seen(Happening.NO_CONTACT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))
        return Seen(Happening.RESEAT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))
