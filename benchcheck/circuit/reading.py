"""What a meter shows between two nets: the number, or OL and why, with the junctions that made it so.

The meter's source joins the netlist as one more device, so that whatever the circuit does to it
(compliance, a junction that turns on, a supply that fights back) is solved, not guessed. Ranges are tried
from the lowest; the first that is not overloaded is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf, pi
from typing import Any, Literal

import numpy as np

from benchcheck.errors import CircuitError

from .charging import charge
from .compiled import compile_netlist
from .connectivity import groups
from .devices import CurrentSource, Device, Resistor
from .excitation import (
    CapacitanceAtFrequency,
    CapacitanceByCharging,
    ChargingRange,
    DcVoltage,
    DiodeTest,
    Esr,
    Excitation,
    InductanceAtFrequency,
    Ohms,
    OhmsRange,
)
from .netlist import Netlist
from .newton import Solution
from .parameters import Key, columns
from .physics import Conditions, on_a_board
from .small_signal import impedance_between
from .solution import JunctionState, junction_states, solve_system
from .system import System

__all__ = ["MeterReading", "sensitivities", "slopes_by_field", "solve_reading"]

_SOURCE, _INPUT = "meter:source", "meter:input"
#: share of the impedance below which its reactance is rounding, not a capacitor
_NO_REACTANCE = 1e-12

Overload = Literal["", "full scale", "compliance", "no path", "not in time"]


@dataclass(frozen=True, slots=True)
class MeterReading:
    """What the meter shows: `value` in `quantity_unit`, or None with `display` "OL" and the reason in `overload`.

    `full_scale`: of the range it settled in; `port_voltage_v` and `port_current_a`: red against black, and
    out of red (direct-current functions); `junctions`: the state of every junction while it reads.
    """

    function: str
    value: float | None
    quantity_unit: str
    full_scale: float
    overload: Overload = ""
    port_voltage_v: float | None = None
    port_current_a: float | None = None
    junctions: tuple[JunctionState, ...] = ()

    @property
    def display(self) -> Literal["number", "OL"]:
        """Whether a number or OL is shown."""
        return "OL" if self.value is None else "number"


Slopes = dict[Key, float]


@dataclass(frozen=True, slots=True)
class _Solved:
    """A reading and a way to its slopes, worked out only when asked for."""

    reading: MeterReading
    slopes: Callable[[], Slopes] = field(default=dict)


def solve_reading(
    netlist: Netlist, red: str, black: str, excitation: Excitation, conditions: Conditions | None = None
) -> MeterReading:
    """Return what the meter shows with its red lead on one net and its black lead on another.

    Raises CircuitError for nets no part touches and for circuits that cannot be solved, in words.

    >>> board = Netlist([Resistor("R1", "A", "B", 1e3), Resistor("R2", "A", "B", 2.2e3)])
    >>> reading = solve_reading(board, "A", "B", Ohms((OhmsRange(6e3, 1e-4, 2.7),)))
    >>> round(reading.value, 6), reading.display
    (687.5, 'number')
    """
    return _solved(netlist, red, black, excitation, on_a_board(conditions)).reading


def slopes_by_field(
    netlist: Netlist, red: str, black: str, excitation: Excitation, conditions: Conditions | None = None
) -> Mapping[Key, float]:
    """Return d(reading)/d(number) for every number of every part: keys are (designator, field).

    Empty when the reading is OL.
    """
    return _solved(netlist, red, black, excitation, on_a_board(conditions)).slopes()


def sensitivities(
    netlist: Netlist, red: str, black: str, excitation: Excitation, conditions: Conditions | None = None
) -> Mapping[str, float]:
    """Return d(reading)/d(value) by designator; empty when the reading is OL.

    The value is the number printed on the part where the reading depends on it (resistance, capacitance,
    zener voltage), the forward voltage of a junction or transistor, else the one number that matters (a
    winding's or contact's resistance). Units are the reading's per the value's.

    >>> board = Netlist([Resistor("R1", "A", "B", 1e3), Resistor("R2", "A", "B", 1e3)])
    >>> round(sensitivities(board, "A", "B", Ohms((OhmsRange(6e3, 1e-4, 2.7),)))["R1"], 6)
    0.25
    """
    found: dict[str, float] = {}
    chosen: dict[str, str] = {}
    for (name, number), slope in slopes_by_field(netlist, red, black, excitation, conditions).items():
        if name not in found or number == netlist.device(name).VALUE:
            found[name], chosen[name] = slope, number
    return found


def _solved(netlist: Netlist, red: str, black: str, excitation: Excitation, conditions: Conditions) -> _Solved:
    netlist.require_nets(red, black)
    how: Callable[..., _Solved] = _HOW[type(excitation)]
    return how(netlist, red, black, excitation, conditions)


# direct current -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Port:
    """A circuit solved with a meter on it: voltage red to black, current out of red, and whether it is limited."""

    netlist: Netlist
    system: System
    solution: Solution
    red: str
    volt: float
    ampere: float
    at_compliance: bool

    def junctions(self) -> tuple[JunctionState, ...]:
        return junction_states(self.system.compiled, self.solution.state)

    def voltage_slopes(self) -> Slopes:
        """Return how the voltage at the probes moves with every number."""
        compiled = self.system.compiled
        row = compiled.row_of[self.red]
        if row < 0:
            return {}
        drive = np.zeros(self.system.size + 1)
        drive[row] = 1.0
        back = self.system.solver.solve(self.solution.tangent.values, drive, transposed=True)
        if back is None:
            raise CircuitError(f"the reading at {self.red} has no unique slope: the circuit is about to change state")
        slopes: Slopes = {}
        for key, column in columns(compiled, self.netlist.by_designator, self.solution):
            slopes[key] = slopes.get(key, 0.0) + sum(float(back[at]) * amount for at, amount in column)
        return slopes


def _port(netlist: Netlist, red: str, black: str, meter: Device, conditions: Conditions) -> _Port:
    system = System(compile_netlist(netlist.adding(meter), black, conditions))
    solution = solve_system(system)
    volt = float(solution.x[system.compiled.row_of[red]])
    limited = bool(len(solution.state.holds_current) and not solution.state.holds_current[-1])
    supplies = system.compiled.supplies
    ampere = float(solution.x[system.size - 1]) if supplies and supplies[-1].designator == _SOURCE else 0.0
    return _Port(netlist, system, solution, red, volt, ampere, limited)


def _with_lead(netlist: Netlist, red: str, ohm: float) -> tuple[Netlist, str]:
    """Return the netlist and red net as the meter's socket sees them, a lead in between."""
    if ohm == 0:
        return netlist, red
    socket = "meter:red"
    return netlist.adding(Resistor("meter:lead", red, socket, ohm)), socket


def _ohms(netlist: Netlist, red: str, black: str, excitation: Ohms, conditions: Conditions) -> _Solved:
    seen, socket = _with_lead(netlist, red, excitation.lead_resistance_ohm)
    for row in excitation.ranges:
        solved = _ohms_range(netlist, seen, (socket, black), row, excitation.function, conditions)
        if solved.reading.value is not None:
            break
    return solved


def _ohms_range(
    netlist: Netlist, seen: Netlist, probes: tuple[str, str], row: OhmsRange, function: str, conditions: Conditions
) -> _Solved:
    if probes[0] == probes[1]:
        return _Solved(MeterReading(function, 0.0, "ohm", row.full_scale_ohm, "", 0.0, row.test_current_a))
    source = CurrentSource(_SOURCE, *probes, row.test_current_a, row.compliance_v)
    port = _port(seen, *probes, source, conditions)
    shown = port.volt / row.test_current_a
    overload = _overload(port, black=probes[1], beyond=shown > row.full_scale_ohm)
    value = None if overload else shown
    reading = MeterReading(
        function, value, "ohm", row.full_scale_ohm, overload, port.volt, port.ampere, port.junctions()
    )
    if overload:
        return _Solved(reading)
    return _Solved(reading, lambda: _scaled(port.voltage_slopes(), 1.0 / row.test_current_a, netlist))


def _overload(port: _Port, *, black: str, beyond: bool) -> Overload:
    if port.at_compliance:
        return "compliance" if groups(port.netlist).together(port.red, black) else "no path"
    return "full scale" if beyond else ""


def _scaled(slopes: Slopes, factor: float, netlist: Netlist) -> Slopes:
    """Return slopes in the reading's unit, those of the meter's own leads left out."""
    return {key: slope * factor for key, slope in slopes.items() if key[0] in netlist.by_designator}


def _diode(netlist: Netlist, red: str, black: str, excitation: DiodeTest, conditions: Conditions) -> _Solved:
    scale = excitation.full_scale_v
    if red == black:
        return _Solved(MeterReading("diode", 0.0, "V", scale, "", 0.0, excitation.test_current_a))
    source = CurrentSource(_SOURCE, red, black, excitation.test_current_a, excitation.compliance_v)
    port = _port(netlist, red, black, source, conditions)
    overload = _overload(port, black=black, beyond=port.volt > scale)
    value = None if overload else port.volt
    reading = MeterReading("diode", value, "V", scale, overload, port.volt, port.ampere, port.junctions())
    return _Solved(reading, dict if overload else port.voltage_slopes)


def _dc_voltage(netlist: Netlist, red: str, black: str, excitation: DcVoltage, conditions: Conditions) -> _Solved:
    meter = Resistor(_INPUT, red, black, excitation.input_resistance_ohm)
    port = _port(netlist, red, black, meter, conditions)
    beyond = abs(port.volt) > excitation.full_scale_v
    reading = MeterReading(
        "dc_voltage", None if beyond else port.volt, "V", excitation.full_scale_v, "full scale" if beyond else "",
        port.volt, -port.volt / excitation.input_resistance_ohm, port.junctions()
    )  # fmt: skip
    return _Solved(reading, dict if beyond else port.voltage_slopes)


# by charging ----------------------------------------------------------------------------------------------


def _charging(
    netlist: Netlist, red: str, black: str, excitation: CapacitanceByCharging, conditions: Conditions
) -> _Solved:
    for row in excitation.ranges:
        solved = _charging_range(netlist, red, black, row, conditions)
        if solved.reading.value is not None:
            break
    return solved


def _charging_range(netlist: Netlist, red: str, black: str, row: ChargingRange, conditions: Conditions) -> _Solved:
    if not groups(netlist, alternating=True).together(red, black):
        return _Solved(MeterReading("capacitance", 0.0, "F", row.full_scale_f))
    if red == black:
        return _Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "not in time"))
    system, ramp = charge(netlist, red, black, row, conditions)
    junctions = junction_states(system.compiled, ramp.end.state)
    if ramp.seconds is None:
        return _Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "not in time", junctions=junctions))
    factor = row.current_a / (row.high_v - row.low_v)
    shown = ramp.seconds * factor
    if shown > row.full_scale_f:
        return _Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "full scale", junctions=junctions))

    def slopes() -> Slopes:
        _, again = charge(netlist, red, black, row, conditions, with_slopes=True)
        return _scaled(dict(again.slopes), factor, netlist)

    return _Solved(MeterReading("capacitance", shown, "F", row.full_scale_f, junctions=junctions), slopes)


# at a frequency -------------------------------------------------------------------------------------------


def _at_frequency(
    netlist: Netlist,
    probes: tuple[str, str],
    excitation: CapacitanceAtFrequency | InductanceAtFrequency | Esr,
    scale: tuple[str, str, float],
    shown: Callable[[complex], float],
    conditions: Conditions,
) -> _Solved:
    """Return a reading worked out from the impedance; its slopes through a central difference of `shown`."""
    function, unit, full_scale = scale
    seen = impedance_between(netlist, *probes, excitation.frequency_hz, conditions)
    if seen is None:
        return _Solved(MeterReading(function, None, unit, full_scale, "no path"))
    value = shown(seen.ohm) if seen.ohm else 0.0
    if not abs(value) <= full_scale or (isinstance(excitation, Esr) and abs(seen.ohm) > full_scale):
        return _Solved(MeterReading(function, None, unit, full_scale, "full scale"))
    return _Solved(MeterReading(function, value, unit, full_scale), lambda: _turned(seen.ohm, seen.slopes, shown))


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
) -> _Solved:
    omega = 2.0 * pi * excitation.frequency_hz

    def series(z: complex) -> float:
        return -1.0 / (omega * z.imag) if abs(z.imag) > _NO_REACTANCE * abs(z) else inf

    def parallel(z: complex) -> float:
        return (1.0 / z).imag / omega if abs(z.imag) > _NO_REACTANCE * abs(z) else 0.0

    shown = series if excitation.equivalent == "series" else parallel
    scale = ("capacitance", "F", excitation.full_scale_f)
    return _at_frequency(netlist, (red, black), excitation, scale, shown, conditions)


def _inductance(
    netlist: Netlist, red: str, black: str, excitation: InductanceAtFrequency, conditions: Conditions
) -> _Solved:
    omega = 2.0 * pi * excitation.frequency_hz
    scale = ("inductance", "H", excitation.full_scale_h)
    return _at_frequency(netlist, (red, black), excitation, scale, lambda z: z.imag / omega, conditions)


def _esr(netlist: Netlist, red: str, black: str, excitation: Esr, conditions: Conditions) -> _Solved:
    leads = excitation.lead_resistance_ohm
    by_part = excitation.shows == "resistance"

    def shown(z: complex) -> float:
        return (z + leads).real if by_part else abs(z + leads)

    scale = ("esr", "ohm", excitation.full_scale_ohm)
    return _at_frequency(netlist, (red, black), excitation, scale, shown, conditions)


_HOW: dict[type[Excitation], Any] = {
    Ohms: _ohms,
    DiodeTest: _diode,
    DcVoltage: _dc_voltage,
    CapacitanceAtFrequency: _capacitance,
    CapacitanceByCharging: _charging,
    InductanceAtFrequency: _inductance,
    Esr: _esr,
}
