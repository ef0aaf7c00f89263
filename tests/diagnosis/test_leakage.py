"""Where a junction only leaks: ways to go that arrive where lines in the logarithm of ohms do not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchcheck.diagnosis.leakage import Source, led_by_leakage

N_VT, AMPERE = 0.027, 1e-7


def ohms(leakage_a: float) -> float:
    """Return V / I of a junction driven backwards (Shockley's equation: I = IS (1 - exp(-V / n VT)))."""
    return -N_VT * math.log(1.0 - AMPERE / leakage_a) / AMPERE


def slope(leakage_a: float) -> float:
    """Return d ln(ohms) / d ln(leakage)."""
    x = AMPERE / leakage_a
    return x / ((1.0 - x) * math.log(1.0 - x))


def steps_to(true_a: float, begin_a: float, *, led: bool) -> int:
    """Return how many steps of Newton's method it takes to the true leakage within a millionth; 99 for never."""
    leakage_a = begin_a
    for step in range(20):
        if abs(leakage_a / true_a - 1.0) < 1e-6:
            return step
        read, there = ohms(true_a), ohms(leakage_a)
        error = math.log(read / there)
        if led:
            source = Source(np.array([AMPERE]), np.array([math.nan]))
            error = float(led_by_leakage(np.array([read]), np.array([there]), np.array([1.0]), source)[0])
        leakage_a *= math.exp(error / slope(leakage_a))
        if leakage_a <= AMPERE:
            return 99
    return 99


@pytest.mark.parametrize("true_a", [1.0001e-7, 1.01e-7, 1.5e-7])
def test_a_leakage_near_the_test_current_is_found_at_once(true_a: float) -> None:
    assert steps_to(true_a, 4e-7, led=True) <= 2
    assert steps_to(true_a, 4e-7, led=False) > 2


def test_where_the_source_gave_way_a_little_more_leakage_than_the_test_current_is_asked_for() -> None:
    # 2.7 V at 100 nA: 27 Mohm; expected 30 Mohm, a leakage of 90 nA, and 1.4 Mohm was read
    source = Source(np.array([AMPERE]), np.array([27e6]))
    way = led_by_leakage(np.array([1.4e6]), np.array([30e6]), np.array([1.0]), source)[0]
    assert way == pytest.approx(math.log(27.0 / 30.0) - 0.02)
    beyond = led_by_leakage(np.array([29e6]), np.array([30e6]), np.array([1.0]), source)[0]
    assert math.isnan(beyond)  # no number below the edge was read: its line leads there


def test_what_no_leakage_moves_is_left_to_its_line() -> None:
    source = Source(np.array([AMPERE]), np.array([math.nan]))
    assert math.isnan(led_by_leakage(np.array([1e3]), np.array([1.1e3]), np.array([0.05]), source)[0])
