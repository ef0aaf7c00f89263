"""Matrices of one pattern, together and one by one, against LAPACK (numpy.linalg) as a general-purpose reference."""

from __future__ import annotations

import numpy as np
import pytest

from benchcheck.circuit.elimination import Elimination, elimination_of

#: a ladder of five nets and a branch (row and column 5) from net 0 to net 1: its equation takes net 0's column first
ENTRIES = (
    *((at, at) for at in range(6)),
    *((at, at + 1) for at in range(4)),
    *((at + 1, at) for at in range(4)),
    (0, 5), (5, 0), (1, 5), (5, 1), (2, 4), (4, 2),
)  # fmt: skip
PATTERN = elimination_of(6, ENTRIES, ((5, 0),))


def matrices(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return values (places x count) of conductances with a branch of 0.1 ohm, fill left at 0, and right sides."""
    random = np.random.default_rng(3)
    dense = np.zeros((count, 6, 6))
    for row, col in ENTRIES:
        dense[:, row, col] = -random.uniform(0.1, 1.0, count)
    dense[:, np.arange(5), np.arange(5)] = 4.0 * random.choice((-1.0, 1.0), (count, 5))
    dense[:, 5] = 0.0
    dense[:, 5, 0], dense[:, 5, 1], dense[:, 5, 5] = 1.0, -1.0, -0.1
    dense[:, 0, 5], dense[:, 1, 5] = 1.0, -1.0
    values = np.zeros((len(PATTERN.places), count))
    for (row, col), place in PATTERN.places.items():
        values[place] = dense[:, row, col]
    return values, random.normal(size=(6, count))


def dense_of(values: np.ndarray) -> np.ndarray:
    dense = np.zeros((values.shape[1], 6, 6))
    for (row, col), place in PATTERN.places.items():
        dense[:, row, col] = values[place]
    return dense


@pytest.mark.parametrize("count", [1, 3, 200])
def test_solutions_and_signs_are_those_of_lapack(count: int) -> None:
    values, right = matrices(count)
    expected = np.linalg.solve(dense_of(values), right.T[..., None])[..., 0].T
    together, negative = PATTERN.eliminate(values.copy(), right.copy())
    by_count = PATTERN.solve(values.copy(), right.copy())
    np.testing.assert_allclose(together, expected, rtol=1e-9)
    np.testing.assert_allclose(by_count.solution, expected, rtol=1e-9)
    np.testing.assert_array_equal(negative, by_count.negative(np.ones(count, bool)))
    # rows 5 and 0 changed places: one exchange more than there are of columns
    np.testing.assert_array_equal(negative, np.linalg.det(dense_of(values)) > 0.0)


def test_some_are_negative_and_some_are_not() -> None:
    negative = PATTERN.solve(*matrices(20)).negative
    assert 0 < negative(np.ones(20, bool)).sum() < 20
    some = np.arange(20) % 3 == 0
    np.testing.assert_array_equal(negative(some), negative(np.ones(20, bool))[some])


def test_one_that_is_singular_is_no_number_and_leaves_the_others_alone() -> None:
    values, right = matrices(3)
    lone = PATTERN.places[3, 3]
    for other in range(6):
        for place in ((3, other), (other, 3)):
            if place in PATTERN.places:
                values[PATTERN.places[place], 1] = 0.0
    assert values[lone, 1] == 0.0
    found = PATTERN.solve(values.copy(), right.copy()).solution
    assert not np.isfinite(found[:, 1]).all()
    whole = np.delete(values, 1, axis=1)
    expected = np.linalg.solve(dense_of(whole), np.delete(right, 1, axis=1).T[..., None])[..., 0].T
    np.testing.assert_allclose(np.delete(found, 1, axis=1), expected, rtol=1e-9)


def test_transposed_equations_are_solved_with_what_elimination_left() -> None:
    values, right = matrices(4)
    eliminated = values.copy()
    PATTERN.eliminate(eliminated, right.copy())
    found = PATTERN.solve_transposed(eliminated, right.copy())
    expected = np.linalg.solve(dense_of(values).transpose(0, 2, 1), right.T[..., None])[..., 0].T
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_a_pattern_is_worked_out_once() -> None:
    once = elimination_of(6, ENTRIES, ((5, 0),))
    assert isinstance(once, Elimination)
    assert elimination_of(6, ENTRIES, ((5, 0),)) is once


def test_a_net_that_only_leaks_waits_for_the_branches_beside_it() -> None:
    """1 mA through a fuse and a short of 50 milliohm each, and 1 milliohm: 101, 51 and 1 uV (Ohm's law).

    Were the net before the fuse a pivot first, by the 0.1 pS that hold it, the digits of the fuse would be lost.
    """
    ohm, leak_s = 0.05, 1e-13
    entries = {
        (0, 0): leak_s, (0, 3): -1.0, (1, 1): 1.0 / ohm + leak_s, (1, 2): -1.0 / ohm, (1, 3): 1.0,
        (2, 1): -1.0 / ohm, (2, 2): 1.0 / ohm + 1e3, (3, 0): -1.0, (3, 1): 1.0, (3, 3): -ohm,
    }  # fmt: skip
    pattern, count = Elimination(4, entries, ((3, 1),)), 50
    values = np.zeros((len(pattern.places), count))
    for place, value in entries.items():
        values[pattern.places[place]] = value
    right = np.zeros((4, count))
    right[0] = 1e-3
    found, _ = pattern.eliminate(values, right)
    np.testing.assert_allclose(found[:, 0], [101e-6, 51e-6, 1e-6, -1e-3], rtol=1e-9)
