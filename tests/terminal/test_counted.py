"""An Enter just after a reading has counted by itself: whose it is."""

from __future__ import annotations

import math

from benchcheck.readings.capture import Capture
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Step
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.counted import LastCounted
from tests.factories import check
from tests.readings.test_capture import RULE


def next_check(*, lifted: bool) -> Asking:
    """The check after one that counted at 10 s, the tips seen to leave or not."""
    asking = Asking(Step(check("R14.resistance"), 2, 9, Session()), rule=RULE)
    asking.capture = Capture(RULE, lifted=lifted)
    return asking


def test_an_enter_soon_after_a_reading_counted_is_asked_for_again_and_the_second_one_counts() -> None:
    asking, last = next_check(lifted=True), LastCounted(10.0)
    assert last.holds_back(asking, 10.3)
    assert not last.holds_back(asking, 10.4)
    assert last.holds_back(next_check(lifted=True), 10.5), "the next check is another one"


def test_an_enter_counts_at_once_where_the_tips_were_seen_to_leave_in_good_time() -> None:
    assert not LastCounted(10.0).holds_back(next_check(lifted=True), 11.0)


def test_while_the_tips_were_never_seen_to_leave_an_enter_is_asked_for_again_however_late() -> None:
    asking, last = next_check(lifted=False), LastCounted(10.0)
    assert last.holds_back(asking, 60.0)
    assert not last.holds_back(asking, 60.5)


def test_where_nothing_counted_by_itself_an_enter_is_what_it_says() -> None:
    assert not LastCounted(-math.inf).holds_back(next_check(lifted=False), 10.0)
    said = next_check(lifted=False)
    said.put_down()
    assert not LastCounted(10.0).holds_back(said, 10.3), "that one takes the reading as it is"
