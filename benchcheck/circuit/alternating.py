"""What a meter shows that measures at a frequency: capacitance, inductance, series resistance from one impedance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import inf, pi

from .excitation import CapacitanceAtFrequency, Esr, Excitation, InductanceAtFrequency
from .netlist import Netlist
from .parameters import Key
from .physics import Conditions
from .shown import MeterReading, Slopes, Solved
from .small_signal import impedance_between

__all__ = ["AT_FREQUENCY"]

#: share of the impedance below which its reactance, or its resistance, is rounding and no part's
_ROUNDING = 1e-12


def _at_frequency(
    netlist: Netlist,
    probes: tuple[str, str],
    excitation: CapacitanceAtFrequency | InductanceAtFrequency | Esr,
    scale: tuple[str, str, float],
    shown: Callable[[complex], float],
    conditions: Conditions,
) -> Solved:
    """Return a reading worked out from the impedance; its slopes through a central difference of `shown`."""
    function, unit, full_scale = scale
    seen = impedance_between(netlist, *probes, excitation.frequency_hz, conditions)
    if seen is None and function == "capacitance":
        return Solved(MeterReading(function, 0.0, unit, full_scale))
    if seen is None:
        return Solved(MeterReading(function, None, unit, full_scale, "no path"))
    value = shown(seen.ohm) if seen.ohm else 0.0
    if value < 0.0 and function == "capacitance":  # the current lags: there is nothing a capacitor could be
        return Solved(MeterReading(function, None, unit, full_scale, "inductive"))
    if not abs(value) <= full_scale or (isinstance(excitation, Esr) and abs(seen.ohm) > full_scale):
        return Solved(MeterReading(function, None, unit, full_scale, "full scale"))
    return Solved(MeterReading(function, value, unit, full_scale), lambda: _turned(seen.ohm, seen.slopes, shown))


def _turned(ohm: complex, slopes: Mapping[Key, complex], shown: Callable[[complex], float]) -> Slopes:
    """Return slopes of the shown value from slopes of the impedance, part by part in real and imaginary direction."""
    step = 1e-6 * abs(ohm)
    if step == 0:
        return {}
    by_real = (shown(ohm + step) - shown(ohm - step)) / (2 * step)
    by_imaginary = (shown(ohm + 1j * step) - shown(ohm - 1j * step)) / (2 * step)
    return {key: by_real * slope.real + by_imaginary * slope.imag for key, slope in slopes.items()}


def _capacitance(
    netlist: Netlist, red: str, black: str, excitation: CapacitanceAtFrequency, conditions: Conditions
) -> Solved:
    excitation = _settled(netlist, red, black, excitation, conditions)
    omega = 2.0 * pi * excitation.frequency_hz

    def series(z: complex) -> float:
        return -1.0 / (omega * z.imag) if abs(z.imag) > _ROUNDING * abs(z) else inf

    def parallel(z: complex) -> float:
        return (1.0 / z).imag / omega if abs(z.imag) > _ROUNDING * abs(z) else 0.0

    shown = series if excitation.equivalent == "series" else parallel
    scale = ("capacitance", "F", excitation.full_scale_f)
    return _at_frequency(netlist, (red, black), excitation, scale, shown, conditions)


def _settled(
    netlist: Netlist, red: str, black: str, excitation: CapacitanceAtFrequency, conditions: Conditions
) -> CapacitanceAtFrequency:
    """Return the measurement on the first range whose current the circuit does not exceed, the last where all are.

    That current goes with the admittance, resistive part and all (common practice, no source).
    """
    if not excitation.ranges:
        return excitation
    taken = excitation.ranges[-1]
    for one in excitation.ranges[:-1]:
        seen = impedance_between(netlist, red, black, one.frequency_hz, conditions)
        if seen is None or abs(seen.ohm) * 2.0 * pi * one.frequency_hz * one.full_scale_f >= 1.0:
            taken = one
            break
    return replace(excitation, frequency_hz=taken.frequency_hz, full_scale_f=taken.full_scale_f, ranges=())


def _inductance(
    netlist: Netlist, red: str, black: str, excitation: InductanceAtFrequency, conditions: Conditions
) -> Solved:
    omega = 2.0 * pi * excitation.frequency_hz
    scale = ("inductance", "H", excitation.full_scale_h)
    return _at_frequency(netlist, (red, black), excitation, scale, lambda z: z.imag / omega, conditions)


def _esr(netlist: Netlist, red: str, black: str, excitation: Esr, conditions: Conditions) -> Solved:
    leads = excitation.lead_resistance_ohm
    by_part = excitation.shows == "resistance"

    def shown(z: complex) -> float:
        real = (z + leads).real
        return (real if abs(real) > _ROUNDING * abs(z) else 0.0) if by_part else abs(z + leads)

    scale = ("esr", "ohm", excitation.full_scale_ohm)
    return _at_frequency(netlist, (red, black), excitation, scale, shown, conditions)


#: how each excitation at a frequency is read
AT_FREQUENCY: dict[type[Excitation], Callable[..., Solved]] = {
    CapacitanceAtFrequency: _capacitance,
    InductanceAtFrequency: _inductance,
    Esr: _esr,
}
