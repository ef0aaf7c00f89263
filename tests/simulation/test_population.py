"""Readings without sockets: those of one unit solved one by one, and the same unit for the same seed."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Resistor
from benchcheck.simulation.population import VirtualReadings, readings_between, readings_of
from benchcheck.simulation.swift import Solver
from tests.factories import bench
from tests.simulation.units import demo, supplied

BENCH = bench("handheld-6000")
FAULTS = [(), ("D3 reversed",), ("C12 decade x10",), ("Q5 swapped-pins drain source",), ("D3 open", "bridge GDR LX")]


@pytest.mark.parametrize("faults", FAULTS, ids=str)
def test_the_swift_way_reads_what_solving_one_by_one_reads(
    faults: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    readings_of(demo(), BENCH, (), 1)  # so that there is something to begin from
    swift = readings_of(demo(), BENCH, faults, 2)
    monkeypatch.setattr(Solver, "solve", lambda *_: None)
    assert swift == readings_of(demo(), BENCH, faults, 2)


def test_one_seed_reads_the_same_again_and_another_does_not() -> None:
    assert readings_of(demo(), BENCH, (), 3) == readings_of(demo(), BENCH, (), 3)
    assert readings_of(demo(), BENCH, (), 3) != readings_of(demo(), BENCH, (), 4)


def test_checks_can_be_chosen_and_the_leads_always_come_along() -> None:
    found = readings_of(demo(), BENCH, (), 3, [demo().by_id["R14.resistance"]])
    assert found.keys() == {"meter.leads_shorted", "R14.resistance"}
    shown = found["R14.resistance"]
    assert (shown.meter, shown.meter_range) == ("dmm", "6k")
    assert shown.text.endswith("k")
    assert shown.value == pytest.approx(float(shown.text[:-1]) * 1e3)


def test_every_reading_lies_within_the_meters_specification() -> None:
    unit = VirtualReadings(supplied(), BENCH, (), 7)
    (shown,) = unit.between([("OUT", "MID", Function.OHMS)])
    r2 = unit.unit.netlist.by_designator["R2"]
    assert isinstance(r2, Resistor)
    each = BENCH.range_for(Function.OHMS, r2.resistance_ohm)
    assert each is not None
    assert shown.value is not None
    assert abs(shown.value - r2.resistance_ohm) <= each.half_width(r2.resistance_ohm) + unit.unit.leads_ohm


def test_pairs_are_read_either_way_round_and_what_is_open_is_overload() -> None:
    forward, reverse, nowhere = readings_between(
        demo(),
        BENCH,
        [("LX", "VSW", Function.DIODE), ("VSW", "LX", Function.DIODE), ("XI", "NOWHERE", Function.OHMS)],
        (),
        3,
    )
    assert forward.value == pytest.approx(0.25, abs=0.05)
    assert (reverse.text, reverse.value) == ("OL", None)
    assert nowhere.text == "OL"


def test_a_meter_that_lacks_the_function_reads_nothing() -> None:
    (shown,) = readings_between(demo(), BENCH, [("A", "B", Function.INDUCTANCE)])
    assert (shown.text, shown.meter) == ("OL", "")
