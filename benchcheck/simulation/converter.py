"""The switching stage that makes a rail, as far as a spec shows one: its parts, its swinging nets, its feedback.

A stage is what hangs together on coils, diodes and transistors at the rail, up to nets that do not swing: ground,
supplies, rails, and whatever a bulk capacitor holds.
"""

from __future__ import annotations

from benchcheck.circuit.devices import Capacitor, Resistor
from benchcheck.circuit.netlist import Netlist
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.simulation.faults import FaultsOfUnit
from benchcheck.spec.board import Board

__all__ = ["BULK_FARAD", "STOPS", "divider_voltage", "stage_stops"]

#: faults that stop a converter or regulator; what is only leaky, dry or of the wrong value does not.
STOPS = frozenset({"open", "short", "missing-joint", "swapped-pins", "wrong-polarity-type", "reversed", "bridge"})
BULK_FARAD = 1e-6
_SWITCHES = ("diode", "inductor", "mosfet", "bjt", "winding")


def stage_stops(board: Board, good: Netlist, faults: FaultsOfUnit, rail: Rail) -> bool:
    """Return whether a part or a net of the rail's switching stage has a fault that stops it."""
    parts, nets = _stage(board, good, rail)
    hit = any(fault.designator.partition(":")[0] in parts and fault.code in STOPS for fault in faults.parts)
    return hit or any(fault.code == "bridge" and nets & set(fault.where) for fault in faults.parts)


def divider_voltage(board: Board, good: Netlist, faulty: Netlist, rail: Rail) -> float:
    """Return the volts a feedback divider sets: the stated voltage of its tap times the ratio; 0 without one.

    A divider is a net with a voltage of its own, with resistors to both poles of the rail, that makes about the
    rail's voltage on the good unit. With its lower half alone the rail runs away, to twice its voltage here.
    """
    plus, minus = rail.nets["plus"], rail.nets["minus"]
    lower, upper = sorted(rail.spread.interval(rail.voltage))
    for name, net in board.nets.items():
        above, below = (_conductance(good, name, end) for end in (plus, minus))
        if not net.voltage or not above or not below or not lower <= net.voltage * (1.0 + below / above) <= upper:
            continue
        above, below = (_conductance(faulty, name, end) for end in (plus, minus))
        runaway = 2.0 * abs(rail.voltage)
        size = min(runaway, abs(net.voltage) * (1.0 + below / above)) if above else runaway
        return size if rail.voltage > 0 else -size
    return 0.0


def _conductance(netlist: Netlist, one: str, other: str) -> float:
    return sum(
        1.0 / each.resistance_ohm
        for each in netlist.devices
        if isinstance(each, Resistor) and {each.a, each.b} == {one, other}
    )


def _stage(board: Board, good: Netlist, rail: Rail) -> tuple[set[str], set[str]]:
    still = _still_nets(board, good)
    waiting = [name for name, _ in board.touching(rail.nets["plus"]) if board.parts[name].kind in _SWITCHES]
    parts, nets = set(waiting), set[str]()
    while waiting:
        for net in board.nets_of(waiting.pop()).values():
            if net in still or net in nets:
                continue
            nets.add(net)
            fresh = [name for name, _ in board.touching(net) if name not in parts and _drives(board, name, still)]
            parts.update(fresh)
            waiting.extend(fresh)
    return parts, nets


def _drives(board: Board, designator: str, still: set[str]) -> bool:
    """Whether a part on a swinging net belongs to the stage: not a resistor to a net that stands still."""
    part = board.parts[designator]
    return part.kind in _SWITCHES or (part.kind == "resistor" and not still & set(part.pins.values()))


def _still_nets(board: Board, good: Netlist) -> set[str]:
    fed: tuple[Rail | Supply, ...] = (*board.rails.values(), *board.supplies.values())
    held = {net for one in fed for net in one.nets.values()}
    for one in good.devices:
        if isinstance(one, Capacitor) and one.capacitance_f >= BULK_FARAD:
            held |= {one.plus, one.minus}
    return held
