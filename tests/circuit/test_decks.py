"""Every reference deck, solved, within 1e-6 V of the published operating point.

Source: reference/circuits/results.toml, computed with ngspice-39 and confirmed by a second, independent solver;
nodes that hang on picoampere leakage are left out there by the rule its head states. A deck added to that folder
is tried too.
"""

from __future__ import annotations

import pathlib
import tomllib
from typing import Any

import pytest

from benchcheck.circuit.physics import Conditions
from benchcheck.circuit.solution import OperatingPoint, operating_point

from .spice_reader import read_file

FOLDER = pathlib.Path(__file__).parents[1] / "reference" / "circuits"
RESULTS: dict[str, dict[str, Any]] = tomllib.loads((FOLDER / "results.toml").read_text("utf-8"))["deck"]
WITH_TEMPERATURES = [(name, int(key[1:])) for name, deck in RESULTS.items() for key in deck.get("temperature", {})]
WITHIN_V = 1e-6


def solved(name: str, celsius: float | None = None) -> OperatingPoint:
    deck = read_file(FOLDER / RESULTS[name]["file"])
    temperature_k = deck.temperature_k if celsius is None else celsius + 273.15
    return operating_point(deck.netlist, "0", Conditions(temperature_k), start=deck.nodeset or None)


@pytest.mark.parametrize("name", RESULTS)
def test_node_voltages_lie_within_a_microvolt_of_the_reference(name: str) -> None:
    found = solved(name).voltages
    wrong = {net: (found[net], volt) for net, volt in RESULTS[name]["v"].items() if abs(found[net] - volt) > WITHIN_V}
    assert wrong == {}


@pytest.mark.parametrize("name", [name for name in RESULTS if "i" in RESULTS[name]])
def test_source_currents_above_a_microampere_agree_to_a_millionth(name: str) -> None:
    found = solved(name).currents
    reference = {source: ampere for source, ampere in RESULTS[name]["i"].items() if abs(ampere) > 1e-6}
    # SPICE counts the current that enters the + terminal
    assert {source: -found[source] for source in reference} == pytest.approx(reference, rel=1e-6)


@pytest.mark.parametrize(("name", "celsius"), WITH_TEMPERATURES)
def test_node_voltages_follow_temperature(name: str, celsius: int) -> None:
    found = solved(name, celsius).voltages
    for net, volt in RESULTS[name]["temperature"][f"T{celsius}"].items():
        assert found[net] == pytest.approx(volt, abs=WITHIN_V, rel=0)
