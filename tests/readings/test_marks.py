"""Where what is right looks like tips in the air, only touches before and after the points let it count.

Proving a tester on a known source before and after a dead circuit is common practice of the trade (no source here).
"""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.readings.capture import Capture, Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.course import Shape
from benchcheck.simulation.contact import MeterPace

PACE = MeterPace(rate_hz=10.0)
OL = math.inf
OPEN_RIGHT = CaptureRule(PACE.count_at, short_below=0.8, ceiling=PACE.highest_ohm, open_is_good=True)
ZERO_RIGHT = CaptureRule(
    lambda value: 0.001, opens=Opens.ZERO, open_below=0.05, never_negative=False, open_is_good=True, cell_volt=1.562
)
TOUCHES = [0.3, 0.3, 0.3, OL, OL] * 3
MARK = [*TOUCHES, *[OL] * 8]
POINTS = [OL] * 14


def fed(capture: Capture, shown: list[float], every_s: float = 0.1, from_s: float = 0.0) -> list[Seen]:
    told = [capture.feed(from_s + every_s * place, value) for place, value in enumerate(shown)]
    return [one for one in told if one is not None]


def answered(seen: list[Seen]) -> list[Seen]:
    return [one for one in seen if one.happening is Happening.KEPT]


def happenings(seen: list[Seen]) -> set[Happening]:
    return {one.happening for one in seen}


def test_overload_between_two_marks_counts() -> None:
    seen = fed(Capture(OPEN_RIGHT), [OL] * 5 + MARK + POINTS + MARK)
    assert Happening.MARKED in happenings(seen)
    assert [(one.overloaded, one.shape) for one in answered(seen)] == [(True, Shape.STANDS)]


@pytest.mark.parametrize(
    "shown",
    [
        [OL] * 200,
        [OL] * 5 + MARK + [OL] * 200,
        [OL] * 20 + MARK,
        [OL] * 20 + [0.3, 0.3, 0.3, OL] * 2 + [OL] * 20,
        [OL] * 5 + MARK + POINTS + [0.3, 0.3, 0.3] + [OL] * 20,
        [OL] * 5 + MARK + POINTS + [0.3, 0.3, 0.3, OL, OL] * 2 + [OL] * 20,
        [OL] * 5 + MARK + POINTS + [0.3, 0.3, 0.3, OL, OL] * 4 + [OL] * 20,
        [OL] * 5 + MARK + POINTS + [0.3, OL] * 3 + [OL] * 20,
        [OL] * 5 + MARK + [OL, OL] + TOUCHES + [OL] * 20,
        [OL] * 5 + MARK + [OL] * 320 + MARK,
    ],
    ids=[
        "tips in the air",
        "in the air after the first mark",
        "one mark only",
        "a knock",
        "touched once after the points",
        "touched twice",
        "four times",
        "bounces no longer than a reading",
        "no time for the points",
        "half a minute between the marks",
    ],
)
def test_what_lifted_probes_can_show_is_never_taken_for_open_and_good(shown: list[float]) -> None:
    assert answered(fed(Capture(OPEN_RIGHT), shown)) == []


@pytest.mark.parametrize("dwell", [2, 3, 5, 7])
@pytest.mark.parametrize("move", [2, 4, 7, 12])
def test_a_bridge_felt_on_the_points_is_never_open_and_good(dwell: int, move: int) -> None:
    """Both marks as they should be, and metal where OL was expected; then the hand goes on as if all were well."""
    bridged = [*MARK, *[OL] * 12, *[0.3] * dwell, *[OL] * move, *MARK]
    capture = Capture(OPEN_RIGHT)
    seen = fed(capture, [OL] * 5 + bridged * 3 + MARK + POINTS + MARK)
    assert not any(one.overloaded for one in answered(seen))
    assert Happening.MARK_SPOILT in happenings(seen)
    assert capture.marking is None


def test_a_bridge_held_on_is_read_as_one() -> None:
    seen = fed(Capture(OPEN_RIGHT), [OL] * 5 + MARK + [OL] * 8 + [0.3] * 30)
    (taken,) = answered(seen)
    assert (taken.shape, taken.overloaded) == (Shape.SHORT, False)


def test_a_leak_held_on_is_read_as_one() -> None:
    (taken,) = answered(fed(Capture(OPEN_RIGHT), [OL] * 5 + MARK + [OL] * 8 + [220e3] * 12))
    assert taken.samples[0].value == 220e3


def test_a_climb_that_ends_in_overload_needs_no_second_mark() -> None:
    (taken,) = answered(fed(Capture(OPEN_RIGHT), [OL] * 5 + MARK + [OL, *(2e6 * place for place in range(30)), OL]))
    assert taken.overloaded
    assert taken.shape is Shape.CHARGING


@pytest.mark.parametrize("left_on", [2, 3, 5, 7])
@pytest.mark.parametrize("knocks", [0, 1, 2])
def test_tips_left_on_from_the_check_before_are_no_touch_of_a_mark(left_on: int, knocks: int) -> None:
    """Metal from the first reading on is where the check before left the tips; three touches come after a lift."""
    capture = Capture(OPEN_RIGHT)
    seen = fed(capture, [0.3] * left_on + [OL, OL] + [0.3, 0.3, 0.3, OL, OL] * knocks + [OL] * 12)
    assert Happening.MARKED not in happenings(seen)
    assert not capture.marking
    assert ("touched 3 times" in capture.mark_fault) is False
    again = fed(capture, [*[OL] * 5, *MARK, *POINTS, *MARK], from_s=9.0)
    assert [one.overloaded for one in answered(again)] == [True]


def test_three_touches_after_tips_left_on_were_lifted_are_a_mark() -> None:
    seen = fed(Capture(OPEN_RIGHT), [0.3] * 5 + [OL] * 4 + MARK)
    assert Happening.MARKED in happenings(seen)


@pytest.mark.parametrize("held", [10, 11, 13, 15, 20])
def test_the_rest_of_a_touch_held_too_long_is_no_touch(held: int) -> None:
    """Tips pressed together for a second and a half, then twice as a mark has them: two touches, not three."""
    seen = fed(Capture(OPEN_RIGHT), [OL] * 5 + [0.3] * held + [OL, OL] + [0.3, 0.3, 0.3, OL, OL] * 2 + [OL] * 12)
    assert Happening.MARKED not in happenings(seen)


@pytest.mark.parametrize("bounce", [1, 2])
def test_tips_left_on_that_bounce_were_not_lifted(bounce: int) -> None:
    shown = [0.3] * 4 + [OL] * bounce + [0.3] * 4 + [OL, OL] + [0.3, 0.3, 0.3, OL, OL] + [OL] * 12
    for every_s in (0.02, 0.1):
        if bounce * every_s < 0.2:
            seen = fed(Capture(OPEN_RIGHT), shown, every_s=every_s)
            assert Happening.MARKED not in happenings(seen)


def test_a_meter_that_was_away_breaks_a_mark_off() -> None:
    capture = Capture(OPEN_RIGHT)
    fed(capture, [OL] * 5 + MARK + POINTS)
    capture.broken_off()
    assert answered(fed(capture, MARK, from_s=9.0)) == []
    assert answered(fed(Capture(OPEN_RIGHT), MARK + POINTS)) == []


def test_a_pause_of_the_readings_breaks_a_mark_off() -> None:
    capture = Capture(OPEN_RIGHT)
    fed(capture, [OL] * 5 + MARK + POINTS)
    assert answered(fed(capture, MARK, from_s=20.0)) == []


CELL = [1.561, 1.562, 1.562, 0.002, 0.001] * 3 + [0.001] * 8


def test_volts_near_zero_count_between_two_touches_of_the_known_cell() -> None:
    seen = fed(Capture(ZERO_RIGHT), [0.002] * 5 + CELL + [0.002] * 4 + [0.013] * 9 + [0.002] * 2 + CELL)
    (taken,) = answered(seen)
    assert taken.samples[0].value == 0.013, "the furthest from zero that stood, not what the air shows"


def test_volts_in_the_air_never_count_however_long() -> None:
    chance = random.Random(4)
    drifting = [chance.uniform(-0.04, 0.04) for _ in range(300)]
    for shown in ([0.0] * 300, [0.03] * 300, drifting, CELL + [0.0] * 300):
        assert answered(fed(Capture(ZERO_RIGHT), shown)) == []


def test_charge_that_is_left_is_read_without_any_mark() -> None:
    (taken,) = answered(fed(Capture(ZERO_RIGHT), [0.002] * 5 + [3.31] * 12))
    assert taken.samples[0].value == 3.31


def test_without_a_known_cell_only_a_key_says_that_nothing_is_there() -> None:
    rule = CaptureRule(
        lambda value: 0.001, opens=Opens.ZERO, open_below=0.05, never_negative=False, open_is_good=True
    )
    capture = Capture(rule)
    assert fed(capture, [0.002] * 60) == []
    assert capture.marking is None
    capture.placed()
    assert answered(fed(capture, [0.002] * 20, from_s=7.0))[-1].samples[0].value == 0.002


@pytest.mark.parametrize("every_s", [0.33, 0.2, 0.05, 0.02])
def test_marks_are_seen_at_any_rate_of_reading(every_s: float) -> None:
    """What a hand does, in seconds: 0.3 to 0.8 s a touch, as long as two readings take."""
    touch, gap = max(0.3, 2.6 * every_s), max(0.25, 2.0 * every_s)
    quiet, points = max(1.1, 6.0 * every_s), max(1.4, 6.0 * every_s)
    mark = [(0.3, touch), (OL, gap)] * 3 + [(OL, quiet)]
    course = [(OL, 1.0), *mark, (OL, points), *mark]
    ends = list(itertools.accumulate(lasts for _, lasts in course))
    shown = [
        next(value for (value, _), end in zip(course, ends, strict=True) if place * every_s < end)
        for place in range(int(ends[-1] / every_s))
    ]
    assert len(answered(fed(Capture(OPEN_RIGHT), shown, every_s))) == 1


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([OL, 0.3, 5e4]), st.integers(1, 25)), max_size=14))
def test_open_is_never_good_without_six_touches(stretches: list[tuple[float, int]]) -> None:
    shown = [value for value, length in stretches for _ in range(length)]
    touches = sum(value == 0.3 for value, _ in stretches)
    seen = answered(fed(Capture(OPEN_RIGHT), shown))
    if touches < 6:
        assert not any(one.overloaded and one.shape is Shape.STANDS for one in seen)


def test_nets_that_charge_for_a_moment_are_open_when_they_stand_so() -> None:
    """A rise through a few readings to overload is charge going in, as a reverse diode on a board shows it."""
    seen = fed(Capture(OPEN_RIGHT), [OL] * 50 + [0.3] * 15 + [OL] * 10, 0.02)
    assert answered(seen) == []
    touches = ([0.3] * 15 + [OL] * 12) * 3 + [OL] * 50
    shown = [OL] * 50 + touches + [40e3, 90e3, 2e6] + [OL] * 60 + touches
    assert len(answered(fed(Capture(OPEN_RIGHT), shown, 0.02))) == 1


@pytest.mark.parametrize(
    ("shown", "why"),
    [
        ([0.3] * 10, "held longer than 0.8 s"),
        ([0.3] * 3 + [OL] * 12, "touched once, not 3: gaps no longer than 0.8 s"),
        ([0.3, 0.3, 0.3, OL, OL] * 2 + [OL] * 12, "touched 2 times, not 3: gaps no longer than 0.8 s"),
        ([0.3, 0.3, 0.3, OL, OL] * 4 + [OL] * 12, "touched 4 times, not 3: gaps no longer than 0.8 s"),
        ([0.3, OL, OL, OL], "shorter than 2 readings, 0.2 s"),
    ],
)
def test_touches_that_are_no_mark_are_told_with_the_reason_and_the_next_are_one(shown: list[float], why: str) -> None:
    capture = Capture(OPEN_RIGHT)
    seen = fed(capture, [OL] * 5 + shown)
    assert Happening.MARK_MISSED in happenings(seen)
    assert capture.mark_fault == why
    assert capture.mark_touch_s == pytest.approx((0.2, 0.8), rel=1e-6)
    rest = fed(capture, [OL] * 12 + MARK + POINTS + MARK, from_s=0.1 * (5 + len(shown)))
    assert [one.overloaded for one in answered(rest)] == [True]


def test_a_spoilt_mark_says_by_what() -> None:
    capture = Capture(OPEN_RIGHT)
    seen = fed(capture, [OL] * 5 + MARK + POINTS + [0.3] * 3 + [OL] * 20)
    assert Happening.MARK_SPOILT in happenings(seen)
    assert capture.mark_fault == "touched once, not 3: gaps no longer than 0.8 s"


def test_tips_in_the_air_and_a_reading_on_the_points_are_told_as_no_missed_mark() -> None:
    for shown in ([OL] * 100, [OL] * 5 + [220e3] * 12):
        assert Happening.MARK_MISSED not in happenings(fed(Capture(OPEN_RIGHT), shown))
