"""What a meter does to a circuit, as plain numbers: test current, compliance, full scale per range, frequency.

Ohms and diode mode are a current source whose voltage never rises above its compliance; capacitance is
measured by charging at a known current or at a frequency; series resistance at a frequency. Functions carry
the names the bench uses.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from benchcheck.errors import CircuitError

__all__ = [
    "CapacitanceAtFrequency",
    "CapacitanceByCharging",
    "ChargingRange",
    "DcVoltage",
    "DiodeTest",
    "Esr",
    "Excitation",
    "InductanceAtFrequency",
    "Ohms",
    "OhmsRange",
]


@dataclass(frozen=True, slots=True)
class OhmsRange:
    """One ohms range: full scale in ohm, test current in ampere, compliance (open-circuit voltage) in volt."""

    full_scale_ohm: float
    test_current_a: float
    compliance_v: float


@dataclass(frozen=True, slots=True)
class Ohms:
    """Two-wire ohms; with several ranges, the meter takes the lowest that is not overloaded.

    `lead_resistance_ohm` is what the leads add when they are not nulled. Low-power ohms is the same with
    currents that keep junctions off: name it so.
    """

    ranges: tuple[OhmsRange, ...]
    function: Literal["ohms", "low_power_ohms", "continuity"] = "ohms"
    lead_resistance_ohm: float = 0.0

    def __post_init__(self) -> None:
        for row in self.ranges:
            _positive("ohms range", row.full_scale_ohm, row.test_current_a, row.compliance_v)
        _ascending("ohms", [row.full_scale_ohm for row in self.ranges])


@dataclass(frozen=True, slots=True)
class DiodeTest:
    """Diode mode: test current in ampere, compliance and full scale in volt."""

    test_current_a: float = 1e-3
    compliance_v: float = 3.0
    full_scale_v: float = 2.0

    def __post_init__(self) -> None:
        _positive("diode mode", self.test_current_a, self.compliance_v, self.full_scale_v)


@dataclass(frozen=True, slots=True)
class DcVoltage:
    """Direct volts through the meter's input resistance, in ohm; full scale in volt."""

    input_resistance_ohm: float = 10e6
    full_scale_v: float = 600.0

    def __post_init__(self) -> None:
        _positive("volts", self.input_resistance_ohm, self.full_scale_v)


@dataclass(frozen=True, slots=True)
class ChargingRange:
    """One range of a charging capacitance meter.

    The current, in ampere, charges from 0 V; the time between `low_v` and `high_v` gives C = I t / (high -
    low). The meter gives up, with OL, when `high_v` is not reached in `longest_s`, or when C exceeds
    `full_scale_f`.
    """

    full_scale_f: float
    current_a: float
    low_v: float
    high_v: float
    longest_s: float = 20.0


@dataclass(frozen=True, slots=True)
class CapacitanceByCharging:
    """Capacitance as a handheld measures it, by a ramp; the lowest range that is not overloaded is taken."""

    ranges: tuple[ChargingRange, ...]

    def __post_init__(self) -> None:
        for row in self.ranges:
            _positive("capacitance range", row.full_scale_f, row.current_a, row.high_v, row.longest_s)
            if not 0 <= row.low_v < row.high_v:
                raise CircuitError(f"capacitance range: low_v {row.low_v:g} must lie from 0 to high_v {row.high_v:g}")
        _ascending("capacitance", [row.full_scale_f for row in self.ranges])


@dataclass(frozen=True, slots=True)
class FrequencyRange:
    """A range of capacitance with the frequency the meter measures at there, in farad and hertz."""

    full_scale_f: float
    frequency_hz: float

    def __post_init__(self) -> None:
        _positive("capacitance range", self.full_scale_f, self.frequency_hz)


@dataclass(frozen=True, slots=True)
class CapacitanceAtFrequency:
    """Capacitance from the impedance at one frequency, in hertz, as a parallel or series equivalent.

    A meter that measures at another frequency on another range states its `ranges`, the smallest first: it settles
    on the first whose current the circuit does not exceed.
    """

    frequency_hz: float
    equivalent: Literal["parallel", "series"] = "series"
    full_scale_f: float = 0.1
    ranges: tuple[FrequencyRange, ...] = ()

    def __post_init__(self) -> None:
        _positive("capacitance", self.frequency_hz, self.full_scale_f)


@dataclass(frozen=True, slots=True)
class InductanceAtFrequency:
    """Inductance from the impedance at one frequency, in hertz, as a series equivalent."""

    frequency_hz: float = 1e3
    full_scale_h: float = 100.0

    def __post_init__(self) -> None:
        _positive("inductance", self.frequency_hz, self.full_scale_h)


@dataclass(frozen=True, slots=True)
class Esr:
    """Equivalent series resistance at a frequency, in hertz, with a signal too small for junctions.

    OL when the impedance exceeds full scale: a meter for series resistance needs a capacitor that it sees
    as a short. `shows`: the resistive part of the impedance, or its magnitude as simpler meters do (the
    capacitor's own reactance then adds to small capacitances).
    """

    frequency_hz: float = 100e3
    full_scale_ohm: float = 100.0
    shows: Literal["resistance", "magnitude"] = "resistance"
    lead_resistance_ohm: float = 0.0

    def __post_init__(self) -> None:
        _positive("esr", self.frequency_hz, self.full_scale_ohm)


Excitation = (
    Ohms | DiodeTest | DcVoltage | CapacitanceByCharging | CapacitanceAtFrequency | InductanceAtFrequency | Esr
)


def _positive(what: str, *numbers: float) -> None:
    for value in numbers:
        if not 0 < value < float("inf"):
            raise CircuitError(f"{what}: {value:g} is not possible; currents, voltages and scales are above zero")


def _ascending(what: str, scales: list[float]) -> None:
    if not scales or any(high <= low for low, high in pairwise(scales)):
        raise CircuitError(f"{what}: give at least one range, in order of rising full scale, not {scales}")
