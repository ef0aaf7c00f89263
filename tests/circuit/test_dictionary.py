"""The dictionary of faults reads what solving each faulty board on its own reads."""

from __future__ import annotations

import random

import pytest

from benchcheck.circuit import (
    Bjt,
    Capacitor,
    Clamp,
    Diode,
    DiodeTest,
    Inductor,
    Mosfet,
    Netlist,
    Ohms,
    OhmsRange,
    Resistor,
    Zener,
    solve_reading,
)
from benchcheck.circuit.dictionary import fault_dictionary
from benchcheck.circuit.faults import faulty, possible_faults
from benchcheck.circuit.models import SCHOTTKY
from benchcheck.circuit.table import Probe
from benchcheck.errors import CircuitError

BOARD = Netlist(
    [
        Inductor("L1", "BSW", "LX", 1e-5, 0.2),
        Diode("D3", "LX", "VSW"),
        Mosfet("Q2", "GDR", "LX", "GND"),
        Resistor("R11", "GIN", "GDR", 47.0),
        Resistor("R12", "GDR", "GND", 100e3),
        Resistor("R13", "VSW", "FB", 24e3),
        Resistor("R14", "FB", "GND", 3.9e3),
        Capacitor("C9", "VSW", "GND", 220e-6),
        Clamp("U1:fb", "FB", "GND", "BSW"),
        Bjt("Q4", "MUTE", "MUB", "GND"),
        Resistor("R30", "VSW", "MUB", 10e3),
        Resistor("R31", "BSW", "MUTE", 22e3),
        Zener("D6", "GND", "GIN", 5.6),
        Resistor("R40", "BSW", "GND", 2.2e3),
    ]
)
OHMS = Ohms((OhmsRange(600.0, 350e-6, 2.7), OhmsRange(6e3, 100e-6, 2.7), OhmsRange(60e3, 10e-6, 2.7)))


def probes(count: int) -> list[Probe]:
    rng = random.Random(7)
    pairs = [rng.sample(BOARD.nets, 2) for _ in range(count)]
    return [Probe(red, black, rng.choice((OHMS, DiodeTest()))) for red, black in pairs]


def test_every_fault_reads_as_the_faulty_board_solved_alone() -> None:
    wanted, faults = probes(12), possible_faults(BOARD)
    found = fault_dictionary(BOARD, wanted, faults)
    compared = 0
    for row, fault in enumerate(faults):
        for column, probe in enumerate(wanted):
            try:
                alone = solve_reading(faulty(BOARD, fault), probe.red, probe.black, probe.excitation).value
            except CircuitError:
                continue
            if not found.solved[row, column]:
                continue
            listed = found.reading(row, column)
            assert (listed is None) == (alone is None), (str(fault), probe.red, probe.black)
            if alone is not None:
                assert listed == pytest.approx(alone, rel=1e-5, abs=1e-6), (str(fault), probe.red, probe.black)
            compared += 1
    assert compared > 0.95 * len(faults) * len(wanted)


def test_the_good_board_stands_beside_its_faults_and_what_was_done_is_counted() -> None:
    wanted = probes(6)
    found = fault_dictionary(BOARD, wanted, possible_faults(BOARD))
    for column, probe in enumerate(wanted):
        alone = solve_reading(BOARD, probe.red, probe.black, probe.excitation).value
        if alone is not None:
            assert found.good[column] == pytest.approx(alone, rel=1e-5)
    assert sum(found.counts.values()) > 0
    assert found.counts["not solved"] == 0


@pytest.mark.parametrize("missing", [Diode, Bjt, Mosfet, (Diode, Clamp, Zener, Bjt, Mosfet)])
def test_a_board_may_lack_any_sort_of_device(missing: type | tuple[type, ...]) -> None:
    board = Netlist([one for one in BOARD.devices if not isinstance(one, missing)])
    wanted, faults = [Probe("BSW", "GND", OHMS), Probe("VSW", "GND", OHMS)], possible_faults(board)[::9]
    found = fault_dictionary(board, wanted, faults)
    for row, fault in enumerate(faults):
        alone = solve_reading(faulty(board, fault), "VSW", "GND", OHMS).value
        listed = found.reading(row, 1)
        assert (listed is None) == (alone is None)
        if listed is not None:
            assert listed == pytest.approx(alone, rel=1e-5, abs=1e-6)


def test_nets_that_are_not_there_are_refused() -> None:
    with pytest.raises(CircuitError, match="NOWHERE"):
        fault_dictionary(BOARD, [Probe("NOWHERE", "GND", OHMS)], possible_faults(BOARD))


def test_a_reading_that_only_a_smaller_current_gives_is_looked_for_under_every_fault() -> None:
    # 1 uA is more than the diode leaks, so its range overloads, far beyond; with 0.1 uA the next one shows a number
    netlist = Netlist([Diode("D1", "GND", "A", SCHOTTKY, -0.002), Resistor("R1", "A", "IN", 100.0)])
    ranges = ((60e3, 10e-6), (600e3, 1e-6), (6e6, 100e-9), (60e6, 15e-9))
    probe = Probe("IN", "GND", Ohms(tuple(OhmsRange(end, ampere, 2.7) for end, ampere in ranges)))
    faults = [fault for fault in possible_faults(netlist) if fault.designator == "R1" and fault.code == "decade"]
    found = fault_dictionary(netlist, [probe], faults)
    assert 0.1e6 < found.good[0] < 6e6
    assert found.readings[:, 0] == pytest.approx([found.good[0]] * len(faults), rel=1e-2)
    alone = [solve_reading(faulty(netlist, fault), "IN", "GND", probe.excitation).value for fault in faults]
    assert found.readings[:, 0] == pytest.approx(alone, rel=1e-5)
