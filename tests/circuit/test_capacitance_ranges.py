"""A meter that changes its frequency with its range reads each part at the frequency of the range it settles on."""

from __future__ import annotations

from math import pi

import pytest

from benchcheck.circuit.devices import Capacitor, Resistor
from benchcheck.circuit.excitation import CapacitanceAtFrequency, FrequencyRange
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.errors import CircuitError

RANGES = (FrequencyRange(2e-9, 100e3), FrequencyRange(2e-6, 1e3), FrequencyRange(2e-3, 120.0))
METER = CapacitanceAtFrequency(120.0, "parallel", 2e-3, RANGES)


def read(farad: float, series_ohm: float) -> float | None:
    netlist = Netlist([Capacitor("C1", "A", "M", farad), Resistor("R1", "M", "B", series_ohm)])
    return solve_reading(netlist, "A", "B", METER).value


@pytest.mark.parametrize(("farad", "hertz"), [(1e-9, 100e3), (470e-9, 1e3), (100e-6, 120.0)])
def test_the_frequency_is_that_of_the_range_that_holds_it(farad: float, hertz: float) -> None:
    """A capacitor in series with R shows C / (1 + (w R C)^2) as a parallel equivalent (any textbook)."""
    series_ohm = 0.3 / (2.0 * pi * hertz * farad)
    assert read(farad, series_ohm) == pytest.approx(farad / (1.0 + 0.3**2), rel=1e-9)


def test_beyond_the_last_range_is_overload() -> None:
    assert read(5e-3, 1e-3) is None


def test_a_range_without_a_frequency_is_refused() -> None:
    with pytest.raises(CircuitError, match="range"):
        FrequencyRange(2e-6, 0.0)
