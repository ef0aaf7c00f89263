"""One check while it is asked for: what the meter has shown, what capture makes of it, what it comes to."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace

from benchcheck.bench.meter import Meter
from benchcheck.bench.model import Bench
from benchcheck.instruments.power_watch import Rule
from benchcheck.kinds.check import Check
from benchcheck.quantity import Display, DisplayState, format_value
from benchcheck.readings.capture import Capture, Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.capturing import capture_rule, of_contacts, shown_value
from benchcheck.readings.course import Shape
from benchcheck.readings.reading import Reading
from benchcheck.score.capability import capability
from benchcheck.session.answers import Step
from benchcheck.session.live import Glimpse
from benchcheck.session.power_rules import stop_for
from benchcheck.terminal.forecast import Forecast, coarse_s

__all__ = ["OPEN_SEEN", "Asking", "asking_of"]

_KEPT = 1 << 15  # half a minute of the fastest meter
_SILENT_S = 2.5
_SHOWN_S = 0.05  # a shorter time is no number to keep to
_ANEW = "r begins anew"
_BY_HAND = "accepted by hand before it stood still"
#: looks in a row, the tips being on, after which a rail above its maximum is no knock of a tip (no source).
_IN_A_ROW = 3
#: what is said before what open leads show is taken for a fault.
OPEN_SEEN = "the meter shows what open leads show: tips on bare metal, then Enter; the same once more counts"
_BEYOND = "above its maximum before it stood still"
#: where a climb is given up as an end and named as a climb instead.
_MOVES = {
    Shape.CHARGING: DisplayState.CLIMBS,
    Shape.FALLING: DisplayState.FALLS,
    Shape.BAD_CONTACT: DisplayState.JUMPS,
}


@dataclass(slots=True)
class Asking:
    """A check being asked for; `meter` and `rule` are None where no linked meter reads it."""

    step: Step
    meter: Meter | None = None
    rule: CaptureRule | None = None
    capture: Capture | None = None
    latest: Reading | None = None
    trouble: str = ""
    heard_s: float | None = None
    waiting: str = ""
    retries: list[str] = field(default_factory=list)
    _down: bool = False
    _open_said: bool = False  # that what was said to be on the points shows what open leads do
    _on: tuple[Reading, ...] = ()  # the last looks at the points themselves
    _left: Forecast = field(default_factory=Forecast)
    _glimpses: deque[Glimpse] = field(default_factory=lambda: deque(maxlen=_KEPT))

    def __post_init__(self) -> None:
        self.begin_anew()

    @property
    def check(self) -> Check:
        """The check."""
        return self.step.check

    @property
    def exchanged(self) -> bool:
        """Whether red and black are exchanged for this reading."""
        return self.step.exchanged

    def begin_anew(self) -> None:
        """Wait for the tips to be put on."""
        self.capture = Capture(self.rule) if self.rule is not None else None
        self._glimpses.clear()
        self._down, self._on = False, ()

    @property
    def tips_down(self) -> bool:
        """Whether somebody said, or the meter shows, that the tips are on their points."""
        return self._down or (self.capture is not None and self.capture.shape is not Shape.OPEN)

    @property
    def in_the_air(self) -> bool:
        """Whether what the meter shows is that of open leads."""
        over = self.latest is not None and self.latest.display.state is DisplayState.OVERLOAD
        return over and not self.tips_down

    def put_down(self) -> None:
        """Take it from a person that the tips are on their points."""
        self._down = True
        if self.capture is not None:
            self.capture.placed()

    def take(self, glimpse: Glimpse) -> Seen | None:
        """Take one look at the meter in and return what it was the sign of."""
        self.trouble, self.heard_s = glimpse.trouble, glimpse.at_s
        if glimpse.reading is None or self.capture is None:
            self.latest = None
            if self.capture is not None:
                self.capture.broken_off()
            self._on = ()
            return None
        self.latest = glimpse.reading
        self._glimpses.append(glimpse)
        seen = self.capture.feed(glimpse.at_s, shown_value(glimpse.reading), glimpse.reading.display.text)
        touches = self.capture.shape is not Shape.OPEN
        self._on = (*self._on, glimpse.reading)[-_IN_A_ROW:] if touches else ()
        if seen is not None and seen.happening is Happening.NO_CONTACT:
            for one in seen.samples:
                self.refuse(one.text)
            self.begin_anew()
        return self._doubted(seen) if seen is not None and seen.happening is Happening.KEPT else seen

    def _doubted(self, seen: Seen) -> Seen:
        """Have somebody say a second time that the tips are on where a good unit does not show what open leads do."""
        known = self.rule is None or self.rule.open_is_good or seen.shape is not Shape.STANDS
        if known or not seen.overloaded or self._open_said:
            return seen
        self._open_said = True
        self.refuse(seen.samples[-1].text)
        self.begin_anew()
        return replace(seen, happening=Happening.NOTHING_SEEN)

    def refuse(self, shown: str) -> None:
        """Keep a reading that is not accepted: in the record at once, and with the one that comes."""
        self.step.refuse(shown)
        self.retries.append(shown)

    def silent(self, now_s: float) -> None:
        """Say so where the meter has not answered for a while; what it showed last is then no reading any more."""
        if self.meter is None or self.trouble:
            return
        self.heard_s = now_s if self.heard_s is None else self.heard_s
        if now_s - self.heard_s > _SILENT_S:
            self.latest = None
            self.waiting = f"no reading for {now_s - self.heard_s:.0f} s; slow, or check its power and cable"
        else:
            self.waiting = ""

    def readings_of(self, seen: Seen) -> tuple[Reading, ...]:
        """Return the readings that count, one for each contact."""
        by_time = {one.at_s: one.reading for one in self._glimpses}
        found = [by_time.get(one.at_s) for one in seen.samples]
        kept = [one for one in found if one is not None] or ([self.latest] if self.latest is not None else [])
        return of_contacts([self.finished(one) for one in kept])

    def beyond(self) -> Reading | None:
        """Return the reading of a rail above its maximum, which is not waited for until it stands; else None."""
        stops = [stop_for(self.check, (one,)) for one in self._on] if self.check.powered else []
        above = [one is not None and one.rule is Rule.OVER_VOLTAGE for one in stops]
        if len(above) < _IN_A_ROW or not all(above):
            return None
        latest = self._on[-1]
        return self.finished(replace(latest, note=_joined(latest.note, _BEYOND)))

    def by_hand(self) -> Reading | None:
        """Return what the meter shows now, with the way it goes where it does not stand; None without a reading."""
        latest, capture = self.latest, self.capture
        if latest is None or capture is None:
            return None
        state = _MOVES.get(capture.shape)
        if state is None:
            return self.finished(replace(latest, note=_joined(latest.note, _BY_HAND)))
        shown = latest.display
        text = str(state) if state is DisplayState.JUMPS else f"{state} to {shown.text}"
        value = (None, None) if state is DisplayState.JUMPS else (shown.value, shown.resolution)
        over = state is not DisplayState.JUMPS and shown.state is DisplayState.OVERLOAD
        return self.finished(replace(latest, display=Display(text, state, *value, to_overload=over)))

    def finished(self, reading: Reading) -> Reading:
        """Return a reading with which way round the leads were, and the tries before it."""
        polarity = "swapped" if self.exchanged else reading.polarity
        return replace(reading, polarity=polarity, retries=(*reading.retries, *self.retries))

    def state(self) -> str:
        """Return in words what the reading is doing."""
        if self.trouble or self.waiting:
            return f"no reading: {self.trouble}" if self.trouble else self.waiting
        capture = self.capture
        if capture is None:
            return ""
        if capture.shape is Shape.OPEN:
            return self._waiting() if capture.lifted else "lift the tips first"
        end = capture.forecast()
        if end is not None:
            return f"{capture.shape}{self._forecast(end)}"
        self._left.forget()
        left_s = capture.left_s() if capture.shape in _MOVES else None
        return f"{capture.shape}{_standing(left_s)}"

    def _waiting(self) -> str:
        """Return in words how to say that the tips are on, where the meter cannot see it."""
        rule, capture = self.rule, self.capture
        if self._down:
            return "reading"
        if rule is None or capture is None or not rule.open_is_good:
            return "waiting for the tips"
        if not rule.markable or capture.marking is None:
            return "tips on, then Enter: open leads show the same"
        touch = "tips together" if rule.opens is Opens.OVERLOAD else "the known cell"
        if capture.marking:
            return f"now the points for a second, then {touch} 3 times"
        each = _each(capture.mark_touch_s)
        return f"{touch} 3 times, {each}, the points, 3 times again; or tips on, Enter"

    def mark_words(self, seen: Seen) -> str:
        """Return in words why touches were no mark, what is allowed and what to do; "" where they were none of one.

        A mark shows that the leads are whole; that the tips were on these points between two is somebody's word.
        """
        capture = self.capture
        if capture is None or seen.happening not in (Happening.MARK_MISSED, Happening.MARK_SPOILT):
            return ""
        if seen.happening is Happening.MARK_SPOILT:
            return (
                f"{capture.mark_fault}, so the marks say nothing: hold the tips on until it counts, or Enter; {_ANEW}"
            )
        each = _each(capture.mark_touch_s)
        if capture.mark_fault.startswith("held"):
            return f"{capture.mark_fault}: read as the points; for a mark lift, then touch 3 times, {each}"
        return f"no mark, {capture.mark_fault}: touch 3 times anew, {each}"

    def _forecast(self, end: tuple[float, float]) -> str:
        """Return in words where a climb tends to and how long that takes."""
        value, tau_s = end
        if self.latest is None or self.rule is None or not math.isfinite(value):
            return ""
        shown = format_value(float(f"{value:.2g}"), self.check.quantity_unit, ascii=True)
        away = abs(value - (self.latest.display.value or value)) / self.rule.count_at(value)
        wait_s = tau_s * math.log(max(1.0, away)) * 1.25
        left_s = self._left.left_s(self.heard_s or 0.0, wait_s)
        return f"; towards {shown}, about {left_s} s more"


def _standing(left_s: float | None) -> str:
    """Return in words what a climb that has come to a stand waits for, "" where it has not."""
    if left_s is None:
        return ""
    return (
        f"; stands now, counts once it has stood {coarse_s(left_s)} s more" if left_s else "; creeps on: hold still"
    )


def _each(touch_s: tuple[float, float]) -> str:
    """Return in words how long a touch of a mark lasts; no lower end where a fast meter sees any touch."""
    least_s, most_s = touch_s
    shortest = f"{least_s:.1f} to " if least_s >= _SHOWN_S else "at most "
    return f"{shortest}{most_s:.1f} s each"


def asking_of(step: Step, meter: Meter | None, bench: Bench) -> Asking:
    """Return a check to be asked for, with how it is captured where a linked meter reads it."""
    if meter is None:
        return Asking(step)
    able = capability(step.check, bench, step.session)
    return Asking(step, meter, capture_rule(step.check, meter, step.session, open_is_good=able.overload))


def _joined(note: str, more: str) -> str:
    return f"{note}; {more}" if note else more
