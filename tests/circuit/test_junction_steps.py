"""How a junction's voltage is moved in a step of Newton's method, so that few of them arrive."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchcheck.circuit.physics import limited_junction_step

N_VT, SATURATION_A = 0.026, 1e-14
KNEE_V = N_VT * math.log(N_VT / (math.sqrt(2.0) * SATURATION_A))


def moved(new: float, old: float) -> float:
    both = np.array([new]), np.array([old])
    return float(limited_junction_step(*both, np.array([N_VT]), np.array([KNEE_V]))[0])


def steps_down(siemens: float, from_v: float) -> int:
    """Return how many steps it takes until a junction carries what a conductance to a tenth of a volt leaves it."""
    volt = from_v
    for step in range(100):
        current = SATURATION_A * math.expm1(volt / N_VT)
        slope = SATURATION_A / N_VT * math.exp(volt / N_VT)
        off = current + siemens * (volt - 0.1)
        if abs(off) < 1e-9 * siemens:
            return step
        volt = moved(volt - off / (slope + siemens), volt)
    return 100


def test_a_small_step_is_left_alone() -> None:
    assert moved(0.61, 0.6) == 0.61


@pytest.mark.parametrize("siemens", [1e-3, 1e-7, 1e-12])
def test_a_junction_comes_down_its_exponential_in_few_steps(siemens: float) -> None:
    # one N VT a step were 27 of them from 0.9 V to 0.2 V
    assert steps_down(siemens, 0.9) <= 12


def test_where_the_tangent_promises_less_than_no_current_one_step_leaves_little_of_it() -> None:
    assert moved(0.6 - 1.01 * N_VT, 0.6) == pytest.approx(0.6 + N_VT * math.log(0.005))


def test_a_step_far_down_is_taken() -> None:
    assert moved(0.6 - 8.0 * N_VT, 0.6) == 0.6 - 8.0 * N_VT
