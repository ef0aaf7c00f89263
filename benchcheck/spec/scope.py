"""What a board must be before it may be powered at all: extra-low voltage, no hazard that forbids it, limits given.

These rules cannot be waived (DEVELOPERS.md, "What must never happen at the bench"). A board beyond the scope
loads all the same: its unpowered checks are as useful as any other's.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.kinds.battery import Battery
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.regulator import Regulator
from benchcheck.kinds.supply import Supply
from benchcheck.quantity import format_value
from benchcheck.spec.board import Board

__all__ = ["DC_LIMIT_V", "FORBIDDING", "PEAK_LIMIT_V", "RMS_LIMIT_V", "beyond_scope", "missing_for_power"]

#: extra-low voltage as meter manuals draw it: above these, hazardous live.
DC_LIMIT_V, RMS_LIMIT_V, PEAK_LIMIT_V = 60.0, 30.0, 42.4
#: hazards that leave unpowered checks only.
FORBIDDING = ("mains", "crt", "flash-capacitor", "backlight-inverter")
#: so that 30 V rms typed as 30 V is not above 30 V by the last bit of a float.
_SLACK = 1 + 1e-9


def beyond_scope(board: Board) -> tuple[str, ...]:
    """Return why the board gets unpowered checks only, one sentence each; empty when it is within scope."""
    hazards = [
        f'hazard "{hazard}" allows unpowered checks only' for hazard in board.hazards or () if hazard in FORBIDDING
    ]
    limits = (
        ("DC", DC_LIMIT_V, _dc(board)),
        ("AC rms", RMS_LIMIT_V, _ac(board)),
        ("peak", PEAK_LIMIT_V, _peak(board)),
    )
    too_high = [
        f"{what} has {format_value(volts, 'V', ascii=True)} {sort}, above the {limit:g} V this tool keeps to"
        for sort, limit, found in limits
        for what, volts in found
        if abs(volts) > limit * _SLACK
    ]
    return (*hazards, *(too_high or _span(board)))


def _span(board: Board) -> tuple[str, ...]:
    """Return a sentence where two nets are too far apart though neither is too far from ground."""
    known = {net: volts for net in board.nets if (volts := board.voltage(net)) is not None}
    if not known:
        return ()
    low, high = min(known, key=known.__getitem__), max(known, key=known.__getitem__)
    apart = known[high] - known[low]
    if apart <= DC_LIMIT_V * _SLACK:
        return ()
    found = format_value(apart, "V", ascii=True)
    return (f"net {high} stands {found} above net {low}, more than the {DC_LIMIT_V:g} V this tool keeps to",)


def _dc(board: Board) -> Iterator[tuple[str, float]]:
    for name, supply in board.supplies.items():
        yield f"supply {name}", max(supply.voltage, *supply.voltages.values(), supply.voltage)
    for name, rail in board.rails.items():
        yield f"rail {name}", _highest(rail)
    for name, part in board.parts.items():
        if isinstance(part, Regulator):
            yield f"the output of {name}", part.voltage
    for name in board.nets:
        volts = board.voltage(name)
        if volts is not None and not any(name in entry.nets.values() for entry in _fed(board)):
            yield f"net {name}", volts


def _highest(rail: Rail) -> float:
    """Return the rail's voltage at the outer end of its tolerance, in volt."""
    if rail.tolerance is None:
        return rail.voltage
    return max(rail.tolerance.interval(rail.voltage), key=abs)


def _fed(board: Board) -> tuple[Rail | Supply, ...]:
    return (*board.rails.values(), *board.supplies.values())


def _ac(board: Board) -> Iterator[tuple[str, float]]:
    yield from ((f"net {name}", net.ac_voltage) for name, net in board.nets.items() if net.ac_voltage is not None)
    for entry in _fed(board):
        if entry.ac_voltage is not None:
            yield entry.name, entry.ac_voltage


def _peak(board: Board) -> Iterator[tuple[str, float]]:
    yield from ((f"net {name}", net.peak_voltage) for name, net in board.nets.items() if net.peak_voltage is not None)
    for entry in _fed(board):
        if entry.peak_voltage is not None:
            yield entry.name, entry.peak_voltage


def missing_for_power(board: Board) -> tuple[str, ...]:
    """Return what else stands against power on a board within scope, one sentence each."""
    reasons = []
    if board.hazards is None:
        reasons.append("the spec says nothing of hazards; write hazards = [] under [board] if there are none")
    reasons.extend(
        f"{name} is a fixed lithium cell, and a supply on its terminals would charge it uncontrolled"
        for name, part in board.parts.items()
        if isinstance(part, Battery) and part.fixed and part.lithium
    )
    if not board.supplies:
        reasons.append("the spec names no supply; add [supply.NAME] with its limits")
    reasons.extend(sentence for name, supply in board.supplies.items() for sentence in _missing(name, supply))
    return tuple(reasons)


def _missing(name: str, supply: Supply) -> Iterator[str]:
    given = {
        "current_limit": supply.current_limit,
        "idle_current.max": supply.idle_current.max if supply.idle_current else None,
        "input_capacitance": supply.input_capacitance,
    }
    lacking = [key for key, value in given.items() if value is None]
    if lacking:
        yield f"supply {name} gives no {' and no '.join(lacking)}"
