"""Hands-free capture: told every indication as it comes, it says what the probes are doing and what counts.

Pure: times come in with the indications, nothing waits and nothing is read. The tips touch, the reading settles,
it counts; the tips are lifted before the next. A contact that jumped is taken a second time and both must agree.
Open leads show overload on a driven function and nothing on the others; where that is itself the right answer it
counts only between two marks (see `marks`): neither tips in the air nor a broken lead can make them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum

from benchcheck.readings.course import Course, Shape
from benchcheck.readings.marks import Mark, Marks, Sight
from benchcheck.readings.steady import Run, Sample

__all__ = ["Capture", "CaptureRule", "Happening", "Opens", "Seen"]


class Opens(StrEnum):
    """What the meter shows with the tips in the air."""

    OVERLOAD = "overload"
    ZERO = "zero"


class Happening(StrEnum):
    """What an indication was the last sign of."""

    TOUCHED = "touched"
    LIFTED = "lifted"
    SETTLED = "settled"
    KEPT = "kept"
    MOVED_ON = "moved on"
    RESEAT = "reseat"
    NO_CONTACT = "no contact"
    MARKED = "marked"
    MARK_SPOILT = "mark spoilt"


@dataclass(frozen=True, slots=True)
class CaptureRule:
    """How one check is captured; values in the SI quantity unit.

    `count_at` gives one step of the display for a value, `noise` the meter's own standard deviation. `open_below`
    is the size under which a reading is that of open leads where they show zero. `short_below` is what metal reads
    at most, leads included. `ceiling` is where the highest range overloads. `open_is_good` where what open leads show
    is what a good unit shows; `cell_volt` is then what a mark is made with where that is zero, 0 where there is none.
    `never_negative` for functions that drive a current. At least `least` readings over `hold_s` seconds must stand,
    `unrest_s` longer where the contact moved, and `share` of the time on the move (`jumping_share` where it went back
    and forth); a contact that jumped longer than `doubt_s`, or that follows one which jumped and never stood, must
    stand for `doubtful_s` and is taken twice. Open for less than `lift_s` is a bounce of the same contact.
    What stood sooner than `landing_s` after the touch is settled, but kept only when it still stands by then or the
    tips are lifted: a hand that has just landed may press on.
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
    least: int = 4
    hold_s: float = 0.06
    share: float = 0.25
    jumping_share: float = 0.5
    unrest_s: float = 0.2
    doubt_s: float = 0.7
    doubtful_s: float = 0.6
    landing_s: float = 0.3
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
    _touched_s: float | None = None
    _held: bool = False  # somebody says the tips are down: no sign of contact is waited for
    _run: Run = field(default_factory=Run)
    _course: Course = field(default_factory=Course)
    _air: int = 0  # overloads in a row since the tips left
    _marks: Marks = field(default_factory=Marks)
    _spoilt_unsaid: bool = False
    _contacts: list[Sample] = field(default_factory=list)
    _taken: bool = False  # this contact has given its reading
    _settled_as: Seen | None = None  # settled, not kept yet
    _left_s: float | None = None  # since when the tips seem to be in the air
    _before: int = 0  # readings of this contact before the run that stands now
    _restless: bool = False  # an earlier contact went back and forth and never stood

    def placed(self) -> None:
        """Take it from somebody who knows (a key, a scripted hand) that the tips are down from now on."""
        self._held = True
        self.lifted = True
        self._air, self._left_s = 0, None

    @property
    def shape(self) -> Shape:
        """What the reading looks like right now."""
        if self._touched_s is None:
            return Shape.OPEN
        return self._shape()

    @property
    def contacts(self) -> int:
        """How many contacts have given a reading so far."""
        return len(self._contacts)

    def forecast(self) -> tuple[float, float] | None:
        """Return where a climbing or falling reading tends to and its time constant in s, None where unknown."""
        moving = self._touched_s is not None and (self._course.rising or self._course.falling)
        return self._course.end() if moving else None

    def feed(self, at_s: float, value: float, text: str = "") -> Seen | None:
        """Take one indication in (inf: overload; not a number: passed over) and return what it was the sign of."""
        if math.isnan(value) or self.done:
            return None
        sample = Sample(at_s, value, text)
        marked = self._marked(sample) if self.rule.markable and not self._held else None
        if marked is not None:
            return marked
        return self._in_the_air(sample) if self._is_open(value) else self._down(sample)

    def broken_off(self) -> None:
        """Take it in that the meter was away: what stood before is no part of what comes now."""
        if self._touched_s is not None:
            self._begin_anew()
        self._marks.broken_off()

    # ---- marks

    @property
    def marking(self) -> bool | None:
        """Whether a mark has been made and the points come now; None where touches say nothing any more."""
        return None if self._marks.spoilt or not self.rule.markable else self._marks.begun

    def _marked(self, sample: Sample) -> Seen | None:
        """Follow the touches; what stood between two marks counts."""
        rule = self.rule
        band = 1.2 * rule.count_at(sample.value) + 5.0 * rule.noise if math.isfinite(sample.value) else 0.0
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
        return None

    def _spoilt(self, at_s: float) -> Seen | None:
        """Say so, but not before a contact that is seen has had its chance to give a reading."""
        self._spoilt_unsaid = self._touched_s is not None
        return None if self._spoilt_unsaid else Seen(Happening.MARK_SPOILT, at_s, Shape.OPEN)

    def _sight(self, value: float) -> Sight:
        if self._is_open(value):
            return Sight.OPEN
        return Sight.TOUCH if self._touch_like(value) else Sight.OTHER

    def _touch_like(self, value: float) -> bool:
        rule = self.rule
        if rule.opens is Opens.OVERLOAD:
            return self._metal(value)
        return abs(abs(value) - rule.cell_volt) <= 0.02 * rule.cell_volt + 3.0 * rule.count_at(value)

    # ---- tips in the air, or overload

    def _is_open(self, value: float) -> bool:
        if math.isinf(value):
            return True
        return self.rule.opens is Opens.ZERO and not self._held and abs(value) <= self.rule.open_below

    def _in_the_air(self, sample: Sample) -> Seen | None:
        if math.isinf(sample.value) and self._climbed_over(sample):
            return self._overloaded(sample, Shape.CHARGING)
        self._left_s = sample.at_s if self._left_s is None else self._left_s
        self._air += math.isinf(sample.value)
        if self._touched_s is not None:
            if sample.at_s - self._left_s >= self.rule.lift_s * (1.0 - 1e-9):
                return self._let_go(sample)
            return None
        self.lifted = True
        if self._held and self._long_open((self._air, sample.at_s - self._left_s)):
            return self._overloaded(sample, Shape.STANDS)
        return None

    def _let_go(self, sample: Sample) -> Seen | None:
        """End a contact; what had settled already counts."""
        if self._settled_as is not None:
            return self._kept(sample, self._settled_as)
        jumped = self._course.jumping and not self._taken
        self._restless = self._restless or jumped
        self._begin_anew()
        if self._spoilt_unsaid:
            return self._spoilt(sample.at_s)
        return Seen(Happening.LIFTED, sample.at_s, Shape.BAD_CONTACT if jumped else Shape.OPEN)

    def _begin_anew(self) -> None:
        self._run.clear()
        self._course = Course()
        self._taken, self._settled_as = False, None
        self._touched_s = None
        self._before = 0
        self.lifted = True

    def _long_open(self, stretch: tuple[int, float]) -> bool:
        return stretch[0] >= self.rule.least and stretch[1] >= self.rule.overload_s

    def _climbed_over(self, sample: Sample) -> bool:
        """Whether overload is the end of a climb, which got past half of what the meter can show."""
        high = self._run.count > 0 and self._run.samples[-1].value > 0.5 * self.rule.ceiling
        return self._touched_s is not None and self._course.rising and high

    def _overloaded(self, sample: Sample, shape: Shape) -> Seen:
        self.done = True
        return Seen(Happening.KEPT, sample.at_s, shape, (Sample(sample.at_s, math.inf, sample.text),))

    # ---- tips down

    def _down(self, sample: Sample) -> Seen | None:
        if not self.lifted:
            return None  # still on the points of the check before
        began = self._touched_s is None
        if self._touched_s is None:
            self._touched_s = sample.at_s
        elif self._left_s is not None:
            self._bounced()
        self._left_s, self._air = None, 0
        if self._settled_as is not None:
            return self._still_there(sample, self._settled_as)
        if self._taken:
            return None
        self._follow(sample)
        if self._settled(sample):
            return self._count(sample)
        return Seen(Happening.TOUCHED, sample.at_s) if began else None

    def _still_there(self, sample: Sample, settled: Seen) -> Seen | None:
        """Keep what settled early once the hand has landed; begin anew where the reading moves on."""
        before = self._before
        self._follow(sample)
        if self._before > before:
            self._settled_as, self._taken = None, False
            return Seen(Happening.MOVED_ON, sample.at_s)
        return self._landed(sample, settled)

    def _landed(self, sample: Sample, settled: Seen) -> Seen | None:
        assert self._touched_s is not None
        if sample.at_s - self._touched_s >= self.rule.landing_s * (1.0 - 1e-9):
            return self._kept(sample, settled)
        return None

    def _kept(self, sample: Sample, settled: Seen) -> Seen:
        self.done = True
        return replace(settled, happening=Happening.KEPT, at_s=sample.at_s)

    def _bounced(self) -> None:
        self._before += self._run.count
        self._run.clear()
        self._course.bounced()
        if self._settled_as is not None:
            self._settled_as, self._taken = None, False

    def _follow(self, sample: Sample) -> None:
        count, had = self.rule.count_at(sample.value), self._run.count
        self._run.add(sample, 1.2 * count + 5.0 * self.rule.noise)
        self._before += had + 1 - self._run.count
        self._course.add(sample.at_s, sample.value, count + 3.0 * self.rule.noise)

    def _least(self) -> int:
        """How many readings must agree: the more, the likelier it is that they do so by accident.

        One more for every doubling of the readings before them; one more, or two after others, where they
        agree only to a count.
        """
        rule, before = self.rule, self._before
        doubled = before.bit_length() - (before > 0)
        flickers = self._run.spread > 0.5 * rule.count_at(self._run.mean)
        again = self._restless * rule.least
        return rule.least + doubled + again + flickers * (1 + (before > 0))

    def _settled(self, sample: Sample) -> bool:
        rule, run = self.rule, self._run
        assert self._touched_s is not None
        moved_s = run.samples[0].at_s - self._touched_s
        unrest = min(max(0, self._before - 2), 5) / 5.0
        share = rule.jumping_share if self._course.jumping else rule.share
        needed_s = max(rule.hold_s + unrest * rule.unrest_s, share * moved_s, self._doubtful() * rule.doubtful_s)
        if run.count < self._least() or run.lasted_s < needed_s * (1.0 - 1e-9):
            return False
        if (
            rule.markable
            and self._touch_like(run.mean)
            and sample.at_s - self._touched_s <= 2.0 * self._marks.touch_s
        ):
            return False  # perhaps only a touch of a mark
        if rule.never_negative and run.mean < -self._slack(run.mean):
            return False  # no part reads below zero
        return not self._far_from_end() and not run.drifts(rule.count_at(run.mean))

    def _far_from_end(self) -> bool:
        """Whether a climb or fall is still more than a count from where it tends to."""
        end = self.forecast()
        if end is None:
            return False
        left = abs(end[0] - self._run.mean)
        return left > self.rule.count_at(self._run.mean) + 2.0 * self.rule.noise

    def _count(self, sample: Sample) -> Seen | None:
        self._taken = True
        shape = self._shape()
        if not self._contacts and not self._doubtful():
            settled = Seen(Happening.SETTLED, sample.at_s, shape, (self._run.typical(),))
            self._settled_as = settled
            return self._landed(sample, settled) or settled
        self._contacts.append(self._run.typical())
        if len(self._contacts) == 1:
            return Seen(Happening.RESEAT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))
        first, second = self._contacts[-2:]
        if self._agree(first.value, second.value):
            return self._finished(sample, shape, (first, second))
        if len(self._contacts) >= self.rule.most_contacts:
            self.done = True
            return Seen(Happening.NO_CONTACT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))
        return Seen(Happening.RESEAT, sample.at_s, Shape.BAD_CONTACT, tuple(self._contacts))

    def _finished(self, sample: Sample, shape: Shape, counted: tuple[Sample, ...]) -> Seen:
        self.done = True
        return Seen(Happening.KEPT, sample.at_s, shape, counted)

    def _doubtful(self) -> bool:
        """Whether the contact jumped so long that one reading of it is not to be trusted."""
        assert self._touched_s is not None
        moved_s = self._run.samples[0].at_s - self._touched_s
        return self._restless or (self._course.jumping and moved_s > self.rule.doubt_s)

    def _agree(self, first: float, second: float) -> bool:
        allowed = 2.0 * self.rule.count_at(first) + self.rule.agree * abs(first) + self.rule.contact
        return abs(first - second) <= allowed + 4.0 * self.rule.noise

    def _metal(self, value: float) -> bool:
        return abs(value) <= self.rule.short_below

    def _slack(self, value: float) -> float:
        """How far below zero a reading may lie for noise, offset and a null that was a little too much."""
        return max(3.0 * self.rule.count_at(value) + 4.0 * self.rule.noise, self.rule.contact)

    def _shape(self) -> Shape:
        run, course = self._run, self._course
        if run.count and self.rule.never_negative and run.samples[-1].value < -self._slack(run.mean):
            return Shape.RESIDUAL_CHARGE
        stands = run.count >= self.rule.least and run.lasted_s >= self.rule.hold_s
        if stands and not course.rising and not course.falling:
            return Shape.SHORT if self._metal(run.mean) and not course.turns else Shape.STANDS
        if course.jumping:
            return Shape.BAD_CONTACT
        if course.rising:
            return Shape.CHARGING
        return Shape.FALLING if course.falling else Shape.UNSURE
