"""Tips said to be on that show what open leads show are asked for once more before a part fails on it."""

from __future__ import annotations

import math

from benchcheck.readings.capture import Happening
from benchcheck.readings.capture_rule import CaptureRule
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Step
from benchcheck.session.live import Glimpse
from benchcheck.terminal.asking import OPEN_SEEN, Asking
from benchcheck.terminal.line_by_line import _SEEN
from benchcheck.terminal.sound import Cue
from tests.factories import bench, check, reading

R14 = check("R14.resistance")


def asked(*, open_is_good: bool = False) -> Asking:
    rule = CaptureRule(lambda _: 1.0, ceiling=math.inf, open_is_good=open_is_good)
    return Asking(Step(R14, 1, 9, Session()), bench().meter_for(R14.function), rule)


def happens(asking: Asking, begins_s: float = 0.0) -> list[Happening]:
    """Say that the tips are on and return what two seconds of open leads are the sign of."""
    asking.put_down()
    looks = (asking.take(Glimpse(begins_s + 0.1 * place, reading(R14, "OL"))) for place in range(20))
    return [seen.happening for seen in looks if seen is not None]


def test_an_open_part_counts_when_it_is_said_twice_that_the_tips_are_on() -> None:
    asking = asked()
    assert happens(asking)[:1] == [Happening.NOTHING_SEEN]
    assert not asking.tips_down, "it is asked for anew"
    assert asking.retries == ["OL"]
    assert happens(asking, 5.0)[:1] == [Happening.KEPT]


def test_where_a_good_unit_shows_it_once_is_enough() -> None:
    assert happens(asked(open_is_good=True)) == [Happening.KEPT]


def test_it_is_heard_and_said_what_to_do() -> None:
    assert _SEEN[Happening.NOTHING_SEEN] == (Cue.RESEAT, OPEN_SEEN)
