"""Hands-free capture: what counts, when, and what a reading's course is called."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.readings.capture import Capture, Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.course import Course, Shape
from benchcheck.simulation.contact import Contact, MeterPace, indications
from tests.benchmarks.contact_capture import accepted, campaign, off_by

PACE = MeterPace(rate_hz=10.0)
RULE = CaptureRule(PACE.count_at, short_below=0.8, ceiling=PACE.highest_ohm)
OL = math.inf
RESTED = [Happening.TOUCHED, Happening.SETTLED, Happening.KEPT]


def fed(capture: Capture, shown: list[float], every_s: float = 0.1, from_s: float = 0.0) -> list[Seen]:
    """Feed readings evenly spaced and return what was seen."""
    told = [capture.feed(from_s + every_s * place, value) for place, value in enumerate(shown)]
    return [one for one in told if one is not None]


def happened(seen: list[Seen]) -> list[Happening]:
    return [one.happening for one in seen]


def test_a_reading_that_stands_counts_and_nothing_after_it_does() -> None:
    capture = Capture(RULE)
    seen = fed(capture, [OL, OL, 4700.0, 4680.0, 4680.0, 4680.0, 4680.0, 4680.0, 4680.0])
    assert happened(seen) == RESTED
    assert [one.value for one in seen[-1].samples] == [4680.0]
    assert capture.done


def test_tips_still_on_the_points_of_the_check_before_give_nothing() -> None:
    seen = fed(Capture(RULE), [4680.0] * 20)
    assert seen == []
    assert happened(fed(Capture(RULE, lifted=True), [4680.0] * 20))[-1] is Happening.KEPT


def test_a_capacitor_that_charges_is_named_and_taken_only_at_its_end() -> None:
    capture = Capture(RULE)
    shapes, taken = [], None
    for at_s, shown in indications(Contact("slow", 85e3, tau_s=3.0), PACE, random.Random(3), 60.0):
        taken = capture.feed(at_s, shown) or taken
        shapes.append(capture.shape)
        if capture.done:
            break
    assert Shape.CHARGING in shapes
    assert taken is not None
    assert taken.samples[0].value == pytest.approx(85e3, abs=100.0)


def test_a_forecast_tells_end_and_time_constant_of_a_climb() -> None:
    capture = Capture(RULE)
    for at_s, shown in indications(Contact("slow", 85e3, tau_s=20.0), PACE, random.Random(1), 15.0):
        if at_s > 14.0:
            break
        capture.feed(at_s, shown)
    told = capture.forecast()
    assert told is not None
    assert told[0] == pytest.approx(85e3, rel=0.05)
    assert told[1] == pytest.approx(20.0, rel=0.1)


def test_metal_from_the_first_reading_is_called_a_short_and_no_capacitor() -> None:
    taken = fed(Capture(RULE), [OL, OL, 0.3, 0.3, 0.3, 0.3, 0.3])[-1]
    assert taken.shape is Shape.SHORT


def test_ohms_below_zero_are_charge_and_never_count() -> None:
    capture = Capture(RULE)
    assert happened(fed(capture, [OL, OL, *[-120.0] * 50])) == [Happening.TOUCHED]
    assert capture.shape is Shape.RESIDUAL_CHARGE


def test_a_contact_that_keeps_jumping_is_named_and_gives_nothing() -> None:
    chance = random.Random(5)
    capture = Capture(RULE)
    seen = fed(capture, [OL, OL, *(chance.uniform(100.0, 900.0) for _ in range(60))])
    assert happened(seen) == [Happening.TOUCHED]
    assert capture.shape is Shape.BAD_CONTACT
    assert fed(capture, [OL] * 5, from_s=6.2)[0].shape is Shape.BAD_CONTACT


def jumpy(end: float) -> list[float]:
    """A contact of a second that goes back and forth, then stands."""
    return [OL, OL, *(end * (1.5 if place % 2 else 1.2) for place in range(10)), *[end] * 14, OL, OL, OL, OL]


def test_after_a_doubtful_contact_a_second_one_is_asked_for_and_both_count() -> None:
    capture = Capture(RULE)
    first = fed(capture, jumpy(4680.0))
    assert happened(first) == [Happening.TOUCHED, Happening.RESEAT, Happening.LIFTED]
    second = fed(capture, [OL, OL, *[4681.0] * 9], from_s=5.0)
    assert second[-1].happening is Happening.KEPT
    assert [one.value for one in second[-1].samples] == [4680.0, 4681.0]


def test_a_contact_that_never_stood_is_remembered_and_the_next_is_taken_twice_and_held_longer() -> None:
    """What went back and forth once may stand by luck: one steady look after it is no reading yet."""
    steady, jumping = (
        [4680.0] * 7,
        [OL, OL, *(4680.0 * (1.5 if place % 2 else 1.1) for place in range(12)), *[OL] * 4],
    )
    assert happened(fed(Capture(RULE), [OL, OL, *steady]))[-1] is Happening.KEPT
    capture = Capture(RULE)
    assert happened(fed(capture, jumping)) == [Happening.TOUCHED, Happening.LIFTED]
    assert happened(fed(capture, [OL, OL, *steady, *[OL] * 4], from_s=4.0)) == [Happening.TOUCHED, Happening.LIFTED]
    seen = fed(capture, [OL, OL, *steady, *steady, *[OL] * 4], from_s=8.0)
    assert happened(seen) == [Happening.TOUCHED, Happening.RESEAT, Happening.LIFTED]
    last = fed(capture, [OL, OL, *steady, *steady], from_s=12.0)
    assert last[-1].happening is Happening.KEPT
    assert len(last[-1].samples) == 2


def test_a_clean_contact_after_one_that_settled_is_no_reason_for_doubt() -> None:
    capture = Capture(RULE)
    seen = fed(capture, [OL, OL, 4680.0, 4680.0, OL, OL, OL, OL])
    assert happened(seen) == [Happening.TOUCHED, Happening.LIFTED]
    assert happened(fed(capture, [OL, OL, *[4680.0] * 7], from_s=2.0)) == RESTED


def test_contacts_that_do_not_agree_are_no_reading() -> None:
    capture = Capture(RULE)
    fed(capture, jumpy(4680.0))
    for place, value in enumerate((4750.0, 4600.0, 4800.0)):
        seen = fed(capture, [OL, OL, *[value] * 9, OL, OL, OL, OL], from_s=5.0 + 2.0 * place)
    assert Happening.NO_CONTACT in happened(seen)
    assert len(seen[-1].samples or seen[-2].samples) == 4


def test_a_bounce_belongs_to_its_contact() -> None:
    seen = fed(Capture(RULE), [OL, OL, 500.0, OL, 480.0, *[470.0] * 12])
    assert happened(seen) == RESTED


def test_what_stood_at_the_touch_and_moves_on_before_it_stood_long_enough_does_not_count() -> None:
    capture = Capture(RULE)
    seen = fed(capture, [OL] * 4 + [520.0] * 6 + [470.0] * 20, every_s=0.05)
    assert happened(seen) == [*RESTED[:2], Happening.MOVED_ON, *RESTED[1:]]
    assert seen[-1].samples[0].value == 470.0


def test_tips_lifted_at_the_beep_keep_what_was_beeped_for() -> None:
    seen = fed(Capture(RULE), [OL] * 4 + [520.0] * 7 + [OL] * 10, every_s=0.05)
    assert happened(seen) == RESTED


def test_tips_that_leave_sooner_than_anybody_can_hear_a_beep_have_slipped() -> None:
    """Nobody reacts to a sound within a tenth of a second (simple reaction times start near 0.15 s; from memory)."""
    seen = fed(Capture(RULE), [OL] * 4 + [520.0] * 5 + [OL] * 10, every_s=0.05)
    assert happened(seen) == [*RESTED[:2], Happening.LIFTED]


@pytest.mark.parametrize("rate_hz", [3.0, 4.0, 10.0, 20.0, 50.0, 1000.0])
def test_a_faster_meter_needs_more_readings_but_never_a_longer_wait(rate_hz: float) -> None:
    """A hand that is not still holds a place for a moment: readings within it are one look and no more."""
    seen = fed(Capture(RULE, lifted=True), [4680.0] * 1000, every_s=1.0 / rate_hz)
    assert happened(seen)[-1] is Happening.KEPT
    assert seen[-1].at_s >= max(4.0 / rate_hz, 0.15) - 1e-9
    slower = fed(Capture(RULE, lifted=True), [4680.0] * 1000, every_s=2.0 / rate_hz)
    assert seen[-1].at_s < slower[-1].at_s


def test_readings_that_agree_only_to_a_count_and_those_that_follow_others_must_do_so_longer() -> None:
    still, flickers, after = (
        fed(Capture(RULE, lifted=True), shown)[-1].at_s
        for shown in ([4680.0] * 20, [4680.0, 4681.0] * 10, [900.0, 4680.0, 4700.0, 300.0, *[4680.0] * 20])
    )
    assert still < flickers
    assert still < after - 0.4


def test_who_knows_that_the_tips_are_down_need_not_prove_it() -> None:
    capture = Capture(RULE)
    capture.placed()
    assert fed(capture, [OL] * 10)[-1].overloaded
    volts = CaptureRule(lambda value: 0.001, opens=Opens.ZERO, open_below=0.02, never_negative=False)
    assert fed(Capture(volts), [0.003] * 20) == []
    residual = Capture(volts)
    residual.placed()
    assert fed(residual, [0.003] * 20)[-1].samples[0].value == 0.003


def test_a_climb_past_the_highest_range_ends_in_overload() -> None:
    capture = Capture(CaptureRule(PACE.count_at, ceiling=60e6))
    taken = fed(capture, [OL, OL, *(2e6 * place for place in range(30)), OL])[-1]
    assert taken.overloaded
    assert taken.shape is Shape.CHARGING


@settings(max_examples=200, deadline=None)
@given(st.lists(st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([0.0, OL, 1e-30, 4680.0]))))
def test_no_indications_upset_it(shown: list[float]) -> None:
    capture = Capture(RULE, lifted=True)
    fed(capture, [value for value in shown if value > -1e300 or math.isnan(value)])
    assert isinstance(capture.shape, Shape)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**9), st.sampled_from([3.0, 7.0, 15.0]))
def test_what_is_accepted_lies_within_a_count_of_what_the_meter_shows_at_last(seed: int, rate_hz: float) -> None:
    outcomes, pace = campaign(4, rate_hz, first_seed=seed)
    settling = [one for one in outcomes if accepted(one) and one.placing.kind in ("clean", "charging 1 s", "short")]
    assert all(off_by(one, pace) <= 1.5 for one in settling)


def test_a_course_keeps_few_points_however_long_it_is() -> None:
    course = Course()
    for place in range(20_000):
        course.add(0.02 * place, 1e5 * -math.expm1(-place / 1000.0), 1.0)
    assert len(course._points) <= 300
    end = course.end()
    assert end is None or end[0] == pytest.approx(1e5, rel=0.02)
