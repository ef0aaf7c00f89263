from __future__ import annotations

import pytest

from benchcheck.circuit import (
    Bjt,
    Clamp,
    Conditions,
    Diode,
    DiodeTest,
    Mosfet,
    Netlist,
    Ohms,
    OhmsRange,
    Resistor,
    Zener,
    solve_reading,
)
from benchcheck.circuit.models import LED_RED, SCHOTTKY
from benchcheck.circuit.warmed import warmed

NETLIST = Netlist([
    Diode("D1", "a", "b", drop_shift_v=0.02), Diode("D2", "b", "c", SCHOTTKY), Diode("D3", "c", "gnd", LED_RED),
    Zener("D4", "gnd", "c", 5.6), Bjt("Q1", "c", "b", "gnd"), Mosfet("M1", "b", "d", "gnd"),
    Clamp("U1:in", "d", "gnd", "a"), Resistor("R1", "a", "gnd", 47e3), Resistor("R2", "d", "c", 10e3),
])  # fmt: skip
METERS = DiodeTest(1e-3, 3.0, 3.0), Ohms((OhmsRange(6e3, 1e-4, 1.2), OhmsRange(6e6, 4e-7, 1.2)))


@pytest.mark.parametrize("celsius", [-10.0, 5.0, 27.0, 45.0])
@pytest.mark.parametrize("meter", METERS)
def test_a_board_stated_anew_reads_as_it_does_at_its_temperature(celsius: float, meter: DiodeTest | Ohms) -> None:
    at = Conditions(temperature_k=celsius + 273.15)
    there = warmed(NETLIST, at)
    for red, black in (("a", "b"), ("a", "gnd"), ("gnd", "d"), ("c", "gnd"), ("gnd", "c"), ("b", "c"), ("d", "a")):
        expected = solve_reading(NETLIST, red, black, meter, at).value
        found = solve_reading(there, red, black, meter).value
        assert found == (None if expected is None else pytest.approx(expected, rel=1e-6, abs=1e-9))
