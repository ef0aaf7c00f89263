"""Which number of a part a check asks for, and how a circuit holds it: what the solver may turn a reading into.

Only what paths around a part can shift is listed; a check whose reading is the thing itself needs no circuit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist

__all__ = ["Own", "own_number"]


@dataclass(frozen=True, slots=True)
class Own:
    """One number of one device: its field, and in the reading's unit the least that a circuit is given for it."""

    designator: str
    field: str
    least: float

    def given(self, netlist: Netlist, value: float) -> Netlist:
        """Return the netlist with this number instead."""
        device = netlist.device(self.designator)
        changed = replace(device, **{self.field: max(value, 1e-3 * self.least)})  # type: ignore[arg-type]
        return netlist.replacing(self.designator, changed)


#: type of device, measurand, evidence -> field and the least value: 1 mohm, 1 fF.
_NUMBERS: Mapping[tuple[str, str, Evidence], tuple[str, float]] = {
    ("Resistor", "resistance", Evidence.LOWERED): ("resistance_ohm", 1e-3),
    ("Inductor", "dc_resistance", Evidence.LOWERED): ("dc_resistance_ohm", 1e-3),
    ("Capacitor", "capacitance", Evidence.RAISED): ("capacitance_f", 1e-15),
}
_FUNCTIONS = (Function.OHMS, Function.LOW_POWER_OHMS, Function.CAPACITANCE)


def own_number(check: Check, netlist: Netlist) -> Own | None:
    """Return the number of the part that a check asks for, None where the circuit around cannot tell it."""
    device = netlist.by_designator.get(check.subject)
    if device is None or check.function not in _FUNCTIONS:
        return None
    known = _NUMBERS.get((type(device).__name__, check.measurand, check.evidence))
    return None if known is None else Own(check.subject, *known)
