"""What the good board reads between two nets, both ways round, and which parts make it so, in percent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchcheck.quantity import brief_value

if TYPE_CHECKING:
    from benchcheck.circuit.neighbourhood import Neighbourhoods
    from benchcheck.circuit.netlist import Netlist
    from benchcheck.circuit.parameters import Key
    from benchcheck.circuit.physics import Conditions
    from benchcheck.circuit.reading import MeterReading

__all__ = ["MOST_PARTS", "OnBoard", "Share", "display_of", "effects_of", "in_words", "on_board", "shares_of"]

#: parts whose share is less than this many percent are not named, nor more than so many parts.
_LEAST_PERCENT = 0.5
MOST_PARTS = 6
#: what is smaller is nothing on any meter: a tenth of the finest digit made (common practice, no source).
_NOTHING = {"ohm": 1e-5, "V": 1e-8, "F": 1e-15, "H": 1e-10}


@dataclass(frozen=True, slots=True)
class Share:
    """One part's share in the reading, in percent of all parts' effects."""

    part: str
    percent: float


@dataclass(frozen=True, slots=True)
class OnBoard:
    """What the meter shows on the good board, red and black as the check says and exchanged.

    Displays in words (`3.9 kohm`, `OL`), values in SI and None for overload; `shares` are those of the first.
    """

    display: str
    value: float | None
    display_exchanged: str
    value_exchanged: float | None
    shares: tuple[Share, ...] = ()


def display_of(found: MeterReading, last_digit: float = 0.0) -> str:
    """Return a reading in words: its value with unit, OL, or why it has none; `last_digit` as in `in_words`."""
    if found.overload == "inductive":
        return "inductive: capacitance not meaningful"
    return in_words(found.value, found.quantity_unit, last_digit)


def in_words(value: float | None, quantity_unit: str, last_digit: float = 0.0) -> str:
    """Return a value with its unit to three digits, OL for None.

    What is less than half the worth of the meter's `last_digit` is said to be below what it shows.
    """
    if value is None:
        return "OL"
    if abs(value) < _NOTHING.get(quantity_unit, 0.0):
        return f"0 {quantity_unit}"
    if abs(value) < last_digit / 2.0:
        return f"below what the meter shows ({brief_value(last_digit, quantity_unit, 3)})"
    return brief_value(value, quantity_unit, 3)


def effects_of(netlist: Netlist, found: MeterReading, slopes: Mapping[Key, float]) -> Mapping[str, float]:
    """Return each part's effect on the reading: its slope times its value, or times its forward voltage.

    Series resistance is made by all numbers of the parts, what is in series with them and what is beside it alike.
    """
    from benchcheck.circuit.reading import by_value

    forward = {state.designator: state.voltage_v for state in found.junctions}
    effects: dict[str, float] = {}
    numbers = slopes if found.function == "esr" else _valued(netlist, by_value(netlist, slopes))
    if found.function not in ("esr", "capacitance"):  # of a coil direct current meets the wire alone
        wires = {key: slope for key, slope in slopes.items() if key[1] == "dc_resistance_ohm"}
        numbers = {key: slope for key, slope in numbers.items() if key[1] != "inductance_h"} | wires
    for (name, number), slope in numbers.items():
        value = getattr(netlist.device(name), number, None) or forward.get(name, 0.0)
        part = name.partition(":")[0]
        effects[part] = effects.get(part, 0.0) + abs(slope * value)
    return effects


def _valued(netlist: Netlist, slopes: Mapping[str, float]) -> dict[Key, float]:
    return {(name, netlist.device(name).VALUE): slope for name, slope in slopes.items()}


def shares_of(effects: Mapping[str, float]) -> tuple[Share, ...]:
    """Return the parts with the largest effects, in percent of all effects."""
    total = sum(effects.values())
    ranked = sorted(effects.items(), key=lambda pair: -pair[1])
    shares = (Share(name, 100.0 * effect / total) for name, effect in ranked if total > 0.0)
    return tuple(share for share in shares if share.percent >= _LEAST_PERCENT)[:MOST_PARTS]


def on_board(
    around: Neighbourhoods, ports: tuple[str, str], excitation: Any, conditions: Conditions | None = None
) -> OnBoard:
    """Return what the good board reads both ways, as warm as the conditions say.

    Raises CircuitError for what cannot be solved.
    """
    from benchcheck.circuit.excitation import CapacitanceAtFrequency, Esr
    from benchcheck.circuit.neighbourhood import read_near
    from benchcheck.circuit.starts import Starts

    starts = Starts()
    near = read_near(around, *ports, excitation, conditions=conditions, starts=starts)
    found = other = near.reading
    if not isinstance(excitation, CapacitanceAtFrequency | Esr):  # a board at rest is reciprocal at a frequency
        back = ports[1], ports[0]
        other = read_near(around, *back, excitation, conditions=conditions, starts=starts, like=near.cut).reading
    shares = shares_of(effects_of(around.netlist, found, near.first.slopes()))
    return OnBoard(display_of(found), found.value, display_of(other), other.value, shares)
