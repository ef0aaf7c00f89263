"""Readings solved in the ranges that showed them, beside the whole search of ranges and textbook sums."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchcheck.circuit.devices import Clamp, Diode, Resistor
from benchcheck.circuit.dictionary import edited_readings
from benchcheck.circuit.excitation import DiodeTest, Ohms, OhmsRange
from benchcheck.circuit.faults import Edit, PartFault, faulty
from benchcheck.circuit.models import JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.ranged import readings_in_ranges
from benchcheck.circuit.table import Probe

RANGES = (OhmsRange(6e3, 1e-4, 2.7), OhmsRange(6e5, 1e-6, 2.7), OhmsRange(6e7, 1.5e-8, 2.7))
BOARD = Netlist(
    [
        Resistor("R1", "A", "B", 1e3),
        Resistor("R2", "B", "GND", 2.2e3),
        Diode("D1", "GND", "A", JunctionModel(4e-8, 1.0)),
    ]
)
PROBES = (
    Probe("A", "GND", Ohms(RANGES)),
    Probe("GND", "A", DiodeTest(1e-3, 3.0, 2.0)),
    Probe("B", "A", Ohms(RANGES)),
)
R2_OPEN = Edit(("R2",))


def test_it_agrees_with_the_search_of_all_ranges() -> None:
    found = readings_in_ranges(BOARD, PROBES, (0, 0, 0), [R2_OPEN])
    whole = edited_readings(BOARD, PROBES, [R2_OPEN])
    assert found.solved.all()
    assert found.latent == pytest.approx(whole.latent, rel=1e-6)


def test_a_range_whose_source_gives_way_is_left_for_the_next() -> None:
    # textbook: in reverse V = -VT ln(1 - I / IS); 40 nA cannot carry 1 uA, and shows V / I at 15 nA
    value = readings_in_ranges(BOARD, PROBES[:1], (1,), [R2_OPEN]).latent[1, 0]
    thermal_v = 1.380649e-23 * 300.15 / 1.602176634e-19
    assert value == pytest.approx(-thermal_v * math.log(1.0 - 1.5e-8 / 4e-8) / 1.5e-8, rel=0.05)


def test_a_board_much_like_it_begins_where_the_last_one_settled() -> None:
    other = BOARD.replacing("R1", Resistor("R1", "A", "B", 1.05e3))
    first = readings_in_ranges(BOARD, PROBES, (0, 0, 0), [])
    assert readings_in_ranges(other, PROBES, (0, 0, 0), [], begin=first.settled).latent == pytest.approx(
        readings_in_ranges(other, PROBES, (0, 0, 0), []).latent, rel=1e-6
    )


def test_slopes_are_what_a_small_change_makes() -> None:
    # a central difference over R2, ohms as logarithms
    found = readings_in_ranges(BOARD, PROBES[:1], (0,), [])
    slot = next(at for at, one in enumerate(found.slots) if (one.designator, one.of) == ("R2", "ohms"))
    low, high = (
        readings_in_ranges(BOARD.replacing("R2", Resistor("R2", "B", "GND", 2.2e3 * k)), PROBES[:1], (0,), [])
        for k in (0.999, 1.001)
    )
    by_hand = np.log(high.latent[0, 0] / low.latent[0, 0]) / math.log(1.001 / 0.999)
    assert found.slopes[found.entry[0, 0], slot] == pytest.approx(by_hand, rel=1e-3)


def test_what_leaks_backwards_is_read_in_the_range_that_shows_it() -> None:
    # textbook: 10 uA backwards through IS = 20 uA drops VT ln 2, 1.8 kilohm; 100 uA do not pass, and show far more
    leaky = Netlist([Diode("D1", "GND", "A", JunctionModel(2e-5, 1.0)), Resistor("R1", "A", "GND", 2e4)])
    ranges = (OhmsRange(6e3, 1e-4, 2.7), OhmsRange(6e4, 1e-5, 2.7), OhmsRange(6e7, 1.5e-8, 2.7))
    probe = Probe("A", "GND", Ohms(ranges))
    value = readings_in_ranges(leaky, [probe], (0,), [], read=[1.6e3]).latent[0, 0]
    assert value == pytest.approx(edited_readings(leaky, [probe], []).value[0, 0], rel=1e-6)
    thermal_v = 1.380649e-23 * 300.15 / 1.602176634e-19
    carried = 2e-5 * (1.0 - math.exp(-value * 1e-5 / thermal_v)) + value * 1e-5 / 2e4
    assert carried == pytest.approx(1e-5, rel=1e-3)
    assert readings_in_ranges(leaky, [probe], (0,), [], read=[5.9e3]).latent[0, 0] > 6e3


def test_the_junctions_of_a_clamp_may_be_of_two_kinds() -> None:
    low, high = JunctionModel(4e-8, 1.0), JunctionModel(1e-12, 1.5)
    clamp = Netlist([Clamp("U1:a", "A", "GND", "V5", low, supply_model=high)])
    alone = Netlist([Diode("D1", "GND", "A", low), Diode("D2", "A", "V5", high)])
    test = DiodeTest(1e-3, 3.0, 2.0)
    probes = (Probe("GND", "A", test), Probe("A", "V5", test), Probe("GND", "V5", test))
    assert edited_readings(clamp, probes, []).value == pytest.approx(edited_readings(alone, probes, []).value)
    # its pin lifted, both are in series: their volts add (but for a leak of the board, microvolts)
    lifted = faulty(clamp, PartFault("missing-joint", "U1:a", ("pin",)))
    value = edited_readings(lifted, probes[2:], []).value[0, 0]
    assert value == pytest.approx(edited_readings(alone, probes, []).value[0, 2], abs=1e-5)


def test_a_reading_of_nothing_is_no_reading_of_a_further_range() -> None:
    # leads of 0.2 ohm taken off a reading of 0.1 ohm leave less than nothing
    far = Netlist([Resistor("R1", "A", "GND", 9e3)])
    value = readings_in_ranges(far, PROBES[:1], (0,), [], read=[-0.1]).latent[0, 0]
    assert value == pytest.approx(9e3, rel=1e-6)


def test_of_ranges_that_may_have_shown_a_reading_the_one_that_shows_what_is_nearest_counts() -> None:
    # 20 uA of leakage: 100 uA overload, 10 uA show 1.8 kilohm, 15 nA the slope at nothing, VT / IS = 1.3 kilohm
    leaky = Netlist([Diode("D1", "GND", "A", JunctionModel(2e-5, 1.0))])
    ranges = (OhmsRange(6e3, 1e-4, 2.7), OhmsRange(6e4, 1e-5, 2.7), OhmsRange(6e7, 1.5e-8, 2.7))
    probe = Probe("A", "GND", Ohms(ranges))
    found = {read: readings_in_ranges(leaky, [probe], (0,), [], read=[read]) for read in (1.85e3, 1.25e3)}
    assert found[1.85e3].latent[0, 0] == pytest.approx(1.793e3, rel=1e-3)
    assert found[1.85e3].source.ampere[0, 0] == 1e-5
    alone = readings_in_ranges(leaky, [probe], (2,), [], read=[1.25e3])
    assert alone.latent[0, 0] == pytest.approx(1.293e3, rel=1e-3)
    far = readings_in_ranges(leaky, [probe], (0,), [], read=[0.6e3])  # nothing like 1.8 kilohm: the next is looked at
    assert far.source.ampere[0, 0] == 1.5e-8


def test_where_a_source_gives_way_the_ohms_from_which_it_does_are_told() -> None:
    # 20 uA of leakage cannot carry 100 uA: 2.7 V over 100 uA is the edge; what is shown is 2.7 V over the leakage
    leaky = Netlist([Diode("D1", "GND", "A", JunctionModel(2e-5, 1.0)), Resistor("R1", "A", "B", 10.0)])
    ohms = Ohms((OhmsRange(6e3, 1e-4, 2.7),))
    found = readings_in_ranges(leaky, [Probe("A", "GND", ohms), Probe("A", "B", ohms)], (0, 0), [])
    assert found.source.edge[0, 0] == pytest.approx(27e3)
    assert found.latent[0, 0] == pytest.approx(2.7 / 2e-5, rel=0.02)
    assert math.isnan(found.source.edge[0, 1])


def test_a_range_that_cannot_have_shown_a_reading_counts_where_it_shows_no_less() -> None:
    # 9 uA of leakage: 10 uA overload, 1 uA show 3 kilohm, the slope at nothing; 20 kilohm by 10 uA take more leakage
    leaky = Netlist([Diode("D1", "GND", "A", JunctionModel(9e-6, 1.0))])
    ranges = (OhmsRange(6e4, 1e-5, 2.7), OhmsRange(6e5, 1e-6, 2.7))
    probe = Probe("A", "GND", Ohms(ranges))

    def ampere(read: float, *last: int) -> float:
        return float(readings_in_ranges(leaky, [probe], (0,), [], read=[read], last=last).source.ampere[0, 0])

    assert ampere(20e3) == ampere(20e3, 1) == 1e-6
    assert ampere(20e3, 0) == 1e-5
    assert ampere(2e3, 0) == 1e-6


@pytest.mark.parametrize("series_ohm", [0.0, 20e3])
def test_how_a_reading_moves_with_the_drop_of_what_leaks_tells_the_leakage(series_ohm: float) -> None:
    # x / (1 - x), x the test current over the leakage (Shockley's equation backwards), whatever is in series
    leaky = Netlist([
        Diode("D1", "GND", "B", JunctionModel(2e-5, 1.8)), Resistor("R1", "A", "B", max(series_ohm, 1e-3)),
    ])  # fmt: skip
    probes = [
        Probe("A", "GND", Ohms((OhmsRange(6e4, 1e-5, 2.7),))),
        Probe("GND", "A", Ohms((OhmsRange(6e4, 1e-5, 2.7),))),
    ]
    source = readings_in_ranges(leaky, probes, (0, 0), []).source
    assert source.backwards[0, 0] == pytest.approx(0.5 / (1.0 - 0.5), rel=1e-3)
    assert source.slope_v[0, 0] == pytest.approx(1.8 * 0.0259, rel=0.01)
    assert math.isnan(source.backwards[0, 1])
    assert math.isnan(source.slope_v[0, 1])
