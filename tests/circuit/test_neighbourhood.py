"""Cuts of a large board: what is left off is bounded from both sides, and the bound holds."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.circuit.devices import Capacitor, Device, Diode, Resistor
from benchcheck.circuit.excitation import CapacitanceAtFrequency, Ohms, OhmsRange
from benchcheck.circuit.neighbourhood import Neighbourhoods, read_near
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.errors import CircuitError

METER = Ohms((OhmsRange(1e7, 1e-6, 20.0),))


def mesh(side: int, seed: int, least_ohm: float = 100.0, most_ohm: float = 1e5) -> Netlist:
    """Return a square grid of seeded resistors, each corner also tied to a common net by one in ten."""
    rng = random.Random(seed)
    found: list[Resistor] = []
    for row in range(side):
        for col in range(side):
            for other in ((row, col + 1), (row + 1, col)):
                if max(other) < side:
                    ohm = rng.uniform(least_ohm, most_ohm)
                    found.append(Resistor(f"R{len(found)}", f"{row},{col}", f"{other[0]},{other[1]}", ohm))
            if rng.random() < 0.1:
                found.append(Resistor(f"R{len(found)}", f"{row},{col}", "GND", rng.uniform(least_ohm, most_ohm)))
    return Netlist(found)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_the_whole_board_of_resistors_reads_between_the_two_of_every_cut(seed: int) -> None:
    """Rayleigh's monotonicity law (Doyle and Snell 1984, "Random walks and electric networks", 1.4)."""
    board = mesh(11, seed)
    whole = solve_reading(board, "5,5", "5,6", METER).value
    assert whole is not None
    above, below = [], []
    for cut in Neighbourhoods(board).cuts("5,5", "5,6"):
        first, second = (solve_reading(one, "5,5", "5,6", METER).value for one in (cut.netlist, cut.closed))
        assert first is not None
        assert second is not None
        assert second <= whole * (1 + 1e-6)  # leaks of the board's surface, 1 pS a net
        assert first >= whole * (1 - 1e-6)
        above.append(first)
        below.append(second)
    assert len(above) > 2
    assert above == sorted(above, reverse=True)
    assert below[:-1] == sorted(below[:-1])


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000), other=st.sampled_from(("5,6", "VCC")))
def test_what_joins_two_rails_outside_the_cut_is_within_its_bounds(seed: int, other: str) -> None:
    """As above, where a second rail feeds every third corner: from it to ground leads the whole board."""
    rng = random.Random(seed)
    corners = [net for net in mesh(11, seed).nets if net != "GND"]
    grounds = [Resistor(f"G{at}", net, "GND", rng.uniform(100.0, 1e4)) for at, net in enumerate(corners[::3])]
    feeds = [Resistor(f"V{at}", net, "VCC", rng.uniform(100.0, 1e4)) for at, net in enumerate(corners[1::3])]
    board = mesh(11, seed).adding(*grounds, *feeds, Resistor("X", "5,5", "VCC", 12e3))
    whole = solve_reading(board, "5,5", other, METER).value
    assert whole is not None
    narrow = [cut for cut in Neighbourhoods(board).cuts("5,5", other) if not cut.whole]
    assert narrow
    for cut in narrow:
        first, second = (solve_reading(one, "5,5", other, METER).value for one in (cut.netlist, cut.closed))
        assert second is not None
        assert second <= whole * (1 + 1e-6)
        assert first is None or first >= whole * (1 - 1e-6)
    assert read_near(Neighbourhoods(board), "5,5", other, METER).reading.value == pytest.approx(whole, rel=1e-4)


def test_between_two_rails_the_board_is_solved_whole() -> None:
    rails = [Resistor(f"{net}{at}", net, f"N{at}", 1e3) for net in ("VCC", "GND") for at in range(90)]
    (cut,) = Neighbourhoods(Netlist(rails)).cuts("VCC", "GND")
    assert cut.whole


def test_neighbours_on_an_infinite_grid_of_equal_resistors_read_half_of_one() -> None:
    """R/2 between adjacent nodes (Venezian 1994, "On the resistance between two points on a grid")."""
    board = mesh(41, 1, 1e3, 1e3)
    grid = Netlist(one for one in board.devices if "GND" not in (getattr(one, "a", ""), getattr(one, "b", "")))
    near = read_near(Neighbourhoods(grid), "20,20", "20,21", METER, within=1e-2)
    assert not near.cut.whole
    assert near.reading.value is not None
    assert abs(near.reading.value - 500.0) <= near.half_width + 0.5


def test_a_board_that_is_small_is_solved_whole() -> None:
    board = mesh(4, 3)
    (cut,) = Neighbourhoods(board).cuts("0,0", "1,1")
    assert cut.whole
    assert cut.netlist is board


def test_a_chain_without_branches_is_followed_to_its_end() -> None:
    """A hundred and fifty resistors in a row between the probes add up (any textbook)."""
    board = Netlist(Resistor(f"R{at}", f"N{at}", f"N{at + 1}", 100.0) for at in range(150))
    near = read_near(Neighbourhoods(board), "N0", "N150", METER)
    assert near.cut.whole
    assert near.reading.value == pytest.approx(15e3, rel=1e-6)


def test_a_diode_far_away_leaves_the_cut_in_agreement_with_the_whole() -> None:
    board = mesh(15, 7).adding(Diode("D1", "0,0", "GND"), Diode("D2", "GND", "14,14"))
    near = read_near(Neighbourhoods(board), "7,7", "7,8", METER)
    whole = solve_reading(board, "7,7", "7,8", METER).value
    assert near.reading.value == pytest.approx(whole, rel=2e-4)


def test_a_net_nobody_touches_is_named() -> None:
    with pytest.raises(CircuitError, match="no part touches this net"):
        read_near(Neighbourhoods(mesh(12, 1)), "0,0", "elsewhere", METER)


def test_a_capacitor_behind_a_resistor_counts_on_a_large_board() -> None:
    """10 nF beside 1 kohm and 100 nF in series at 100 Hz: C2 / (1 + (w R C2)^2) more (series to parallel form)."""
    chain: list[Device] = [Resistor(f"R{at}", f"N{at}", f"N{at + 1}", 1e6) for at in range(100)]
    parts: list[Device] = [
        Capacitor("C1", "N0", "N50", 10e-9),
        Resistor("RX", "N0", "X", 1e3),
        Capacitor("C2", "X", "N50", 100e-9),
    ]
    board = Netlist([*chain, *parts])
    near = read_near(Neighbourhoods(board), "N0", "N50", CapacitanceAtFrequency(100.0, "parallel"))
    turned = 2.0 * math.pi * 100.0 * 1e3 * 100e-9
    assert near.reading.value == pytest.approx(10e-9 + 100e-9 / (1.0 + turned**2), rel=1e-4)
