"""Where a junction only leaks: ways to go that arrive where lines in the logarithm of ohms do not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchcheck.circuit.ranged import Source
from benchcheck.diagnosis.leakage import led_by_leakage

AMPERE = 1e-7


def volts(leakage_a: float, n_vt: float) -> float:
    """Return what a junction driven backwards takes (Shockley's equation: I = IS (1 - exp(-V / n VT)))."""
    return -n_vt * math.log(1.0 - AMPERE / leakage_a)


def by_drop(leakage_a: float) -> float:
    """Return dV / d(forward drop): a drop more by dV is ln(IS) less by dV / n VT."""
    x = AMPERE / leakage_a
    return x / (1.0 - x)


def steps_to(true_a: float, begin_a: float, *, led: bool, series_ohm: float = 0.0, n_vt: float = 0.027) -> int:
    """Return how many steps of Newton's method it takes to the true leakage within a millionth; 99 for never."""
    leakage_a, series_v = begin_a, series_ohm * AMPERE
    for step in range(20):
        if abs(leakage_a / true_a - 1.0) < 1e-6:
            return step
        read, there = ((volts(each, n_vt) + series_v) / AMPERE for each in (true_a, leakage_a))
        error = math.log(read / there)
        if led:
            source = Source(*(np.array([each]) for each in (AMPERE, math.nan, by_drop(leakage_a), n_vt)))
            error = float(led_by_leakage(np.array([read]), np.array([there]), source)[0])
        more_v = error * there * AMPERE / by_drop(leakage_a)
        leakage_a *= math.exp(-more_v / n_vt)
        if leakage_a <= AMPERE:
            return 99
    return 99


@pytest.mark.parametrize("true_a", [1.0001e-7, 1.01e-7, 1.5e-7])
@pytest.mark.parametrize("series_ohm", [0.0, 2.2e6])
@pytest.mark.parametrize("n_vt", [0.025, 0.048])
def test_a_leakage_near_the_test_current_is_found_at_once(true_a: float, series_ohm: float, n_vt: float) -> None:
    assert steps_to(true_a, 4e-7, led=True, series_ohm=series_ohm, n_vt=n_vt) == 1
    assert steps_to(true_a, 4e-7, led=False, series_ohm=series_ohm, n_vt=n_vt) > 2


def test_a_leakage_far_above_the_test_current_is_found_from_next_to_its_edge() -> None:
    assert steps_to(4e-7, 1.0001e-7, led=True, series_ohm=2.2e6) == 1


def _gave_way(read: float, there: float, edge: float, n_vt: float) -> float:
    source = Source(*(np.array([each]) for each in (AMPERE, edge, math.nan, n_vt)))
    return float(led_by_leakage(np.array([read]), np.array([there]), source)[0])


def test_where_the_source_gave_way_the_leakage_is_asked_for_that_leaves_what_was_read() -> None:
    # 2.7 V at 100 nA: 27 Mohm; expected 30 Mohm, a leakage of 90 nA, and 270 kohm was read: 27 mV, one n Vt
    assert _gave_way(270e3, 30e6, 27e6, 0.027) == pytest.approx(math.log(0.9) + math.log(1.0 - math.exp(-1.0)))
    assert _gave_way(1.4e6, 30e6, 27e6, 0.027) == pytest.approx(math.log(0.9) + math.log(0.98))  # as good as the edge
    assert _gave_way(1.4e6, 30e6, 27e6, math.nan) == pytest.approx(math.log(0.9) + math.log(0.98))
    assert math.isnan(_gave_way(29e6, 30e6, 27e6, 0.027))  # no number below the edge was read: its line leads there


def test_what_no_leakage_moves_is_left_to_its_line() -> None:
    def led(backwards: float) -> float:
        source = Source(*(np.array([each]) for each in (AMPERE, math.nan, backwards, 0.027)))
        return float(led_by_leakage(np.array([1e6]), np.array([1.1e6]), source)[0])

    assert math.isfinite(led(0.5))
    assert math.isnan(led(1e-5))  # a resistance moves it, beside a junction driven backwards
    assert math.isnan(led(math.nan))


def test_what_a_junction_does_not_take_is_lost_elsewhere() -> None:
    # 110 kohm at 100 nA, 7 mV of them the junction's: it cannot be what makes 10 kohm of it
    source = Source(*(np.array([each]) for each in (AMPERE, math.nan, 0.3, 0.027)))
    assert math.isnan(float(led_by_leakage(np.array([10e3]), np.array([110e3]), source)[0]))


def test_no_way_leads_past_what_a_leakage_is_worth() -> None:
    # 110 kohm expected, 60 kohm read: more leakage is asked for, whatever the rest of it is
    source = Source(*(np.array([each]) for each in (AMPERE, math.nan, 0.3, 0.027)))
    assert float(led_by_leakage(np.array([60e3]), np.array([110e3]), source)[0]) < 0.0
