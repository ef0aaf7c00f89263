"""Circuits that latch: every state found is read, and none is taken for the only one.

Two transistors that feed one another, an Eccles-Jordan flip-flop (W. H. Eccles and F. W. Jordan 1918), rest with one
or the other conducting; the point between the two is unstable.
"""

from __future__ import annotations

import pytest

from benchcheck.circuit.devices import Bjt, CurrentSource, Resistor, VoltageSource
from benchcheck.circuit.excitation import Ohms, OhmsRange
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.circuit.solution import operating_point, operating_points
from benchcheck.circuit.states import may_latch, readings_by_state
from benchcheck.errors import CircuitError

OHMS = Ohms((OhmsRange(2e3, 1e-3, 6.0), OhmsRange(20e3, 1e-4, 6.0)))


def flip_flop(first_ohm: float = 2.2e3, second_ohm: float = 2.2e3) -> Netlist:
    return Netlist(
        [
            Resistor("R1", "V", "C1", first_ohm),
            Resistor("R2", "V", "C2", second_ohm),
            Resistor("R3", "C2", "B1", 22e3),
            Resistor("R4", "C1", "B2", 22e3),
            Bjt("Q1", "C1", "B1", "G"),
            Bjt("Q2", "C2", "B2", "G"),
        ]
    )


def test_a_symmetric_flip_flop_rests_in_two_states_that_mirror_each_other() -> None:
    powered = flip_flop().adding(VoltageSource("V1", "V", "G", 5.0))
    one, other = operating_points(powered, "G")
    assert one.voltages["C1"] == pytest.approx(other.voltages["C2"], rel=1e-6)
    assert one.voltages["C2"] == pytest.approx(other.voltages["C1"], rel=1e-6)
    low, high = sorted((one.voltages["C1"], one.voltages["C2"]))
    assert low < 0.3
    # what R2 and R3 leave of 5 V above the conducting base, a silicon drop in between (divider, any textbook)
    assert high == pytest.approx(5.0 - (5.0 - 0.68) * 2.2 / 24.2, abs=0.1)


def test_a_circuit_of_several_states_is_refused_with_the_nets_that_tell_them_apart() -> None:
    powered = flip_flop().adding(VoltageSource("V1", "V", "G", 5.0))
    with pytest.raises(CircuitError, match=r"has 2 states it can rest in, apart at (C1, C2|C2, C1)"):
        operating_point(powered, "G")


def test_mirrored_states_read_alike_and_are_one_reading() -> None:
    ((reading, _),) = readings_by_state(flip_flop(), "V", "G", OHMS)
    assert reading.value is not None
    assert may_latch(flip_flop(), reading)


def test_states_that_read_differently_are_all_told() -> None:
    """With 4.7k and 1k as its loads, one state takes the meter's milliampere at 1.07 V and the other does not."""
    found = [reading.value for reading, _ in readings_by_state(flip_flop(4.7e3, 1e3), "V", "G", OHMS)]
    assert len(found) == 2
    for value in found:
        assert value is not None
    alone = {solve_reading(flip_flop(4.7e3, 1e3), "V", "G", OHMS).value}
    assert len(alone & set(found)) == 1


def test_resistors_and_single_transistors_have_one_state() -> None:
    single = Netlist([Resistor("R1", "V", "C1", 1e3), Bjt("Q1", "C1", "C1", "G")])
    ((reading, _),) = readings_by_state(single, "V", "G", OHMS)
    assert not may_latch(single, reading)
    assert reading == solve_reading(single, "V", "G", OHMS)


def test_a_pump_without_any_point_names_nets() -> None:
    stuck = Netlist([CurrentSource("I1", "A", "G", 1e-3)])
    with pytest.raises(CircuitError, match="A"):
        operating_point(stuck, "G")
