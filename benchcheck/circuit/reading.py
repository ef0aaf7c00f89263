"""What a meter shows between two nets: the number, or OL and why, with the junctions that made it so.

The meter's source joins the netlist as one more device, so that whatever the circuit does to it
(compliance, a junction that turns on, a supply that fights back) is solved, not guessed. Ranges are tried
from the lowest; the first that is not overloaded is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from benchcheck.errors import CircuitError

from .compiled import compile_netlist
from .connectivity import groups
from .devices import CurrentSource, Device, Resistor
from .excitation import (
    CapacitanceByCharging,
    ChargingRange,
    DcVoltage,
    DiodeTest,
    Excitation,
    Ohms,
    OhmsRange,
)
from .netlist import Netlist
from .newton import Solution
from .parameters import Key, columns
from .physics import Conditions, on_a_board
from .shown import MeterReading, Overload, Slopes, Solved
from .solution import JunctionState, junction_states, solve_system
from .starts import Starts
from .system import System

__all__ = ["SOURCE", "MeterReading", "by_value", "sensitivities", "solve_reading", "solved", "with_lead"]

#: what the meter is called among the devices
SOURCE, _INPUT = "meter:source", "meter:input"


def solve_reading(
    netlist: Netlist,
    red: str,
    black: str,
    excitation: Excitation,
    conditions: Conditions | None = None,
    *,
    starts: Starts | None = None,
) -> MeterReading:
    """Return what the meter shows with its red lead on one net and its black lead on another.

    All is as in `solved`.

    >>> board = Netlist([Resistor("R1", "A", "B", 1e3), Resistor("R2", "A", "B", 2.2e3)])
    >>> reading = solve_reading(board, "A", "B", Ohms((OhmsRange(6e3, 1e-4, 2.7),)))
    >>> round(reading.value, 6), reading.display
    (687.5, 'number')
    """
    return solved(netlist, red, black, excitation, conditions, starts=starts).reading


def sensitivities(
    netlist: Netlist, red: str, black: str, excitation: Excitation, conditions: Conditions | None = None
) -> Mapping[str, float]:
    """Return d(reading)/d(value) by designator, as `by_value` has it; empty when the reading is OL.

    >>> board = Netlist([Resistor("R1", "A", "B", 1e3), Resistor("R2", "A", "B", 1e3)])
    >>> round(sensitivities(board, "A", "B", Ohms((OhmsRange(6e3, 1e-4, 2.7),)))["R1"], 6)
    0.25
    """
    return by_value(netlist, solved(netlist, red, black, excitation, conditions).slopes())


def by_value(netlist: Netlist, slopes: Mapping[Key, float]) -> Mapping[str, float]:
    """Return one slope for each designator, to its value.

    The value is the number printed on the part where the reading depends on it (resistance, capacitance,
    zener voltage), the forward voltage of a junction or transistor, else the one number that matters (a
    winding's or contact's resistance; a MOSFET's threshold while its channel conducts, its body diode while not).
    Units are the reading's per the value's.
    """
    found: dict[str, float] = {}
    for (name, number), slope in slopes.items():
        if name not in found or (slope and number == netlist.device(name).VALUE):
            found[name] = slope
    return found


def solved(
    netlist: Netlist,
    red: str,
    black: str,
    excitation: Excitation,
    conditions: Conditions | None = None,
    *,
    starts: Starts | None = None,
) -> Solved:
    """Return what the meter shows, and a way to d(reading)/d(number) for every number of every part.

    The slopes' keys are (designator, field); there are none when the reading is OL. `starts` keeps the states found
    here and gives those of a like circuit to begin with, between the same nets.
    Raises CircuitError for nets no part touches and for circuits that cannot be solved, in words.
    """
    netlist.require_nets(red, black)
    at = on_a_board(conditions)
    if type(excitation) in _BY_SOURCE:
        by_source: Callable[..., Solved] = _BY_SOURCE[type(excitation)]
        return by_source(netlist, red, black, excitation, at, starts or Starts())
    return _way(excitation)(netlist, red, black, excitation, at)


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

    def holds_on(self, row: OhmsRange) -> bool:
        """Return whether nothing moves on another range: the same voltage is held, and less flows than it gives."""
        if not self.at_compliance:
            return False
        return bool(self.system.supply_values[0, -1] == row.compliance_v) and self.ampere < row.test_current_a

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
    return _solved_port(netlist, system, red, solve_system(system))


def _solved_port(netlist: Netlist, system: System, red: str, solution: Solution) -> _Port:
    volt = float(solution.x[system.compiled.row_of[red]])
    limited = bool(len(solution.state.holds_current) and not solution.state.holds_current[-1])
    supplies = system.compiled.supplies
    ampere = float(solution.x[system.size - 1]) if supplies and supplies[-1].designator == SOURCE else 0.0
    return _Port(netlist, system, solution, red, volt, ampere, limited)


def with_lead(netlist: Netlist, red: str, ohm: float) -> tuple[Netlist, str]:
    """Return the netlist and red net as the meter's socket sees them, a lead in between."""
    if ohm == 0:
        return netlist, red
    socket = "meter:red"
    return netlist.adding(Resistor("meter:lead", red, socket, ohm)), socket


def _ohms(netlist: Netlist, red: str, black: str, excitation: Ohms, conditions: Conditions, starts: Starts) -> Solved:
    first = excitation.ranges[0]
    if red == black:
        shown = excitation.lead_resistance_ohm
        return Solved(MeterReading(excitation.function, shown, "ohm", first.full_scale_ohm))
    seen, socket = with_lead(netlist, red, excitation.lead_resistance_ohm)
    source = CurrentSource(SOURCE, socket, black, first.test_current_a, first.compliance_v)
    system = System(compile_netlist(seen.adding(source), black, conditions))
    port: _Port | None = None
    for row in excitation.ranges:
        key = red, black, row
        if port is None or not port.holds_on(row):
            system.set_last_supply(row.compliance_v, row.test_current_a)
            near = port.solution.state if port else starts.state(key, system.compiled)
            port = _solved_port(seen, system, socket, solve_system(system, near=near))
        starts.keep(key, system.compiled, port.solution.state)
        if not port.at_compliance and port.volt / row.test_current_a <= row.full_scale_ohm:
            break
    assert port is not None
    return _ohms_range(port, row, excitation.function, black, netlist)


def _ohms_range(port: _Port, row: OhmsRange, function: str, black: str, netlist: Netlist) -> Solved:
    shown = port.volt / row.test_current_a
    overload = _overload(port, black=black, beyond=shown > row.full_scale_ohm)
    value = None if overload else shown
    reading = MeterReading(
        function, value, "ohm", row.full_scale_ohm, overload, port.volt, port.ampere, port.junctions()
    )
    if overload:
        return Solved(reading)
    return Solved(reading, lambda: _scaled(port.voltage_slopes(), 1.0 / row.test_current_a, netlist))


def _overload(port: _Port, *, black: str, beyond: bool) -> Overload:
    if port.at_compliance:
        return "compliance" if groups(port.netlist).together(port.red, black) else "no path"
    return "full scale" if beyond else ""


def _scaled(slopes: Slopes, factor: float, netlist: Netlist) -> Slopes:
    """Return slopes in the reading's unit, those of the meter's own leads left out."""
    return {key: slope * factor for key, slope in slopes.items() if key[0] in netlist.by_designator}


def _diode(
    netlist: Netlist, red: str, black: str, excitation: DiodeTest, conditions: Conditions, starts: Starts
) -> Solved:
    scale = excitation.full_scale_v
    if red == black:
        return Solved(MeterReading("diode", 0.0, "V", scale, "", 0.0, excitation.test_current_a))
    source = CurrentSource(SOURCE, red, black, excitation.test_current_a, excitation.compliance_v)
    system = System(compile_netlist(netlist.adding(source), black, conditions))
    key = red, black, excitation
    port = _solved_port(netlist, system, red, solve_system(system, near=starts.state(key, system.compiled)))
    starts.keep(key, system.compiled, port.solution.state)
    overload = _overload(port, black=black, beyond=port.volt > scale)
    value = None if overload else port.volt
    reading = MeterReading("diode", value, "V", scale, overload, port.volt, port.ampere, port.junctions())
    return Solved(reading, dict if overload else port.voltage_slopes)


def _dc_voltage(netlist: Netlist, red: str, black: str, excitation: DcVoltage, conditions: Conditions) -> Solved:
    meter = Resistor(_INPUT, red, black, excitation.input_resistance_ohm)
    port = _port(netlist, red, black, meter, conditions)
    beyond = abs(port.volt) > excitation.full_scale_v
    reading = MeterReading(
        "dc_voltage", None if beyond else port.volt, "V", excitation.full_scale_v, "full scale" if beyond else "",
        port.volt, -port.volt / excitation.input_resistance_ohm, port.junctions()
    )  # fmt: skip
    return Solved(reading, dict if beyond else port.voltage_slopes)


# by charging ----------------------------------------------------------------------------------------------


def _charging(
    netlist: Netlist, red: str, black: str, excitation: CapacitanceByCharging, conditions: Conditions
) -> Solved:
    stopped: ChargingRange | None = None
    for row in excitation.ranges:
        found = _charging_range(netlist, red, black, row, conditions)
        shown = found.reading.value
        if shown is not None and stopped is not None and shown <= stopped.full_scale_f:
            # so little is for a lower range, in which the ramp never ends: the meter goes to and fro, and shows none
            return Solved(replace(found.reading, value=None, overload="not in time"))
        if shown is not None:
            break
        if found.reading.overload == "not in time":
            stopped = row
    return found


def _charging_range(netlist: Netlist, red: str, black: str, row: ChargingRange, conditions: Conditions) -> Solved:
    if not groups(netlist, alternating=True).together(red, black):
        return Solved(MeterReading("capacitance", 0.0, "F", row.full_scale_f))
    if red == black:
        return Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "not in time"))
    if _stops_short(netlist, red, black, row, conditions):
        return Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "not in time"))
    from .charging import charge

    system, ramp = charge(netlist, red, black, row, conditions)
    junctions = junction_states(system.compiled, ramp.end.state)
    if ramp.seconds is None:
        return Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "not in time", junctions=junctions))
    factor = row.current_a / (row.high_v - row.low_v)
    shown = ramp.seconds * factor
    if shown > row.full_scale_f:
        return Solved(MeterReading("capacitance", None, "F", row.full_scale_f, "full scale", junctions=junctions))

    def slopes() -> Slopes:
        _, again = charge(netlist, red, black, row, conditions, with_slopes=True)
        return _scaled(dict(again.slopes), factor, netlist)

    return Solved(MeterReading("capacitance", shown, "F", row.full_scale_f, junctions=junctions), slopes)


def _stops_short(netlist: Netlist, red: str, black: str, row: ChargingRange, conditions: Conditions) -> bool:
    """Return whether the current ends below the upper voltage once all is charged: then no ramp gets there."""
    if not groups(netlist).together(red, black):
        return False
    source = CurrentSource(SOURCE, red, black, row.current_a, 2.0 * row.high_v)
    try:
        end = _port(netlist, red, black, source, conditions)
    except CircuitError:
        return False
    return end.volt < row.high_v


_BY_SOURCE: dict[type[Excitation], Any] = {Ohms: _ohms, DiodeTest: _diode}


def _way(excitation: Excitation) -> Callable[..., Solved]:
    """Return what solves an excitation that starts nowhere; frequencies are imported where one is asked for."""
    match excitation:
        case DcVoltage():
            return _dc_voltage
        case CapacitanceByCharging():
            return _charging
        case _:
            from .alternating import AT_FREQUENCY

            return AT_FREQUENCY[type(excitation)]
