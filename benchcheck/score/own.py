"""Which number of a part a check asks for, and how a circuit holds it: what the solver may turn a reading into.

Only what paths around a part can shift is listed; a check whose reading is the thing itself needs no circuit. A
junction's forward voltage is held as a shift of its model, so that what the part would show alone at the meter's test
current stands for the part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist
    from benchcheck.circuit.physics import Conditions

__all__ = ["Own", "own_number"]

_SHIFT = "drop_shift_v"
#: no junction is further from its model, in volt.
_FARTHEST_V = 3.0


@dataclass(frozen=True, slots=True)
class Own:
    """One number of one device: its field, and in the reading's unit the least that a circuit is given for it.

    `offset` is what a part with a number of zero shows alone: 0 where the number is the value itself, a junction's
    model voltage where it is a shift of that.
    """

    designator: str
    field: str
    least: float
    offset: float = 0.0

    @property
    def junction(self) -> bool:
        """Whether the number is the forward voltage of a junction."""
        return self.field == _SHIFT

    def given(self, netlist: Netlist, value: float) -> Netlist:
        """Return the netlist with this value of the part instead."""
        device = netlist.device(self.designator)
        shift = min(max(value - self.offset, -_FARTHEST_V), _FARTHEST_V)
        number = shift if self.junction else max(value, 1e-3 * self.least)
        changed = replace(device, **{self.field: number})  # type: ignore[arg-type]
        return netlist.replacing(self.designator, changed)


#: type of device, measurand, evidence -> field and the least value: 1 mohm, 1 fF, 1 uohm, 1 mV.
_NUMBERS: Mapping[tuple[str, str, Evidence], tuple[str, float]] = {
    ("Resistor", "resistance", Evidence.LOWERED): ("resistance_ohm", 1e-3),
    ("Inductor", "dc_resistance", Evidence.LOWERED): ("dc_resistance_ohm", 1e-3),
    ("Capacitor", "capacitance", Evidence.RAISED): ("capacitance_f", 1e-15),
    ("Capacitor", "esr", Evidence.LOWERED): ("series_resistance_ohm", 1e-6),
    ("Diode", "forward_drop", Evidence.SHUNTED): (_SHIFT, 1e-3),
    ("Mosfet", "body_diode", Evidence.SHUNTED): (_SHIFT, 1e-3),
    ("Bjt", "be_drop", Evidence.SHUNTED): (_SHIFT, 1e-3),
    ("Bjt", "bc_drop", Evidence.SHUNTED): (_SHIFT, 1e-3),
}
_FUNCTIONS = (Function.OHMS, Function.LOW_POWER_OHMS, Function.CAPACITANCE, Function.ESR, Function.DIODE)


def own_number(check: Check, netlist: Netlist, excitation: Any, conditions: Conditions | None = None) -> Own | None:
    """Return the number of the part that a check asks for, None where the circuit around cannot tell it.

    `conditions` are those a junction's model voltage is for.
    """
    device = netlist.by_designator.get(check.subject)
    if device is None or check.function not in _FUNCTIONS or excitation is None:
        return None
    known = _NUMBERS.get((type(device).__name__, check.measurand, check.evidence))
    if known is None:
        return None
    field, least = known
    if field != _SHIFT:
        return Own(check.subject, field, least)
    alone = _alone(check, netlist, excitation, conditions)
    return None if alone is None else Own(check.subject, field, least, alone)


def _alone(check: Check, netlist: Netlist, excitation: Any, conditions: Conditions | None) -> float | None:
    """Return what the model of a junction shows off the board, in volt; None for overload."""
    from benchcheck.circuit.netlist import Netlist as Board
    from benchcheck.circuit.reading import solve_reading

    assert check.red is not None
    assert check.black is not None
    lifted = Board([netlist.device(check.subject)])
    ports = check.red.net or "", check.black.net or ""
    found: float | None = solve_reading(lifted, *ports, excitation, conditions).value
    return found
