"""A rail above its maximum is not waited for until it stands; a knock, tips elsewhere, no power are none."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Phase
from benchcheck.readings.capture import Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Step, Taken
from benchcheck.session.live import Glimpse
from benchcheck.terminal.asking import Asking
from tests.factories import bench, reading, voltage
from tests.terminal.test_power_keys import Bursts, guided

VOLTAGE = voltage("V6.voltage[0A]", Phase.RAILS, 4.8, 7.2)


def asked(one: Check = VOLTAGE, *, lifted: bool = True) -> Asking:
    rule = CaptureRule(lambda _: 1e-3, opens=Opens.ZERO, open_below=0.02)
    asking = Asking(Step(one, 1, 9, Session()), bench().meter_for(Function.DC_VOLTAGE), rule)
    assert asking.capture is not None
    asking.capture.lifted = lifted
    return asking


def shown(asking: Asking, *volts: float) -> list[str]:
    """Return what counted as above the maximum, look by look."""
    found = []
    for place, value in enumerate(volts):
        asking.take(Glimpse(0.1 * place, reading(asking.check, f"{value} V")))
        beyond = asking.beyond()
        found.append(beyond.display.text if beyond is not None else "")
    return found


def test_three_looks_in_a_row_above_the_maximum_count_at_once() -> None:
    assert shown(asked(), 7.0, 7.3, 7.6, 7.9) == ["", "", "", "7.9 V"]


def test_a_knock_between_looks_that_are_right_is_none() -> None:
    assert not any(shown(asked(), 7.3, 7.6, 6.0, 7.3, 7.6, 0.0, 7.3, 7.6))


def test_tips_that_still_lie_where_they_were_and_a_check_without_power_say_nothing_of_it() -> None:
    assert not any(shown(asked(lifted=False), 9.0, 9.1, 9.2, 9.3))
    assert not any(shown(asked(replace(VOLTAGE, phase=Phase.PARTS)), 9.0, 9.1, 9.2, 9.3))


def test_tips_the_wrong_way_round_are_waited_for() -> None:
    assert not any(shown(asked(), -9.0, -9.1, -9.2, -9.3))


def test_under_load_what_was_seen_to_stand_counts_and_is_not_read_again_from_tips_that_leave() -> None:
    """A hand lifts at the beep: read anew after it, a good rail failed on what tips in the air show."""
    made, _ = guided(Bursts())
    asking = asked(replace(VOLTAGE, id="V6.voltage[100mA]", load_a=0.1))
    asking.take(Glimpse(0.0, reading(asking.check, "6.02 V")))
    answer = made._seen(asking, Seen(Happening.KEPT, 0.0))
    assert isinstance(answer, Taken)
    assert [one.display.text for one in answer.readings] == ["6.02 V"]
