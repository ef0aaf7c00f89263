"""Circuits that latch: what a meter shows in each of the states it may find one in.

Two transistors that feed one another can rest in several states, and which one a unit is in nobody knows before it
is read. Every reading is begun once with no transistor conducting, once with all, and once with each one alone
(start vectors); states that were reached and show something else are told apart. There may be more: no finite search
can exclude that.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.errors import CircuitError

from .compiled import compile_netlist
from .devices import Bjt, CurrentSource, Mosfet
from .excitation import DiodeTest, Ohms
from .netlist import Netlist
from .physics import Conditions, on_a_board
from .reading import SOURCE, MeterReading, solve_reading, with_lead
from .solution import conducting_starts
from .starts import Starts
from .system import System

__all__ = ["may_latch", "readings_by_state"]

#: below this, in volt, no transistor conducts enough to hold another (common practice, no source).
_LIVELY_V = 0.45
#: readings closer than this share are one.
_SAME = 1e-3


def may_latch(netlist: Netlist, found: MeterReading | None = None) -> bool:
    """Return whether a reading could be another in another state: two transistors, and the voltage for them."""
    transistors = sum(isinstance(device, Bjt | Mosfet) for device in netlist.devices)
    if transistors < 2 or found is None:
        return transistors > 1
    return found.port_voltage_v is not None and abs(found.port_voltage_v) >= _LIVELY_V


def readings_by_state(
    netlist: Netlist, red: str, black: str, excitation: Ohms | DiodeTest, conditions: Conditions | None = None
) -> tuple[tuple[MeterReading, Starts], ...]:
    """Return the different readings of the states found, each with what it began from; the one from rest is first.

    `conditions` are those of `solve_reading`. Raises CircuitError where no state was found.
    """
    found: list[tuple[MeterReading, Starts]] = []
    refused: CircuitError | None = None
    for starts in _starts(netlist, red, black, excitation, on_a_board(conditions)):
        try:
            reading = solve_reading(netlist, red, black, excitation, conditions, starts=starts)
        except CircuitError as reason:
            refused = reason
            continue
        if not any(_same(reading, known) for known, _ in found):
            found.append((reading, starts))
    if not found and refused is not None:
        raise refused
    return tuple(found)


def _starts(netlist: Netlist, red: str, black: str, excitation: Ohms | DiodeTest, at: Conditions) -> Iterator[Starts]:
    """Yield what to begin the first range with: nothing, then transistors conducting."""
    yield Starts()
    if isinstance(excitation, Ohms):
        first = excitation.ranges[0]
        key: object = (red, black, first)
        ampere, volt, lead_ohm = first.test_current_a, first.compliance_v, excitation.lead_resistance_ohm
    else:
        key = (red, black, excitation)
        ampere, volt, lead_ohm = excitation.test_current_a, excitation.compliance_v, 0.0
    seen, socket = with_lead(netlist, red, lead_ohm)
    system = System(compile_netlist(seen.adding(CurrentSource(SOURCE, socket, black, ampere, volt)), black, at))
    for state in conducting_starts(system):
        starts = Starts()
        starts.keep(key, system.compiled, state)
        yield starts


def _same(one: MeterReading, other: MeterReading) -> bool:
    if one.value is None or other.value is None:
        return one.value is None and other.value is None
    return abs(one.value - other.value) <= _SAME * abs(other.value)
