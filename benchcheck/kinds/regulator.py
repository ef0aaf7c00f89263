"""Regulator: input and output not joined, then its output voltage and what it needs between the two."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Amperes, Tolerance, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Regulator"]


@attrs.frozen(kw_only=True)
class Regulator(Part):
    """`kind = "regulator"`: `voltage` is the nominal output in volt, negative for a negative regulator.

    `dropout` is a window for input minus output at full load on the lowest input; `load` that load in ampere.
    """

    voltage: Volts
    tolerance: Tolerance | None = None
    topology: Literal["linear", "low-dropout", "buck", "boost", "inverting", "charge-pump"] = "linear"
    load: Amperes | None = None
    input_to_output: Window[Volts] | None = None
    output_voltage: Window[Volts] | None = None
    dropout: Window[Volts] | None = None
