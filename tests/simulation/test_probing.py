"""Unpowered readings against closed forms: Ohm's law, charging by a current, the first moment of a ladder."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, Device, Diode, Resistor
from benchcheck.circuit.netlist import Netlist
from benchcheck.simulation.courses import courses_between
from benchcheck.simulation.probing import course_between
from benchcheck.simulation.specimen import Specimen
from benchcheck.simulation.world import Excitation
from tests.simulation.units import demo

OHMS = Excitation(Function.OHMS, 1e-4, 3.0)
DIODE = Excitation(Function.DIODE, 1e-3, 3.0)
values = st.floats(100.0, 1e3)
farads = st.floats(1e-5, 1e-3)


def test_resistors_read_as_ohms_law_has_them() -> None:
    """1 k beside 2.2 k is 687.5 ohm; any textbook."""
    netlist = Netlist([Resistor("R1", "A", "B", 1e3), Resistor("R2", "A", "B", 2.2e3)])
    assert course_between(netlist, "A", "B", OHMS).at(0.0) == pytest.approx(687.5, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(ohm=values, farad=farads, elapsed=st.floats(0.0, 5.0))
def test_a_capacitor_beside_a_resistor_charges_as_rc(ohm: float, farad: float, elapsed: float) -> None:
    """V = I R (1 - exp(-t / RC)): the step response of a parallel RC driven by a current; any textbook."""
    netlist = Netlist([Resistor("R1", "A", "B", ohm), Capacitor("C1", "A", "B", farad)])
    seen = course_between(netlist, "A", "B", OHMS).at(elapsed * ohm * farad)
    assert seen == pytest.approx(ohm * (1.0 - math.exp(-elapsed)), rel=1e-3, abs=2e-3)


@settings(max_examples=40, deadline=None)
@given(first=values, second=values, farad=farads, elapsed=st.floats(0.0, 5.0))
def test_a_resistor_in_series_is_there_at_once(first: float, second: float, farad: float, elapsed: float) -> None:
    """R1 + R2 (1 - exp(-t / R2 C)): the capacitor is a short at first."""
    parts: list[Device] = [
        Resistor("R1", "A", "M", first),
        Resistor("R2", "M", "B", second),
        Capacitor("C1", "M", "B", farad),
    ]
    seen = course_between(Netlist(parts), "A", "B", OHMS).at(elapsed * second * farad)
    assert seen == pytest.approx(first + second * (1.0 - math.exp(-elapsed)), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(first=values, second=values, near=farads, far=farads)
def test_the_area_above_the_curve_of_a_ladder_is_its_first_moment(
    first: float, second: float, near: float, far: float
) -> None:
    """For C1 at the probes, R1 to a node with C2 beside R2: sum of C V^2 / I^2 (Elmore 1948, for the driving point).

    At the end C1 holds I (R1 + R2) and C2 holds I R2; both are shorts at first, so the reading starts at 0.
    """
    parts: list[Device] = [
        Capacitor("C1", "A", "B", near),
        Resistor("R1", "A", "M", first),
        Resistor("R2", "M", "B", second),
        Capacitor("C2", "M", "B", far),
    ]
    course = course_between(Netlist(parts), "A", "B", OHMS)
    area = near * (first + second) ** 2 + far * second**2
    assert course.time_constant_s * (first + second) == pytest.approx(area, rel=2e-3)


def test_a_lone_capacitor_climbs_to_overload() -> None:
    course = course_between(Netlist([Capacitor("C1", "A", "B", 100e-6)]), "A", "B", OHMS)
    assert 0.0 < course.at(0.1) < course.at(1.0) < math.inf
    assert course.at(60.0) == math.inf
    assert course.at(0.03) == pytest.approx(0.03 / 100e-6, rel=0.02)  # dV/dt = I / C


def test_a_junction_shows_its_drop_one_way_and_overload_the_other() -> None:
    """0.58 V at 1 mA: small-signal silicon (common practice)."""
    netlist = Netlist([Diode("D1", "A", "B")])
    assert course_between(netlist, "A", "B", DIODE).at(0.0) == pytest.approx(0.58, abs=0.02)
    assert course_between(netlist, "B", "A", DIODE).at(0.0) == math.inf


def test_charge_at_the_probes_is_taken_for_resistance() -> None:
    netlist = Netlist([Resistor("R1", "A", "B", 1e3)])
    assert course_between(netlist, "A", "B", OHMS).at(0.0, 0.5) == pytest.approx(1e3 + 0.5 / 1e-4)


@pytest.mark.parametrize(
    ("function", "shown"),
    [(Function.OHMS, math.inf), (Function.DIODE, math.inf), (Function.CAPACITANCE, 0.0), (Function.DC_VOLTAGE, 0.0)],
)
def test_a_net_no_part_touches_is_open(function: Function, shown: float) -> None:
    netlist = Netlist([Resistor("R1", "A", "B", 1e3)])
    assert course_between(netlist, "A", "NOWHERE", Excitation(function)).at(1.0) == shown


def test_capacitance_and_series_resistance_come_back() -> None:
    netlist = Netlist([Capacitor("C1", "A", "B", 220e-6, series_resistance_ohm=0.3)])
    assert course_between(netlist, "A", "B", Excitation(Function.CAPACITANCE)).at(1.0) == pytest.approx(
        220e-6, rel=0.01
    )
    assert course_between(netlist, "A", "B", Excitation(Function.ESR)).at(1.0) == pytest.approx(0.3, rel=1e-3)


@pytest.mark.parametrize("excitation", [OHMS, DIODE, Excitation(Function.OHMS, 1e-6, 3.0)], ids=str)
def test_many_pairs_at_once_take_the_course_they_take_one_by_one(excitation: Excitation) -> None:
    netlist = Specimen(demo(), ("C9 leaky",), 6).netlist({})
    checks = [check for check in demo().checks if check.function is excitation.function]
    pairs = [(c.red.net, c.black.net) for c in checks if c.red and c.black and c.red.net and c.black.net]
    chosen = [pair for pair in dict.fromkeys(pairs) if pair[0] != pair[1]][::3]
    together = courses_between(netlist, chosen, excitation)
    assert set(together) == set(chosen)
    for pair in chosen:
        one = course_between(netlist, *pair, excitation)
        for elapsed_s in (0.0, 0.5 * one.time_constant_s, math.inf):
            assert together[pair].at(elapsed_s) == pytest.approx(one.at(elapsed_s), rel=1e-4, abs=1e-4)
