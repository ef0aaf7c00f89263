"""Variants read abreast read what each reads by itself."""

from __future__ import annotations

import random

import pytest

from benchcheck.circuit import (
    CapacitanceAtFrequency,
    CurrentSource,
    Diode,
    DiodeTest,
    Inductor,
    Netlist,
    Ohms,
    OhmsRange,
    Resistor,
    VoltageSource,
    solve_reading,
)
from benchcheck.circuit.abreast import read_abreast
from benchcheck.circuit.devices import Device
from benchcheck.circuit.faults import faulty, possible_faults
from benchcheck.circuit.starts import Starts
from tests.circuit.boards import DIODE, OHMS, board

METER = Ohms((OhmsRange(6e3, 1e-4, 2.7), OhmsRange(60e3, 1e-5, 2.7)))


def variants(good: Netlist, red: str, black: str, seed: int, count: int = 12) -> list[Netlist]:
    """Return the board with one fault each, of every sort there is, that leave both nets in being."""
    faults = random.Random(seed).sample(possible_faults(good), 2 * count)
    made = [faulty(good, fault) for fault in faults]
    return [each for each in made if {red, black} <= set(each.nets)][:count]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("meter", [OHMS, DIODE, Ohms(OHMS.ranges, lead_resistance_ohm=0.2)], ids=str)
def test_every_variant_reads_as_it_does_alone(seed: int, meter: Ohms | DiodeTest) -> None:
    good, starts = board(seed, 40, 24), Starts()
    red, black = random.Random(seed).sample(good.nets, 2)
    solve_reading(good, red, black, meter, starts=starts)
    each = variants(good, red, black, seed)
    found = read_abreast(each, red, black, meter, starts)
    assert found is not None
    for shown, variant in zip(found, each, strict=True):
        alone = solve_reading(variant, red, black, meter, starts=starts).value
        assert shown == (None if alone is None else pytest.approx(alone, rel=1e-8, abs=1e-12))


def test_a_triangle_with_one_side_open_reads_the_other_two() -> None:
    """10k, 4.7k and 22k between three nets: in exact fractions, without one side the other two in series."""
    sides = {"R1": ("A", "B", 10e3), "R2": ("B", "C", 4.7e3), "R3": ("A", "C", 22e3)}
    good, starts = Netlist(Resistor(name, *side) for name, side in sides.items()), Starts()
    solve_reading(good, "A", "B", METER, starts=starts)
    opened = [good.replacing("R1"), good.replacing("R2"), good.replacing("R1", Resistor("R1", "A", "B", 100e3))]
    found = read_abreast(opened, "A", "B", METER, starts)
    assert found == pytest.approx((26.7e3, 10e3, 100e3 * 26.7e3 / 126.7e3), rel=1e-8)  # a board leaks 10 Tohm


def test_a_source_on_one_board_is_no_business_of_the_others() -> None:
    """Each board's own supplies bound its voltages, and its own meter is the one that changes range."""
    cell = VoltageSource("BT1", "V", "GND", 1.5, series_resistance_ohm=0.5, current_limit_a=1.0)
    plain: list[Device] = [Resistor("R1", "A", "V", 2e3), Resistor("R2", "V", "GND", 1e3), Diode("D1", "A", "GND")]
    pump = CurrentSource("I1", "A", "GND", 1e-5)
    good, starts = Netlist(plain), Starts()
    solve_reading(good, "A", "GND", METER, starts=starts)
    off = good.replacing("R1")
    each = [good.adding(cell), good, off.replacing("D1", Resistor("R3", "A", "V", 1e6)), good.adding(pump)]
    found = read_abreast(each, "A", "GND", METER, starts)
    alone = [solve_reading(one, "A", "GND", METER).value for one in each]
    assert found is not None
    for shown, value in zip(found, alone, strict=True):
        assert shown == (None if value is None else pytest.approx(value, rel=1e-8))
    assert alone[2] is None


def test_what_cannot_be_read_abreast_is_left_to_be_read_alone() -> None:
    good, starts = Netlist([Resistor("R1", "A", "B", 1e3), Inductor("L1", "B", "C", 1e-5, 0.0)]), Starts()
    assert read_abreast([good], "A", "B", METER, starts) is None  # nothing is known of a like circuit
    solve_reading(good, "A", "B", METER, starts=starts)
    assert read_abreast([good], "A", "B", METER, starts) == pytest.approx((1e3,))
    assert read_abreast([], "A", "B", METER, starts) is None
    assert read_abreast([good], "A", "A", METER, starts) is None
    assert read_abreast([good], "A", "B", CapacitanceAtFrequency(1e3), starts) is None
    assert read_abreast([good], "B", "C", METER, starts) is None  # one net: the winding has no resistance
    assert read_abreast([good, good.replacing("R1")], "A", "B", METER, starts) is None  # no such net on the second
    looped = good.adding(VoltageSource("V1", "A", "B", 1.0), VoltageSource("V2", "A", "B", 2.0))
    assert read_abreast([good, looped], "A", "B", METER, starts) is None
