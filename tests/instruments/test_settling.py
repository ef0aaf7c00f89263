"""How many readings must agree: time in which the machine stood still is no time in which the unit was watched."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.instruments.settling import SettleRule, held

steps = st.floats(0.0, 0.5)


@given(
    st.lists(st.tuples(steps, steps), min_size=1, max_size=40),
    st.integers(1, 5),
    st.floats(0.01, 0.6),
)
def test_the_readings_that_count_span_the_time_whenever_the_machine_stood_still(
    waits: list[tuple[float, float]], window: int, hold_s: float
) -> None:
    """Each reading is taken some time after the last was heard, and heard some time after it was taken."""
    moments = list(itertools.accumulate(itertools.chain.from_iterable(waits)))
    taken, heard = moments[::2], moments[1::2]
    count = held(heard, SettleRule(window=window, hold_s=hold_s))
    assert count == 0 or count >= window
    if count:
        assert taken[-1] - taken[-count] >= hold_s - 1e-9


@pytest.mark.parametrize(
    ("heard", "count"),
    [
        ([0.0, 0.001, 0.16], 0),  # the third was taken at 2 ms and heard after a stall
        ([0.0, 0.001, 0.002, 0.16, 0.161], 3),
        ([0.0, 0.05, 0.1, 0.15, 0.2], 5),
        ([0.0, 0.4, 0.8], 3),
        ([0.0, 2.0, 4.0, 6.0], 3),
    ],
)
def test_the_fewest_readings_that_surely_span_the_time_count(heard: list[float], count: int) -> None:
    assert held(heard, SettleRule(window=3, hold_s=0.15)) == count


def test_without_a_time_to_span_the_window_alone_counts() -> None:
    assert [held([0.0] * n, SettleRule(window=2, hold_s=0.0)) for n in (1, 2, 3)] == [0, 2, 2]
