"""What an operating point says of its sources."""

from __future__ import annotations

import pytest

from benchcheck.circuit import CurrentSource, Netlist, Resistor, VoltageSource, operating_point
from benchcheck.circuit.devices import Device


@pytest.mark.parametrize(
    ("source", "ohm", "limits"),
    [
        (CurrentSource("X", "a", "0", 1e-3, compliance_v=5.0), 1e3, False),
        (CurrentSource("X", "a", "0", 1e-3, compliance_v=5.0), 1e5, True),
        (VoltageSource("X", "a", "0", 5.0, current_limit_a=0.1), 1e3, False),
        (VoltageSource("X", "a", "0", 5.0, current_limit_a=0.1), 10.0, True),
    ],
)
def test_a_source_is_limiting_only_at_the_limit_that_is_not_its_purpose(
    source: Device, ohm: float, limits: bool
) -> None:
    """Ohm's law: 1 mA needs 1 V on 1 kohm and 100 V on 100 kohm; 5 V drives 5 mA and 0.5 A."""
    solved = operating_point(Netlist([source, Resistor("R", "a", "0", ohm)]), "0")
    assert ("X" in solved.limiting) is limits
