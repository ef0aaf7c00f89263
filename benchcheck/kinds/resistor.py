"""Resistor: ohms across it; on a board other paths can only lower the reading (passivity)."""

from __future__ import annotations

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Limits, Phase, Probe
from benchcheck.kinds.fields import Ohms, PerKelvin, Tolerance, Window
from benchcheck.kinds.part import Kind, Part, Surroundings

__all__ = ["KIND", "Resistor"]


@attrs.frozen(kw_only=True)
class Resistor(Part):
    """`kind = "resistor"`: value in ohm, tolerance, temperature coefficient per kelvin."""

    value: Ohms
    tolerance: Tolerance = Tolerance.symmetric(0.05)
    temperature_coefficient: PerKelvin = PerKelvin(100e-6)
    resistance: Window[Ohms] | None = None
