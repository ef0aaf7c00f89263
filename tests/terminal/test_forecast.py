"""How much longer a climb takes, as it is told: calm, coarse, and never counting up while the capacitor charges."""

from __future__ import annotations

import itertools
import random

import pytest

from benchcheck.terminal.forecast import Forecast, coarse_s


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
