"""Resistor: ohms across it; on a board other paths can only lower the reading (passivity)."""

from __future__ import annotations

import attrs

from benchcheck.kinds.fields import Ohms, PerKelvin, Tolerance, Window
from benchcheck.kinds.part import Part

__all__ = ["Resistor"]

_FILM = PerKelvin(100e-6)  # common practice: the usual metal or carbon film part


@attrs.frozen(kw_only=True)
class Resistor(Part):
    """`kind = "resistor"`: value in ohm, tolerance, temperature coefficient per kelvin.

    Without a tolerance, `spread` is the one that goes with the series the value is preferred in.
    """

    value: Ohms
    tolerance: Tolerance | None = None
    temperature_coefficient: PerKelvin = _FILM
    resistance: Window[Ohms] | None = None
