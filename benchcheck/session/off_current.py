"""What a reading of a small current in series can show: capacitors that leak anyway, burden, range, jack and fuse.

Pure rules, so that each can be tested without an instrument. A limit below what the capacitors on the supply may
leak by their data sheets decides nothing; a range that drops too much of the supply is not used.
"""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.kinds.check import Check
from benchcheck.kinds.electrolytic import PolarCapacitor, leakage_a
from benchcheck.kinds.supply import Supply
from benchcheck.quantity import format_value
from benchcheck.spec.board import Board

__all__ = ["burden_volt", "limit_problem", "series_range", "shows_nothing", "standing_leakage_ampere"]

#: kinds that join their nets for a direct current.
_JOINS = ("fuse", "ferrite", "inductor", "winding", "ptc", "resistor")
_SWITCHES = ("switch", "connector")
#: how much of the supply voltage a meter in series may take (common practice, no source).
_BURDEN_SHARE = 0.02
#: room above the limit that the range must have, so that a fail is a number and not an overload.
_ROOM = 2.0
_COUNTS = 3.0


def standing_leakage_ampere(board: Board, supply: Supply, switches: dict[str, str]) -> tuple[float, tuple[str, ...]]:
    """Return what the capacitors that always stand across a supply may leak in ampere, and their designators.

    By data sheets, at rated voltage after some minutes. `switches` are positions by designator, others at rest.
    """
    plus, minus = (_joined(board, supply.nets[pole], switches) for pole in ("plus", "minus"))
    found = [
        (name, leakage_a(part.value, part.rated_voltage or abs(supply.voltage)))
        for name, part in board.parts.items()
        if isinstance(part, PolarCapacitor) and part.net("plus") in plus and part.net("minus") in minus
    ]
    return sum(leak for _, leak in found), tuple(name for name, _ in found)


def _joined(board: Board, net: str, switches: dict[str, str]) -> frozenset[str]:
    """Return the nets a direct current reaches from a net through fuses, windings, resistors and closed switches."""
    reached, open_ends = {net}, [net]
    while open_ends:
        for designator, _ in board.touching(open_ends.pop()):
            part = board.parts[designator]
            position = switches.get(designator, getattr(part, "rest", "open"))
            if part.kind in _JOINS or (part.kind in _SWITCHES and position == "closed"):
                further = set(part.pins.values()) - reached
                reached |= further
                open_ends.extend(further)
    return frozenset(reached)


def limit_problem(check: Check, board: Board, supply: Supply) -> str:
    """Return why the limit of an off current decides nothing, "" when it does."""
    upper = check.limits.upper
    leaks, names = standing_leakage_ampere(board, supply, dict(check.switches))
    if upper is None or leaks < upper:
        return ""
    limit, most = (format_value(value, "A", digits=2, ascii=True) for value in (upper, leaks))
    return (
        f"{', '.join(names)} always stand on the supply and may leak {most} by their data sheets; a limit of {limit} "
        "cannot tell a fault from that: raise the limit in the spec"
    )


def burden_volt(chosen: MeterRange, current_ampere: float) -> float | None:
    """Return what a range in series takes of the supply in volt; None where its resistance is not known."""
    resistance = chosen.input_resistance_ohm
    return None if resistance is None else resistance * current_ampere


def series_range(check: Check, meter: Meter, supply_volt: float) -> MeterRange | None:
    """Return the finest range that holds twice the limit and takes little of the supply; None where there is none."""
    upper = check.limits.upper or 0.0
    for chosen in meter.ranges_of(Function.DC_CURRENT):
        burden = burden_volt(chosen, upper)
        if chosen.holds(_ROOM * upper) and (burden is None or burden <= _BURDEN_SHARE * abs(supply_volt)):
            return chosen
    return None


def shows_nothing(current_ampere: float, chosen: MeterRange) -> bool:
    """Return whether a reading is what a lead in the wrong jack or a blown fuse would show as well.

    That is anything within the meter's own limit of error at zero.
    """
    return abs(current_ampere) <= max(_COUNTS * chosen.resolution, chosen.half_width(0.0))
