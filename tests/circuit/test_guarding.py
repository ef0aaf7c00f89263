"""Computed guarding: branches from all pairwise readings, with uncertainties, refusals in words.

Sources: the delta of 10k, 4.7k and 22k read as 7.275k, 4.098k and 8.812k (parallel and series, any textbook); the
resistance matrix and its inverse for any N: Klein and Randic 1993, J. Math. Chem. 12, 81.
"""

from __future__ import annotations

from itertools import combinations
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchcheck.circuit import Diode, Netlist, Resistor
from benchcheck.circuit.guarding import PairReading, branches_between, hidden_path
from benchcheck.errors import CircuitError

DELTA = {("A", "B"): 7275.0, ("B", "C"): 4098.0, ("A", "C"): 8812.0}
EXACT = {
    ("A", "B"): 10e3 * 26.7e3 / 36.7e3,
    ("B", "C"): 4.7e3 * 32e3 / 36.7e3,
    ("A", "C"): 22e3 * 14.7e3 / 36.7e3,
}


def readings(ohms: dict[tuple[str, str], float], own: float = 0.0, scale: float = 0.0) -> list[PairReading]:
    """Return readings with an error of their own each, and one of the meter's scale that all share (ratios)."""
    return [
        PairReading(*pair, ohm, ((f"own {pair}", own * ohm), ("scale", scale * ohm))) for pair, ohm in ohms.items()
    ]


def test_the_worked_delta_gives_its_three_resistors() -> None:
    found = {branch.nets: branch.ohm for branch in branches_between(readings(DELTA))}
    assert found[("A", "B")] == pytest.approx(10e3, rel=1e-3)
    assert found[("B", "C")] == pytest.approx(4.7e3, rel=1e-3)
    assert found[("A", "C")] == pytest.approx(22e3, rel=1e-3)


def test_an_error_of_the_meters_scale_moves_every_branch_by_itself() -> None:
    """All readings 0.5 % high make every branch 0.5 % high: what they share does not grow."""
    for branch in branches_between(readings(EXACT, scale=0.005)):
        assert branch.standard_uncertainty_ohm == pytest.approx(0.005 * branch.ohm, rel=1e-9)


def test_errors_of_their_own_grow_as_the_slopes_say() -> None:
    for branch in branches_between(readings(EXACT, own=0.001)):
        expected = sum((branch.slopes[pair] * 0.001 * ohm) ** 2 for pair, ohm in EXACT.items()) ** 0.5
        assert branch.standard_uncertainty_ohm == pytest.approx(expected, rel=1e-9)
        assert branch.standard_uncertainty_ohm > 0.001 * branch.ohm


def test_slopes_are_what_a_small_change_of_a_reading_does() -> None:
    plain = {branch.nets: branch for branch in branches_between(readings(EXACT))}
    for pair in EXACT:
        moved = {branch.nets: branch for branch in branches_between(readings({**EXACT, pair: EXACT[pair] + 1e-3}))}
        for nets, branch in plain.items():
            assert (moved[nets].ohm - branch.ohm) / 1e-3 == pytest.approx(branch.slopes[pair], rel=1e-4)


def resistance_matrix(siemens: dict[tuple[int, int], float], count: int) -> NDArray[np.float64]:
    """Return effective resistances by grounding one net and inverting: another way than the module's."""
    laplacian = np.zeros((count, count))
    for (a, b), g in siemens.items():
        laplacian[[a, b], [a, b]] += g
        laplacian[[a, b], [b, a]] -= g
    inner = np.zeros((count, count))
    inner[1:, 1:] = np.linalg.inv(laplacian[1:, 1:])
    diagonal = np.diag(inner)
    return np.asarray(diagonal[:, None] + diagonal[None, :] - 2 * inner)


@given(st.integers(3, 7), st.data())
@settings(max_examples=60, deadline=None)
def test_any_number_of_nets_gives_its_branches_back(count: int, data: st.DataObject) -> None:
    pairs = list(combinations(range(count), 2))
    ohms = {pair: 10 ** data.draw(st.floats(2.0, 5.0)) for pair in pairs}
    matrix = resistance_matrix({pair: 1.0 / ohm for pair, ohm in ohms.items()}, count)
    found = branches_between(PairReading(f"N{a}", f"N{b}", float(matrix[a, b])) for a, b in pairs)
    for branch in found:
        a, b = (int(net[1:]) for net in branch.nets)
        assert branch.ohm == pytest.approx(ohms[a, b], rel=1e-5)


def test_a_branch_that_is_not_there_is_open_with_what_it_is_at_least() -> None:
    """Two resistors in a chain: R(A,C) is their sum, and nothing lies between A and C."""
    chain = {("A", "B"): 1000.0, ("B", "C"): 2000.0, ("A", "C"): 3000.0}
    found = {branch.nets: branch for branch in branches_between(readings(chain, own=0.001))}
    assert found[("A", "C")].ohm == inf
    assert 20e3 < found[("A", "C")].at_least_ohm < 1e6
    assert found[("A", "B")].ohm == pytest.approx(1000.0)


def test_a_reading_that_depends_on_polarity_is_refused_and_one_within_its_uncertainty_is_not() -> None:
    both = [*readings(EXACT, own=0.001), PairReading("B", "A", 6100.0, (("own back", 6.0),))]
    with pytest.raises(CircuitError, match=r"red on A .* the other way round.* a junction conducts"):
        branches_between(both)
    near = [*readings(EXACT, own=0.001), PairReading("B", "A", EXACT["A", "B"] + 10.0, (("own back", 7.0),))]
    assert len(branches_between(near)) == 3


@pytest.mark.parametrize(
    ("ohms", "words"),
    [
        ({("A", "B"): 1e3, ("B", "C"): 1e3}, "A and C were not read|C and A were not read"),
        ({("A", "B"): 1e3}, "three or more"),
        ({("A", "B"): 1e3, ("B", "C"): 1e3, ("A", "C"): 9e3}, "contradict|no resistors"),
        ({("A", "B"): 1e3, ("B", "C"): 1e3, ("A", "C"): 2.2e3}, "no resistors"),
        ({("A", "B"): 0.0, ("B", "C"): 1e3, ("A", "C"): 1e3}, "one net"),
        ({("A", "B"): -1.0, ("B", "C"): 1e3, ("A", "C"): 1e3}, "zero or more"),
        ({("A", "A"): 1e3, ("B", "C"): 1e3, ("A", "C"): 1e3}, "both leads on A"),
        ({("A", "B"): inf, ("B", "C"): 1e3, ("A", "C"): 1e3}, "OL has no value"),
    ],
)
def test_readings_that_make_no_branches_are_refused_in_words(ohms: dict[tuple[str, str], float], words: str) -> None:
    with pytest.raises(CircuitError, match=words):
        branches_between(readings(ohms, own=0.001))


BOARD = Netlist(
    [
        Resistor("R1", "A", "B", 10e3),
        Resistor("R2", "B", "C", 4.7e3),
        Resistor("R3", "A", "C", 22e3),
        Resistor("R4", "A", "X", 1e3),
        Resistor("R5", "X", "Y", 1e3),
        Diode("D1", "Y", "C"),
    ]
)


def test_a_path_through_a_net_that_was_not_probed_hides_the_part() -> None:
    assert hidden_path(BOARD, ("A", "B"), "ABC") is None
    assert hidden_path(BOARD, ("A", "C"), "ABC") == ("X", "Y")
    assert hidden_path(BOARD, ("A", "C"), "ABCX") is None
    assert hidden_path(BOARD, ("A", "C"), "ABC", off=["D1"]) is None


def test_nets_that_are_not_complete_may_be_joined_by_what_nobody_wrote_down() -> None:
    assert hidden_path(BOARD, ("A", "B"), "ABC", incomplete=["A"]) is None
    assert hidden_path(BOARD, ("A", "B"), "ABC", incomplete=["A", "B"]) == ()
    assert hidden_path(BOARD, ("A", "B"), "ABC", incomplete=["X", "B"]) == ("X",)
