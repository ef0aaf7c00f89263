"""What a board must be before it may be powered at all: extra-low voltage, no hazard that forbids it, limits given.

These rules cannot be waived (DEVELOPERS.md, "What must never happen at the bench"). A board beyond the scope
loads all the same: its unpowered checks are as useful as any other's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchcheck.kinds.battery import Battery
from benchcheck.kinds.check import Check
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


def beyond_scope(board: Board, checks: Iterable[Check] = ()) -> tuple[str, ...]:
    """Return why the board gets unpowered checks only, one sentence each; empty when it is within scope.

    `checks` are those of its parts; what a battery is expected to show counts as a supply.
    """
    hazards = [
        f'hazard "{hazard}" allows unpowered checks only' for hazard in board.hazards or () if hazard in FORBIDDING
    ]
    limits = (
        ("DC", DC_LIMIT_V, (*_dc(board), *_batteries(board, checks))),
        ("AC rms", RMS_LIMIT_V, _stated(board, "ac_voltage")),
        ("peak", PEAK_LIMIT_V, _stated(board, "peak_voltage")),
    )
    too_high = [
        f"{what} has {_shown(volts)} {sort}, above the {limit:g} V this tool keeps to"
        for sort, limit, found in limits
        for what, volts in found
        if abs(volts) > limit * _SLACK
    ]
    return (*hazards, *(too_high or _span(board)))


def _shown(volts: float) -> str:
    return format_value(volts, "V", ascii=True)


def _span(board: Board) -> tuple[str, ...]:
    """Return a sentence where two nets are too far apart though neither is too far from ground."""
    known = {net: volts for net in board.nets if (volts := board.voltage(net)) is not None}
    for _, entry in _fed(board):
        below = known.get(entry.nets["minus"])
        if below is not None:
            net, volts = entry.nets["plus"], below + _outermost(entry)
            known[net] = max(known.get(net, volts), volts, key=abs)
    if not known:
        return ()
    low, high = min(known, key=known.__getitem__), max(known, key=known.__getitem__)
    apart = known[high] - known[low]
    if apart <= DC_LIMIT_V * _SLACK:
        return ()
    return (f"net {high} stands {_shown(apart)} above net {low}, more than the {DC_LIMIT_V:g} V this tool keeps to",)


def _fed(board: Board) -> Iterator[tuple[str, Rail | Supply]]:
    """Yield (what it is called, entry) for every supply and rail."""
    yield from ((f"supply {name}", supply) for name, supply in board.supplies.items())
    yield from ((f"rail {name}", rail) for name, rail in board.rails.items())


def _outermost(entry: Rail | Supply) -> float:
    """Return the voltage farthest from zero it may have, in volt: its highest name, or the end of its tolerance."""
    if isinstance(entry, Supply):
        return max((entry.voltage, *entry.voltages.values()), key=abs)
    return entry.voltage if entry.tolerance is None else max(entry.tolerance.interval(entry.voltage), key=abs)


def _dc(board: Board) -> Iterator[tuple[str, float]]:
    fed = dict(_fed(board))
    yield from ((what, _outermost(entry)) for what, entry in fed.items())
    for name, part in board.parts.items():
        if isinstance(part, Regulator):
            yield f"the output of {name}", part.voltage
    named = {net for entry in fed.values() for net in entry.nets.values()}
    for net in board.nets:
        volts = board.voltage(net)
        if volts is not None and net not in named:
            yield f"net {net}", volts


def _batteries(board: Board, checks: Iterable[Check]) -> Iterator[tuple[str, float]]:
    for check in checks:
        if check.measurand == "open_voltage" and isinstance(board.parts.get(check.subject), Battery):
            yield f"battery {check.subject}", check.expected or 0.0


def _stated(board: Board, key: str) -> Iterator[tuple[str, float]]:
    """Yield (what it is called, volt) wherever the spec states this alternating voltage."""
    nets = ((f"net {name}", net) for name, net in board.nets.items())
    for what, entry in (*nets, *_fed(board)):
        volts = getattr(entry, key)
        if volts is not None:
            yield what, volts


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
