"""What a meter sees between two nets of a unit without power, and how it gets there while capacitors charge.

The end is solved, with the meter's own current and compliance. On the way there the reading runs as one exponential:
it starts where every capacitor is a short, and its time constant is the area above the curve, which for a linear
circuit is exact: sum of C V^2 over I (Vend - Vstart) over all capacitors (the first moment, Elmore 1948).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import ramp_volts
from benchcheck.circuit.devices import Capacitor, CurrentSource, Resistor
from benchcheck.circuit.excitation import (
    CapacitanceAtFrequency,
    CapacitanceByCharging,
    ChargingRange,
    Esr,
    InductanceAtFrequency,
)
from benchcheck.circuit.excitation import Excitation as Measurement
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.reading import solve_reading
from benchcheck.circuit.solution import OperatingPoint, operating_point
from benchcheck.errors import CircuitError
from benchcheck.simulation.world import Excitation

__all__ = ["Course", "charged_at_once", "course_between", "course_from", "drive_of", "emptied"]

_SOURCE = "meter:source"
_AT_ONCE_S = 1e-5  # what charges faster is not seen
_FULL = 0.98  # of the compliance: there the source gives up
_OHMS = (Function.OHMS, Function.LOW_POWER_OHMS, Function.OHMS_4W, Function.CONTINUITY)
#: without figures of a meter: 1 mA and 5 V, 100 Hz, 100 kHz (common practice, no source).
_USUAL_AMPERE, _USUAL_VOLT, _USUAL_HERTZ, _ESR_HERTZ = 1e-3, 5.0, 100.0, 100e3
_WIDEST_OHM, _WIDEST_FARAD, _WIDEST_HENRY = 100.0, 1.0, 100.0


@dataclass(frozen=True, slots=True)
class Course:
    """A reading over time: the voltage at the probes from `start_v` to `end_v` with `time_constant_s`, in volt.

    The number shown is that voltage over `per` (the test current for ohms, 1 for volts). `open_ended` says that the
    source runs out of its compliance at the end: the reading is then overload.
    """

    end_v: float
    start_v: float = 0.0
    time_constant_s: float = 0.0
    per: float = 1.0
    open_ended: bool = False

    def at(self, elapsed_s: float, charge_v: float = 0.0) -> float:
        """Return what is shown so long after the probes were placed, in SI; infinite for overload.

        `charge_v` is a voltage that stood at the probes before, and that the meter takes for its own.
        """
        volts = self.end_v
        if self.time_constant_s > 0.0:
            volts += (self.start_v - self.end_v) * math.exp(-elapsed_s / self.time_constant_s)
        if self.open_ended and volts >= _FULL * self.end_v:
            return math.inf
        return (volts + charge_v) / self.per


def course_between(netlist: Netlist, red: str, black: str, excitation: Excitation) -> Course:
    """Return what a meter shows with its probes on two nets; a net no part touches is open to everything."""
    function = excitation.function
    known = red in netlist.pins_on and black in netlist.pins_on
    if function in _OHMS or function is Function.DIODE:
        return _driven(netlist, red, black, excitation) if known or red == black else _nothing(function)
    measurement = _measurement(excitation)
    if measurement is None or not known:
        return _nothing(function)
    try:
        value = solve_reading(netlist, red, black, measurement).value
    except CircuitError:
        value = None
    return Course(math.inf if value is None else value)


def _nothing(function: Function) -> Course:
    """Return what is shown with the probes in the air: overload, nothing for volts, amperes and farads."""
    quiet = (Function.DC_VOLTAGE, Function.AC_VOLTAGE, Function.DC_CURRENT, Function.CAPACITANCE)
    return Course(0.0 if function in quiet else math.inf)


def _measurement(excitation: Excitation) -> Measurement | None:
    hertz = excitation.frequency_hz
    match excitation.function:
        case Function.CAPACITANCE if excitation.test_current_ampere and excitation.compliance_volt and not hertz:
            ampere, ends = excitation.test_current_ampere, ramp_volts(excitation.compliance_volt)
            return CapacitanceByCharging((ChargingRange(_WIDEST_FARAD, ampere, *ends),))
        case Function.CAPACITANCE:
            return CapacitanceAtFrequency(hertz or _USUAL_HERTZ, "parallel", _WIDEST_FARAD)
        case Function.ESR:
            return Esr(hertz or _ESR_HERTZ, excitation.full_scale or _WIDEST_OHM)
        case Function.INDUCTANCE:
            return InductanceAtFrequency(hertz or _ESR_HERTZ / 100.0, _WIDEST_HENRY)
    return None


def drive_of(excitation: Excitation) -> tuple[float, float, float]:
    """Return test current in ampere, compliance in volt, and what the voltage is divided by for the number shown."""
    ampere = excitation.test_current_ampere or _USUAL_AMPERE
    compliance_v = excitation.compliance_volt or _USUAL_VOLT
    return ampere, compliance_v, 1.0 if excitation.function is Function.DIODE else ampere


def charged_at_once(charged: float, ampere: float, end_v: float) -> bool:
    """Return whether capacitors with this sum of C V^2 charge too fast to be seen."""
    return not math.isfinite(end_v) or charged < _AT_ONCE_S * ampere * max(end_v, 1e-6)


def course_from(
    end_v: float, start_v: float, charged: float, ampere: float, per: float, *, open_ended: bool
) -> Course:
    """Return the course between two voltages, in volt, by the first moment `charged`, the sum of C V^2."""
    start_v = min(start_v, 0.999 * end_v)
    return Course(end_v, start_v, charged / (ampere * (end_v - start_v)), per, open_ended)


def _driven(netlist: Netlist, red: str, black: str, excitation: Excitation) -> Course:
    ampere, compliance_v, per = drive_of(excitation)
    if red == black:
        return Course(0.0, per=per)
    source = CurrentSource(_SOURCE, red, black, ampere, compliance_v)
    end = _solved(netlist.adding(source), black)
    if end is None:
        return Course(math.inf, per=per)
    end_v = end.voltages.get(red, math.inf)
    limited = end_v >= compliance_v * (1.0 - 1e-9)
    charged = sum(_charging(device, end) for device in netlist.devices if isinstance(device, Capacitor))
    if charged_at_once(charged, ampere, end_v):
        return Course(end_v, end_v, 0.0, per, limited)
    begin = _solved(emptied(netlist).adding(source), black)
    start_v = begin.voltages.get(red, 0.0) if begin is not None else 0.0
    return course_from(end_v, start_v, charged, ampere, per, open_ended=limited)


def _solved(netlist: Netlist, black: str) -> OperatingPoint | None:
    try:
        return operating_point(netlist, black, on_a_board(None))
    except CircuitError:
        return None


def _charging(capacitor: Capacitor, end: OperatingPoint) -> float:
    """Return C V^2 of a capacitor, in joule twice; 0 where a side floats."""
    volts = end.voltages
    if capacitor.plus not in volts or capacitor.minus not in volts:
        return 0.0
    return capacitor.capacitance_f * (volts[capacitor.plus] - volts[capacitor.minus]) ** 2


def emptied(netlist: Netlist) -> Netlist:
    """Return the netlist at the first moment, every capacitor a short behind its series resistance."""
    return Netlist(
        Resistor(one.designator, one.plus, one.minus, max(one.series_resistance_ohm, 1e-3))
        if isinstance(one, Capacitor)
        else one
        for one in netlist.devices
    )
