"""Junctions between meters: the same drop at another test current, and what two currents say of ideality and heat.

A junction's drop is V = N VT ln(I / IS) + RS I with VT = kT/q (Shockley 1949). Two currents through one junction
differ by N VT ln(I2 / I1) and what the series resistance adds, whatever IS is: that carries a drop from one meter to
another, gives N where the temperature is known, and the temperature where N is. IS moves with temperature as the
simulators have it, so that dV/dT = (V - EG - XTI VT) / T at constant current.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, isfinite, log

from benchcheck.errors import CircuitError

from .models import NOMINAL_TEMPERATURE_K, JunctionModel
from .physics import BOLTZMANN_OVER_CHARGE_V_PER_K

__all__ = ["Estimate", "drop_at", "drop_per_kelvin", "ideality_from", "temperature_from"]

_K_OVER_Q = BOLTZMANN_OVER_CHARGE_V_PER_K


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number and its standard uncertainty, both in the unit its function names."""

    value: float
    standard_uncertainty: float = 0.0


def drop_at(
    drop: Estimate,
    taken_at_a: float,
    wanted_at_a: float,
    ideality: Estimate,
    *,
    series_ohm: Estimate | None = None,
    temperature_k: float = NOMINAL_TEMPERATURE_K,
    current_ratio_uncertainty: float = 0.0,
) -> Estimate:
    """Return the drop, in volt, a meter of another test current would show for the same junction.

    Saturation current is nothing beside the test currents: 10 uV are left out on a small Schottky at 1 mA.
    `current_ratio_uncertainty`: how well the ratio of the two test currents is known, as a standard uncertainty of
    the ratio over itself (a handheld's current is often only "about 1 mA"). Raises CircuitError for currents, an
    ideality or a temperature that cannot be.

    >>> other = drop_at(Estimate(0.600, 0.002), 1e-3, 0.5e-3, Estimate(1.8, 0.15))
    >>> round(other.value, 4), round(other.standard_uncertainty, 4)
    (0.5677, 0.0034)
    """
    _refuse(taken_at_a, wanted_at_a, temperature_k)
    _positive("an ideality", ideality.value)
    series = series_ohm or Estimate(0.0)
    thermal_v, decades = _K_OVER_Q * temperature_k, log(wanted_at_a / taken_at_a)
    value = drop.value + ideality.value * thermal_v * decades + series.value * (wanted_at_a - taken_at_a)
    spread = hypot(
        drop.standard_uncertainty,
        thermal_v * decades * ideality.standard_uncertainty,
        (wanted_at_a - taken_at_a) * series.standard_uncertainty,
        ideality.value * thermal_v * current_ratio_uncertainty,
    )
    return Estimate(value, spread)


def ideality_from(
    low: Estimate, low_a: float, high: Estimate, high_a: float, *, temperature: Estimate | None = None,
    series_ohm: Estimate | None = None,
) -> Estimate:  # fmt: skip
    """Return the ideality N from the drops, in volt, of one junction at two currents, in ampere.

    `temperature` is the junction's, in kelvin. Two drops read on one meter share most of its error: give the
    uncertainties of what is their own. Raises CircuitError where the currents are alike or the drops do not rise.

    >>> found = ideality_from(Estimate(0.22, 0.005), 1e-4, Estimate(0.29, 0.005), 1e-3)
    >>> round(found.value, 2), round(found.standard_uncertainty, 2)
    (1.18, 0.12)
    """
    kelvin = temperature or Estimate(NOMINAL_TEMPERATURE_K)
    rise = _rise(low, low_a, high, high_a, series_ohm, kelvin.value)
    value = rise.value / (_K_OVER_Q * kelvin.value * log(high_a / low_a))
    relative = hypot(rise.standard_uncertainty / rise.value, kelvin.standard_uncertainty / kelvin.value)
    return Estimate(value, value * relative)


def temperature_from(
    low: Estimate, low_a: float, high: Estimate, high_a: float, *, ideality: Estimate | None = None,
    series_ohm: Estimate | None = None,
) -> Estimate:  # fmt: skip
    """Return a junction's temperature, in kelvin, from its drops, in volt, at two currents, in ampere.

    With N = 1, as a transistor joined base to collector has it very nearly, this is a thermometer without adjustment
    (the PTAT principle). Raises CircuitError where the currents are alike or the drops do not rise.

    >>> found = temperature_from(Estimate(0.5956), 1e-4, Estimate(0.655118), 1e-3)
    >>> round(found.value, 1)
    300.0
    """
    factor = ideality or Estimate(1.0)
    _positive("an ideality", factor.value)
    rise = _rise(low, low_a, high, high_a, series_ohm, NOMINAL_TEMPERATURE_K)
    value = rise.value / (_K_OVER_Q * factor.value * log(high_a / low_a))
    relative = hypot(rise.standard_uncertainty / rise.value, factor.standard_uncertainty / factor.value)
    return Estimate(value, value * relative)


def drop_per_kelvin(
    drop_v: float, model: JunctionModel, *, ampere: float = 0.0, temperature_k: float = NOMINAL_TEMPERATURE_K
) -> float:
    """Return dV/dT of a junction at constant current, in volt per kelvin; `ampere` takes its series drop out.

    Whatever the ideality: (V - EG - XTI VT) / T with the drop of the junction alone. Raises CircuitError for a
    temperature that cannot be.

    >>> round(1e3 * drop_per_kelvin(0.655, JunctionModel()), 2)
    -1.77
    """
    _positive("a temperature in kelvin", temperature_k)
    inner_v = drop_v - model.series_resistance_ohm * ampere
    thermal_v = _K_OVER_Q * temperature_k
    return (inner_v - model.bandgap_ev - model.temperature_exponent * thermal_v) / temperature_k


def _rise(
    low: Estimate, low_a: float, high: Estimate, high_a: float, series_ohm: Estimate | None, temperature_k: float
) -> Estimate:
    """Return by how much the junction alone rises between two currents, in volt."""
    _refuse(low_a, high_a, temperature_k)
    if high_a <= low_a:
        raise CircuitError(f"two currents apart are needed, the higher one second, not {low_a:g} A and {high_a:g} A")
    series = series_ohm or Estimate(0.0)
    span = high_a - low_a
    rise = high.value - low.value - series.value * span
    if rise <= 0.0:
        raise CircuitError(
            f"{low.value:g} V at {low_a:g} A and {high.value:g} V at {high_a:g} A: no junction's drop falls with its "
            "current; the readings are swapped, or its temperature changed between them"
        )
    spread = hypot(low.standard_uncertainty, high.standard_uncertainty, span * series.standard_uncertainty)
    return Estimate(rise, spread)


def _refuse(one_a: float, other_a: float, temperature_k: float) -> None:
    _positive("a test current in ampere", one_a)
    _positive("a test current in ampere", other_a)
    _positive("a temperature in kelvin", temperature_k)


def _positive(what: str, value: float) -> None:
    if not (isfinite(value) and 0.0 < value < inf):
        raise CircuitError(f"{what} of {value:g} is not possible; it is above zero")
