"""Junction work against published figures and an independent solver's operating points."""

from __future__ import annotations

import pathlib
import tomllib
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.circuit import Diode, DiodeTest, JunctionModel, Netlist, solve_reading
from benchcheck.circuit.junction import Estimate, drop_at, drop_per_kelvin, ideality_from, temperature_from
from benchcheck.circuit.models import SCHOTTKY, SILICON
from benchcheck.circuit.physics import Conditions
from benchcheck.errors import CircuitError

REFERENCE = pathlib.Path(__file__).parents[1] / "reference"
DECKS = tomllib.loads((REFERENCE / "circuits" / "results.toml").read_text("utf-8"))["deck"]
DECK_17 = {"T27": DECKS["17_diode_temperature"]["v"], **DECKS["17_diode_temperature"]["temperature"]}
IDEAL = Estimate(1.0)


@pytest.mark.parametrize(("celsius", "decade_mv"), [(20.0, 58.167), (25.0, 59.159), (27.0, 59.556), (50.0, 64.12)])
def test_a_decade_of_current_is_kt_over_q_ln_10(celsius: float, decade_mv: float) -> None:
    """Source: CODATA 2019 k and q, computed to the digits shown."""
    found = drop_at(Estimate(0.6), 1e-4, 1e-3, IDEAL, temperature_k=celsius + 273.15)
    assert 1e3 * (found.value - 0.6) == pytest.approx(decade_mv, abs=1e-3)


def test_a_published_schottky_carries_from_one_current_to_another() -> None:
    """BAT54 typical 0.22, 0.29, 0.35 V at 0.1, 1, 10 mA (Diotec data sheet, 25 degC): N about 1.05 to 1.2."""
    found = ideality_from(Estimate(0.22, 0.005), 1e-4, Estimate(0.29, 0.005), 1e-3, temperature=Estimate(298.15, 1.0))
    assert 1.05 <= found.value <= 1.2
    carried = drop_at(Estimate(0.29, 0.005), 1e-3, 1e-2, found, temperature_k=298.15)
    assert abs(carried.value - 0.35) < 2 * carried.standard_uncertainty


def test_a_published_germanium_drop_at_another_meters_current() -> None:
    """1N695 read 0.252 V at 0.8 mA, 1N34 0.233 V at about 1 mA (measured with handhelds): of one size at 1 mA."""
    carried = drop_at(Estimate(0.252, 0.01), 0.8e-3, 1e-3, Estimate(1.3, 0.2), current_ratio_uncertainty=0.1)
    assert carried.value == pytest.approx(0.252 + 1.3 * 0.025865 * log(1.25), abs=1e-6)
    assert abs(carried.value - 0.233) < 3 * carried.standard_uncertainty


@pytest.mark.parametrize(("node", "model"), [
    ("a", JunctionModel()), ("b", JunctionModel(1e-7, 1.05, 0.5, bandgap_ev=0.69, temperature_exponent=2.0))
])  # fmt: skip
def test_the_slope_with_temperature_is_that_of_the_reference_deck(node: str, model: JunctionModel) -> None:
    """Deck 17 between 25 and 27 degC (ngspice): -1.773 and -1.637 mV/K; the closed form at the middle."""
    middle = (DECK_17["T25"][node] + DECK_17["T27"][node]) / 2
    slope = (DECK_17["T27"][node] - DECK_17["T25"][node]) / 2.0
    assert drop_per_kelvin(middle, model, ampere=1e-3, temperature_k=299.15) == pytest.approx(slope, rel=2e-4)


@pytest.mark.parametrize(("volt", "mv_per_k"), [(0.655, -1.77), (0.60, -1.96)])
def test_the_slope_with_temperature_has_its_printed_values(volt: float, mv_per_k: float) -> None:
    """Closed form at 27 degC, 0.655 V and 0.60 V; the rule of thumb is -2 mV/K (common practice)."""
    assert 1e3 * drop_per_kelvin(volt, JunctionModel()) == pytest.approx(mv_per_k, abs=0.006)


@given(st.floats(250.0, 380.0), st.floats(1e-5, 1e-3), st.floats(1.5, 50.0), st.floats(1.0, 2.2))
def test_two_currents_give_ideality_and_temperature_back(
    kelvin: float, ampere: float, times: float, ideality: float
) -> None:
    low, factor = Estimate(0.5), Estimate(ideality)
    high = drop_at(low, ampere, times * ampere, factor, temperature_k=kelvin)
    found = ideality_from(low, ampere, high, times * ampere, temperature=Estimate(kelvin))
    assert found.value == pytest.approx(ideality, rel=1e-9)
    heat = temperature_from(low, ampere, high, times * ampere, ideality=factor)
    assert heat.value == pytest.approx(kelvin, rel=1e-9)


@pytest.mark.parametrize("model", [SILICON, SCHOTTKY])
def test_the_solved_meter_and_the_transfer_agree(model: JunctionModel) -> None:
    """The transfer against the operating-point solver, at 35 degC, series resistance included.

    It leaves the -1 of Shockley's law out: N VT ln(1 + IS/I), put back here with IS as it moves with temperature.
    """
    board, warm = Netlist([Diode("D1", "A", "K", model)]), Conditions(308.15)
    one, other = (
        solve_reading(board, "A", "K", DiodeTest(ampere, 3.0, 2.0), warm).value for ampere in (1e-3, 3.5e-4)
    )
    assert one is not None
    series = Estimate(model.series_resistance_ohm)
    carried = drop_at(Estimate(one), 1e-3, 3.5e-4, Estimate(model.ideality), series_ohm=series, temperature_k=308.15)
    warmer, thermal_v = 308.15 / 300.15, warm.thermal_voltage_v
    saturation_a = model.saturation_current_a * warmer ** (model.temperature_exponent / model.ideality)
    saturation_a *= exp(model.bandgap_ev / (model.ideality * thermal_v) * (warmer - 1.0))
    left_out = model.ideality * thermal_v * log((1 + saturation_a / 3.5e-4) / (1 + saturation_a / 1e-3))
    assert carried.value + left_out == pytest.approx(other, abs=1e-7)


def test_what_is_unsure_comes_out_as_each_alone_would() -> None:
    plain = drop_at(Estimate(0.6, 0.003), 1e-3, 1e-4, IDEAL)
    assert plain.standard_uncertainty == pytest.approx(0.003)
    by_ideality = drop_at(Estimate(0.6), 1e-3, 1e-4, Estimate(1.5, 0.2))
    assert by_ideality.standard_uncertainty == pytest.approx(0.2 * 0.059556, rel=1e-4)
    by_ratio = drop_at(Estimate(0.6), 1e-3, 1e-3, IDEAL, current_ratio_uncertainty=0.1)
    assert by_ratio.standard_uncertainty == pytest.approx(0.1 * 0.025865, rel=1e-4)
    by_series = drop_at(Estimate(0.6), 1e-3, 2e-3, IDEAL, series_ohm=Estimate(2.0, 1.0))
    assert by_series.standard_uncertainty == pytest.approx(1e-3)
    heat = temperature_from(Estimate(0.6, 1e-3), 1e-4, Estimate(0.66, 1e-3), 1e-3)
    assert heat.standard_uncertainty == pytest.approx(heat.value * 2**0.5 * 1e-3 / 0.06)


def test_what_cannot_be_is_refused_in_words() -> None:
    with pytest.raises(CircuitError, match="test current in ampere of 0 is not possible"):
        drop_at(Estimate(0.6), 0.0, 1e-3, IDEAL)
    with pytest.raises(CircuitError, match="temperature in kelvin of -3"):
        drop_at(Estimate(0.6), 1e-3, 1e-3, IDEAL, temperature_k=-3.0)
    with pytest.raises(CircuitError, match="ideality of nan"):
        drop_at(Estimate(0.6), 1e-3, 1e-3, Estimate(float("nan")))
    with pytest.raises(CircuitError, match="the higher one second"):
        ideality_from(Estimate(0.6), 1e-3, Estimate(0.66), 1e-3)
    with pytest.raises(CircuitError, match="no junction's drop falls"):
        temperature_from(Estimate(0.66), 1e-4, Estimate(0.6), 1e-3)
