"""Adjoint sensitivities beside central differences of whole readings, for every part value of a board."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from benchcheck.circuit import (
    Bjt,
    CapacitanceAtFrequency,
    Capacitor,
    Clamp,
    DcVoltage,
    Diode,
    DiodeTest,
    Esr,
    Excitation,
    Inductor,
    Mosfet,
    Netlist,
    Ohms,
    OhmsRange,
    Resistor,
    Switch,
    VoltageSource,
    Zener,
    sensitivities,
    solve_reading,
)
from benchcheck.circuit.devices import Device, value_of, with_value
from benchcheck.circuit.models import SCHOTTKY, BjtModel, MosfetModel

RICH = BjtModel(2e-14, 150.0, 3.0, leakage_emitter_a=1e-13, early_forward_v=60.0, knee_forward_a=0.05,
                base_resistance_ohm=30.0, collector_resistance_ohm=2.0, emitter_resistance_ohm=0.5)  # fmt: skip
PARTS: tuple[Device, ...] = (
    Resistor("R1", "A", "B", 1.5e3), Resistor("R2", "B", "0", 4.7e3), Resistor("R3", "A", "C", 10e3),
    Resistor("R4", "C", "0", 22e3), Resistor("R5", "D", "0", 330.0), Zener("Z1", "B", "A", 3.3),
    Diode("D1", "C", "D", SCHOTTKY), Bjt("Q1", "A", "C", "D", "NPN", RICH),
    Mosfet("M1", "A", "B", "E", "N", MosfetModel(0.9, 0.5, 0.02, 0.1, 0.05)), Resistor("R6", "E", "0", 1e3),
    Clamp("U1:p", "C", "0", "A"), Capacitor("C1", "A", "0", 47e-9, 0.5, 2e6), Switch("S1", "D", "F", True, 0.05),
    Inductor("L1", "F", "G", 1e-4, 3.0), Resistor("R7", "G", "0", 1e3), Capacitor("C2", "C", "D", 10e-9),
)  # fmt: skip
BOARD = Netlist(PARTS)
SUPPLIED = BOARD.adding(VoltageSource("V1", "A", "0", 6.0, 100.0))
CASES: tuple[tuple[Netlist, str, str, Excitation], ...] = (
    (BOARD, "A", "0", Ohms((OhmsRange(6e4, 1e-4, 2.7),))),
    (BOARD, "0", "A", DiodeTest(1e-3, 3.0, 2.0)),
    (BOARD, "A", "0", DiodeTest(2e-3, 12.0, 11.0)),  # the zener breaks down, transistors conduct
    (SUPPLIED, "C", "0", DcVoltage()),
    (SUPPLIED, "D", "0", DcVoltage()),
    (BOARD, "A", "0", CapacitanceAtFrequency(1e3, "parallel")),
    (BOARD, "C", "D", CapacitanceAtFrequency(120.0, "series")),
    (BOARD, "A", "0", Esr(full_scale_ohm=1e4)),
)


def moved(case: tuple[Netlist, str, str, Excitation], name: str) -> float:
    """Return the central difference of the reading to a part's value, in the reading's unit per the value's."""
    netlist, excitation = case[0], case[3]
    device = netlist.device(name)
    if isinstance(device, Inductor) and not isinstance(excitation, CapacitanceAtFrequency | Esr):
        step = 1e-4 * device.dc_resistance_ohm
        ends: list[Device] = [
            replace(device, dc_resistance_ohm=device.dc_resistance_ohm + sign * step) for sign in (1, -1)
        ]
    else:
        step = max(abs(value_of(device)) * 1e-4, 1e-5 if device.VALUE.endswith("_v") else 0.0)
        ends = [with_value(device, value_of(device) + sign * step) for sign in (1, -1)]
    found = difference(case, name, ends, step)
    if isinstance(device, Mosfet) and not found:  # its channel is off: what counts is its body diode
        step = 1e-5
        found = difference(case, name, [replace(device, drop_shift_v=sign * step) for sign in (1, -1)], step)
    return found


def difference(case: tuple[Netlist, str, str, Excitation], name: str, ends: list[Device], step: float) -> float:
    netlist, red, black, excitation = case
    high, low = (solve_reading(netlist.replacing(name, end), red, black, excitation).value for end in ends)
    assert high is not None
    assert low is not None
    return (high - low) / (2.0 * step)


def named() -> Iterator[object]:
    for at, case in enumerate(CASES):
        yield pytest.param(case, id=f"{at} {type(case[3]).__name__}")


@pytest.mark.parametrize("case", tuple(named()))
def test_every_sensitivity_is_what_moving_the_part_shows(case: tuple[Netlist, str, str, Excitation]) -> None:
    """Mathematical definition; within 1e-4 of the largest effect, and 1 % of its own, a difference's rounding."""
    netlist, *_ = case
    found = sensitivities(*case)
    sizes = {name: abs(value_of(netlist.device(name))) or 0.03 for name in found}
    largest = max(abs(slope) * sizes[name] for name, slope in found.items())
    assert largest > 0.0
    direct = not isinstance(case[3], CapacitanceAtFrequency | Esr)
    skipped = {"C1", "C2"} if direct else {"Z1", "M1"}  # no value of theirs counts there, but what leaks does
    for name in (one.designator for one in netlist.devices if one.designator not in skipped):
        slope, seen = found.get(name, 0.0), moved(case, name)
        size = sizes.get(name, abs(value_of(netlist.device(name))) or 0.03)
        assert slope * size == pytest.approx(seen * size, rel=1e-2, abs=1e-4 * largest), name


def test_what_a_body_diode_strays_by_moves_the_reading() -> None:
    """Current forced through a body diode: the reading moves by as many volts as its forward voltage does."""
    board = Netlist([Mosfet("Q1", "G", "D", "S"), Resistor("R1", "G", "S", 1e3), Resistor("R2", "D", "S", 1e6)])
    assert sensitivities(board, "S", "D", DiodeTest())["Q1"] == pytest.approx(1.0, rel=0.01)
    assert abs(sensitivities(board, "D", "S", Ohms((OhmsRange(6e6, 1e-7, 2.7),)))["Q1"]) < 1e6
