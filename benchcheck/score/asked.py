"""What one check asks of a circuit: which nets, which excitation, at which temperature, and which number of the part.

Everything the solver supposes of a board (another value, a junction at the end of its spread, a part gone) is read
through here, so that it is read alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import short_value
from benchcheck.kinds.check import Check
from benchcheck.metrology import Budget
from benchcheck.readings.reading import Session
from benchcheck.score.own import Own

if TYPE_CHECKING:
    from benchcheck.circuit.excitation import CapacitanceAtFrequency
    from benchcheck.circuit.netlist import Netlist
    from benchcheck.circuit.physics import Conditions
    from benchcheck.circuit.shown import Solved as Read
    from benchcheck.circuit.starts import Starts

__all__ = ["Asked", "ambient_half_width_k"]

#: how far the junctions of a board may be from the ambient: a thermometer in the room, and where nobody read one the
#: range most benches lie in (common practice, no source).
_READ_K, _NOT_READ_K = 2.0, 5.0
_ENDLESS_OHM, _ENDLESS_F = 1e15, 1e6
#: circuits solved abreast at a time: more take more memory than they save time.
_ABREAST = 20


def ambient_half_width_k(session: Session) -> float:
    """Return how far, in kelvin, the parts may be from the session's ambient."""
    return _READ_K if session.ambient_read else _NOT_READ_K


@dataclass(frozen=True, slots=True)
class Asked:
    """One reading to be turned into the part's own number; `own` is None where the circuit cannot tell it.

    `ambient_k` is how far the temperature of `conditions` may be off, `expected` what a good part has.
    """

    check: Check
    own: Own | None
    ports: tuple[str, str]
    excitation: Any
    conditions: Conditions
    ambient_k: float
    starts: Starts
    expected: float | None = None

    def solved(self, netlist: Netlist) -> Read:
        """Return what the meter shows on a netlist, with its slopes; raises CircuitError."""
        from benchcheck.circuit.reading import solved

        return solved(netlist, *self.ports, self.excitation, self.conditions, starts=self.starts)

    def shown(self, netlist: Netlist) -> float | None:
        """Return what the meter shows on a netlist, no capacitance as 0; None for overload. Raises CircuitError."""
        found = self.solved(netlist).reading
        nothing = self.check.function is Function.CAPACITANCE and found.overload in ("no path", "inductive")
        return 0.0 if nothing else found.value

    def all_shown(self, netlists: Sequence[Netlist]) -> list[float | None]:
        """Return what the meter shows on each, many in the time of a few where they can be; None for overload.

        Raises CircuitError where one cannot be solved.
        """
        from benchcheck.circuit.abreast import read_abreast

        found: list[float | None] = []
        for first in range(0, len(netlists), _ABREAST):
            some = netlists[first : first + _ABREAST]
            at_once = read_abreast(some, *self.ports, self.excitation, self.starts, self.conditions)
            found += [self.shown(one) for one in some] if at_once is None else at_once
        return found

    def read(self, netlist: Netlist, value: float) -> float | None:
        """Return what the meter shows on a netlist whose part has this value; None for overload."""
        assert self.own is not None
        return self.shown(self.own.given(netlist, value))

    def as_taken(self, budget: Budget) -> Asked:
        """Return the same on the one range a reading was taken on, as its budget names it, with no end of scale.

        The lower ranges, with more current, were overloaded: what they would show of another board is no answer.
        """
        from benchcheck.circuit.excitation import CapacitanceAtFrequency, Ohms

        if isinstance(self.excitation, CapacitanceAtFrequency) and self.excitation.ranges:
            return replace(self, excitation=self._at_frequency_of(self.excitation, budget))
        if not isinstance(self.excitation, Ohms):
            return self
        rows = self.excitation.ranges
        named = next(
            (row for row in rows for each in budget.contributions if _names(each.id, row.full_scale_ohm)), None
        )
        fitting = (row for row in rows if row.full_scale_ohm >= budget.value)
        row = named or next(fitting, rows[-1])
        endless = replace(row, full_scale_ohm=_ENDLESS_OHM)
        return replace(self, excitation=replace(self.excitation, ranges=(endless,)))

    def _at_frequency_of(self, meter: CapacitanceAtFrequency, budget: Budget) -> CapacitanceAtFrequency:
        named = (one for one in meter.ranges for each in budget.contributions if _names(each.id, one.full_scale_f))
        fitting = (one for one in meter.ranges if one.full_scale_f >= budget.value)
        taken = next(named, None) or next(fitting, meter.ranges[-1])
        return replace(meter, frequency_hz=taken.frequency_hz, full_scale_f=_ENDLESS_F, ranges=())

    def warmer(self, kelvin: float) -> Asked:
        """Return the same, the board so much warmer."""
        moved = replace(self.conditions, temperature_k=self.conditions.temperature_k + kelvin)
        return replace(self, conditions=moved)


def _names(contribution: str, full_scale: float) -> bool:
    """Return whether a contribution's id (`dmm.ohms.6k.accuracy`) is of the range with this full scale."""
    return f".{short_value(full_scale)}." in contribution
