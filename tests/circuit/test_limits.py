"""Closed forms the solver must meet: infinite grids as limits, Lambert W, and the laws of linear circuits."""

from __future__ import annotations

from fractions import Fraction
from math import exp, pi

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.special import lambertw

from benchcheck.circuit import (
    CurrentSource,
    Diode,
    JunctionModel,
    Netlist,
    Ohms,
    OhmsRange,
    Resistor,
    VoltageSource,
    solve_reading,
)
from benchcheck.circuit.physics import Conditions
from benchcheck.circuit.solution import operating_point

from .random_networks import network

METER = Ohms((OhmsRange(1e6, 1e-4, 200.0),))
OHMS = st.floats(10.0, 1e6)


def grid(size: int) -> Netlist:
    """Return a square grid of 1-ohm resistors."""
    name = "{}_{}".format
    across = [Resistor(f"h{x}_{y}", name(x, y), name(x + 1, y), 1.0) for x in range(size - 1) for y in range(size)]
    down = [Resistor(f"v{x}_{y}", name(x, y), name(x, y + 1), 1.0) for x in range(size) for y in range(size - 1)]
    return Netlist([*across, *down])


@pytest.mark.parametrize(
    ("step", "limit"), [((1, 0), 0.5), ((1, 1), 2 / pi), ((2, 0), 2 - 4 / pi), ((2, 1), 4 / pi - 0.5)]
)
def test_grids_close_in_on_the_infinite_one_from_above(step: tuple[int, int], limit: float) -> None:
    """Infinite square grid of 1 ohm: 1/2 beside, 2/pi across, 4/pi - 1/2 a knight's move (Cserti 2000, Am. J. Phys.
    68, 896). By Rayleigh's monotonicity a finite piece reads more, and less the larger it is.
    """
    shown = []
    for size in (5, 11, 21):
        middle = size // 2
        ends = f"{middle}_{middle}", f"{middle + step[0]}_{middle + step[1]}"
        value = solve_reading(grid(size), *ends, METER).value
        assert value is not None
        shown.append(value)
    assert shown[0] > shown[1] > shown[2] > limit
    assert shown[2] == pytest.approx(limit, rel=1e-2)
    assert (shown[2] - limit) < (shown[1] - limit) / 2.5


@given(st.floats(0.5, 14.0), st.floats(100.0, 1e6))
@settings(max_examples=40, deadline=None)
def test_a_diode_behind_a_resistor_is_lambert_w(volt: float, ohm: float) -> None:
    """I = (N VT / R) W(IS R / (N VT) exp((V + IS R) / (N VT))) - IS (Banwell and Jayakumar 2000,
    Electron. Lett. 36).
    """
    model = JunctionModel(1e-14)
    board = Netlist([VoltageSource("V", "S", "0", volt), Resistor("R", "S", "A", ohm), Diode("D", "A", "0", model)])
    thermal_v = Conditions().thermal_voltage_v
    inside = 1e-14 * ohm / thermal_v
    w = float(lambertw(inside * exp(volt / thermal_v + inside)).real)
    ampere = thermal_v / ohm * w - 1e-14
    found = operating_point(board, "0", Conditions(gmin_s=1e-18)).voltages["A"]
    assert found == pytest.approx(volt - ohm * ampere, abs=1e-7)


@given(st.lists(OHMS, min_size=5, max_size=5))
@settings(max_examples=40, deadline=None)
def test_a_bridge_of_resistors_is_its_exact_fraction(values: list[float]) -> None:
    """Delta to star in exact fractions (any textbook), within 1e-9 of the solver's number."""
    a, b, c, d, e = (Fraction(value) for value in values)
    board = Netlist(
        Resistor(f"R{n}", one, other, value)
        for n, (one, other, value) in enumerate(
            zip("PPLLR", "LRRQQ", [values[0], values[1], values[4], *values[2:4]], strict=True)
        )
    )
    total = a + b + e
    star_p, star_l, star_r = a * b / total, a * e / total, b * e / total
    left, right = star_l + c, star_r + d
    exact = star_p + left * right / (left + right)
    found = solve_reading(board, "P", "Q", Ohms((OhmsRange(1e8, 1e-6, 200.0),)), Conditions(leak_s=1e-18)).value
    assert found == pytest.approx(float(exact), rel=1e-9)


@given(st.integers(0, 10_000))
@example(614)  # 742 V on one net, 0.9 mV on another
@settings(max_examples=25, deadline=None)
def test_transfer_resistances_are_reciprocal_and_sources_superpose(seed: int) -> None:
    """Reciprocity and superposition hold for any network of resistors (Lorentz; any textbook)."""
    plain = [device for device in network(seed, "resistors", 8).devices if isinstance(device, Resistor)]
    ends = [Resistor("ep", "vp", "0", 330.0), Resistor("en", "vn", "0", 470.0)]

    def volts(*sources: CurrentSource) -> dict[str, float]:
        return dict(operating_point(Netlist([*plain, *ends, *sources]), "0").voltages)

    one, other = CurrentSource("i1", "n1", "0", 1e-3), CurrentSource("i2", "n5", "0", 2e-3)
    first, second, both = volts(one), volts(other), volts(one, other)
    assert first["n5"] / 1e-3 == pytest.approx(second["n1"] / 2e-3, rel=1e-9, abs=1e-9)
    rounding = 1e-14 * max(abs(volt) for volt in both.values())  # of the largest, fifty times the last digit
    for net, volt in both.items():
        assert volt == pytest.approx(first[net] + second[net], rel=1e-9, abs=max(1e-12, rounding))


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_kirchhoffs_current_law_holds_at_every_net_with_diodes(seed: int) -> None:
    """What flows into a net through its resistors and diodes is nothing, by Shockley's law written out here."""
    rng_netlist = [d for d in network(seed, "resistors", 6).devices if isinstance(d, Resistor | VoltageSource)]
    model = JunctionModel(1e-12, 1.5)
    diodes = [Diode("d1", "n0", "n3", model), Diode("d2", "n4", "n1", model)]
    found = operating_point(Netlist([*rng_netlist, *diodes]), "0").voltages
    flow = dict.fromkeys(found, 0.0)
    size = dict.fromkeys(found, 0.0)
    slope_v = 1.5 * Conditions().thermal_voltage_v
    for device in (*rng_netlist, *diodes):
        if isinstance(device, Resistor):
            one, other, ampere = device.a, device.b, (found[device.a] - found[device.b]) / device.resistance_ohm
        elif isinstance(device, Diode):
            one, other = device.anode, device.cathode
            ampere = 1e-12 * (exp((found[one] - found[other]) / slope_v) - 1.0)
        else:
            continue
        flow[one] -= ampere
        flow[other] += ampere
        size[one] += abs(ampere)
        size[other] += abs(ampere)
    for net in (f"n{i}" for i in range(6)):
        assert abs(flow[net]) <= 1e-9 * size[net] + 1e-11
