"""Straight lines fitted with bad readings among them, beside sums that can be done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from benchcheck.diagnosis.robust import ANYTHING, BLUR, STAYING, Ends, Lines, log_t, mixed

NONE = Ends(np.zeros(0), np.zeros((1, 0)), np.zeros(0), np.zeros(0))


def one_stray(error: list[float], sigma: float, ends: Ends = NONE, at: float = 0.0) -> Lines:
    count = len(error)
    nothing = np.zeros(count)
    broad = np.full(count, np.log(1e-3))
    return Lines(
        np.ones((1, count)), np.array(error), np.full(count, sigma), broad, nothing, np.array([at]), -1, ends
    )


def test_densities_are_those_of_a_library() -> None:
    # scipy's Student distribution; the mixture by the sum of its two shares
    assert log_t(np.array([0.3]), np.array([0.2]))[0] == pytest.approx(stats.t.logpdf(0.3, 5.0, scale=0.2))
    by_hand = (1.0 - ANYTHING) * stats.t.pdf(0.3, 5.0, scale=0.2) + ANYTHING * 1e-3
    assert mixed(np.array([0.3]), np.array([0.2]), np.array([np.log(1e-3)]))[0] == pytest.approx(np.log(by_hand))


def test_a_bad_reading_moves_nothing() -> None:
    _, stray, _, _, rest = one_stray([0.5, 0.51, 0.49, 40.0], 0.01).strayed(BLUR)
    assert stray[0] == pytest.approx(0.5, abs=0.01)
    assert rest[3] == pytest.approx(39.5, abs=0.01)


def test_with_no_round_strays_stay_and_are_as_likely_as_they_are_there() -> None:
    total, stray, covariance, dense, rest = one_stray([0.5], 0.5, at=0.7).strayed(STAYING)
    assert (stray[0], rest[0]) == (0.7, 0.5)
    # the prior's half square, and half the logarithm of the information
    assert total == pytest.approx(float(dense[0]) - 0.5 * 0.7**2 + 0.5 * np.log(covariance[0, 0]))


def test_with_no_round_what_is_straight_everywhere_is_found_all_the_same() -> None:
    lines = one_stray([0.5, 0.5], 0.01, at=0.7)
    slopes, ends = np.ones((2, 2)), replace(NONE, slopes=np.zeros((2, 0)))
    at = np.array([0.7, 0.0])
    with_meter = replace(lines, slopes=slopes, at=at, ends=ends, everywhere=1)
    _, stray, covariance, _, rest = with_meter.strayed(STAYING)
    assert stray == pytest.approx([0.7, 0.5], abs=0.01)
    assert rest == pytest.approx([0.0, 0.0], abs=0.01)
    # the two cannot be told apart: what is left unknown of each is half of what was (normal, by hand)
    assert np.diagonal(covariance) == pytest.approx([0.5, 0.5], rel=0.01)


@pytest.mark.parametrize(("beyond", "moved"), [(-1.0, 1.0), (0.5, 0.0)])
def test_an_overload_draws_what_falls_short_of_its_end_and_nothing_beyond(beyond: float, moved: float) -> None:
    end = Ends(np.array([beyond]), np.ones((1, 1)), np.array([0.02]), np.array([np.log(1e-3)]))
    lines = Lines(np.zeros((1, 1)), np.zeros(1), np.ones(1), np.full(1, -7.0), np.zeros(1), np.zeros(1), -1, end)
    assert lines.strayed(BLUR)[1][0] == pytest.approx(moved, abs=0.01)
