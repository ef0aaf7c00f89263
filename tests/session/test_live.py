"""A meter read over and over in a thread: news in order, trouble told and retried, nobody else talking meanwhile."""

from __future__ import annotations

import threading

from benchcheck.clock import SystemClock
from benchcheck.errors import InstrumentError
from benchcheck.readings.reading import Reading
from benchcheck.session.live import Glimpse, LiveMeter
from tests.factories import check, reading

R1 = check("R1.resistance")


def gathered(live: LiveMeter, woken: threading.Event, count: int) -> list[Glimpse]:
    found: list[Glimpse] = []
    for _ in range(200):
        found += live.news()
        if len(found) >= count:
            return found
        woken.wait(0.1)
        woken.clear()
    raise AssertionError(f"only {len(found)} came")


def test_readings_come_in_order_with_times_that_never_run_back() -> None:
    woken, count = threading.Event(), iter(range(1000, 10**6))
    live = LiveMeter(lambda: reading(R1, str(next(count))), SystemClock(), woken.set)
    found = gathered(live, woken, 20)
    live.stop()
    values = [one.reading.display.value for one in found if one.reading is not None]
    assert values == sorted(values, key=lambda value: value or 0.0)
    assert [one.at_s for one in found] == sorted(one.at_s for one in found)


def test_after_stop_the_meter_is_left_alone() -> None:
    calls = []

    def take() -> Reading:
        calls.append(1)
        return reading(R1, "4.7k")

    live = LiveMeter(take, SystemClock(), lambda: None)
    live.stop()
    before = len(calls)
    threading.Event().wait(0.05)
    assert len(calls) == before


def test_a_meter_that_fails_is_told_of_and_tried_again() -> None:
    woken, tries = threading.Event(), []

    def take() -> Reading:
        tries.append(1)
        if len(tries) == 1:
            raise InstrumentError("dmm: does not answer; check its cable")
        return reading(R1, "4.7k")

    live = LiveMeter(take, SystemClock(), woken.set)
    found = gathered(live, woken, 2)
    live.stop()
    assert found[0].trouble == "dmm: does not answer; check its cable"
    assert found[0].reading is None
    assert found[1].reading is not None
