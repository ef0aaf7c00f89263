"""The plugin keeps to the rules: three lines each, and what is special about this part below."""

from __future__ import annotations

import pytest
from benchcheck_thermistor.ntc import KIND, Ntc, limits, resistance_ohm
from benchcheck_thermistor.plugin import benchcheck_dialects

from benchcheck.conformance import DialectKit, KindKit


class TestNtc(KindKit):
    kind, entry = KIND, {"value": "10k", "b": 3950, "tolerance": "3 %", "nets": ["OUT", "GND"]}


class TestTarn(DialectKit):
    dialect, identity = benchcheck_dialects()[0], "TARNWORKS,M40,0001,1.2"


def test_ten_kelvin_down_is_the_factor_the_b_value_says() -> None:
    """IEC 60539-1 defines B = ln(R1/R2) / (1/T1 - 1/T2): solved for B the one put in comes back."""
    import math

    ratio = resistance_ohm(10e3, 3950.0, 15.0) / resistance_ohm(10e3, 3950.0, 25.0)
    assert math.log(ratio) / (1 / 288.15 - 1 / 298.15) == pytest.approx(3950.0)
    assert ratio == pytest.approx(1.584, rel=1e-3)  # worked with a pocket calculator: exp(3950 x 1.1640e-4)


def test_limits_hold_the_value_at_the_ambient_temperature() -> None:
    part = Ntc(designator="RT1", kind="ntc", value=10e3)  # type: ignore[arg-type]
    found = limits(part, 23.0)
    assert found.lower is not None
    assert found.upper is not None
    assert found.lower < resistance_ohm(10e3, 3950.0, 23.0) < found.upper
