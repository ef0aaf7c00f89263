"""How much longer a climb takes, as it is told: calm, coarse, and never counting up while the capacitor charges."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Limits, Phase
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.capture import Happening
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.session.answers import Step
from benchcheck.session.live import Glimpse
from benchcheck.terminal.asking import asking_of
from benchcheck.terminal.forecast import Forecast, coarse_s
from tests.factories import bench, check


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("rate_hz", [2.5, 10.0, 100.0])
def test_estimates_that_jump_by_a_third_are_told_as_a_time_that_runs_down(seed: int, rate_hz: float) -> None:
    chance, forecast = random.Random(seed), Forecast()
    told = []
    for look in range(int(30 * rate_hz)):
        now_s = look / rate_hz
        told.append(forecast.left_s(now_s, (40.0 - now_s) * chance.uniform(0.75, 1.33)))
    settled = told[int(3 * rate_hz) :]
    ups = [(before, after) for before, after in itertools.pairwise(settled) if after > before]
    assert all(coarse_s(before + 0.5) == after for before, after in ups), "one step at most, at an edge"
    assert settled[0] in (30, 45, 60)
    assert told[-1] in (7, 10, 15)


def test_another_contact_begins_anew() -> None:
    forecast = Forecast()
    assert forecast.left_s(0.0, 100.0) == 120
    forecast.forget()
    assert forecast.left_s(1.0, 4.0) == 5


def test_a_climb_that_has_come_to_a_stand_says_so_and_when_it_counts() -> None:
    one, owned = check("R13.resistance", Function.OHMS, Phase.PARTS, limits=Limits(1e3, 1.5e3)), bench("bench-5.5")
    asking = asking_of(Step(one, 1, 9, Session()), owned.meter_for(one.function), owned)
    for look in range(5):
        asking.take(Glimpse(0.1 * look, Reading(one.id, Display("OL", DisplayState.OVERLOAD), "ohm", Origin.METERED)))
    states, kept_s = {}, 0.0
    for look in range(600):
        at_s = 1.0 + 0.1 * look
        shown = round(1220.0 - 1200.0 * math.exp(-0.5 * (at_s - 1.0)), 2)
        display = Display(f"{shown:.2f}", DisplayState.VALUE, shown, 0.01)
        seen = asking.take(Glimpse(at_s, Reading(one.id, display, "ohm", Origin.METERED)))
        states[at_s] = asking.state()
        if seen is not None and seen.happening is Happening.KEPT:
            kept_s = at_s
            break
    assert kept_s
    stands = [words for words in states.values() if "counts once it has stood" in words]
    assert stands
    assert {int(words.split()[-3]) for words in stands} <= {1, 2, 3, 5, 7, 10}
    last = {words for at_s, words in states.items() if kept_s - 4.0 < at_s < kept_s - 0.05}
    assert len(last) == 1, "no step of the display comes then"
    assert next(iter(last)).endswith("; creeps on: hold still")
