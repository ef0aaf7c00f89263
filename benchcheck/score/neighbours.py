"""What the parts around one may be: the spread of every number that a reading there depends on.

Tolerances are the spec's. Where it states none, what good parts are known to stray by stands in: the forward voltage
of junctions, the series resistance of electrolytics, from nothing up to the limit their kind supplies.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from benchcheck.kinds.esr import esr_limits
from benchcheck.metrology import Contribution
from benchcheck.score.own import Own
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist

__all__ = ["JUNCTION_SPREAD_V", "ideality", "neighbours", "with_series_resistances"]

#: how far the forward voltage of a good junction strays, in volt, as a standard uncertainty (common practice, no
#: source); as limits, the square root of three times that.
JUNCTION_SPREAD_V = 0.03
#: what the ideality of a junction may be off, as a share: it carries a drop from one current to another.
_IDEALITY = 0.25
_ORIGIN = "the spec, through the circuit"
_USUAL = "common practice, no source, through the circuit"
_PASSIVE = ("resistance_ohm", "capacitance_f")


def neighbours(
    board: Board, netlist: Netlist, own: Own, slopes: Mapping[tuple[str, str], float], slope: float
) -> Iterator[tuple[str, Contribution]]:
    """Yield, by designator, what each number around the one sought may stray by, as a contribution to it.

    `slopes` are those of the reading to every number, `slope` that to the number sought.
    """
    for (name, field), by_neighbour in slopes.items():
        if (name, field) == (own.designator, own.field):
            continue
        designator = name.partition(":")[0]
        spread = _spread(board.parts.get(designator), netlist.device(name), field)
        if spread is None or not by_neighbour:
            continue
        half_width, origin = spread
        label = f"tolerance of {designator}" if origin == _ORIGIN else f"{_WHAT[field]} of {designator}"
        mark = "tolerance" if origin == _ORIGIN else field.partition("_")[0]
        wide = abs(by_neighbour / slope) * half_width
        yield designator, Contribution.from_limits(f"{name}.{mark}", label, wide, origin=origin)


_WHAT = {"drop_shift_v": "forward voltage", "series_resistance_ohm": "series resistance"}


def _spread(part: Any, device: Any, field: str) -> tuple[float, str] | None:
    """Return half the width of what a good part's number may be, and where that is from."""
    if part is None:
        return None
    tolerance, value = getattr(part, "spread", None), getattr(part, "value", None)
    if field in _PASSIVE and field == device.VALUE and tolerance is not None and value:
        lower, upper = tolerance.interval(value)
        return (upper - lower) / 2.0, _ORIGIN
    if field == "drop_shift_v":
        return JUNCTION_SPREAD_V * 3**0.5, _USUAL
    if field == "series_resistance_ohm" and (most := _largest_series_ohm(part)):
        return most / 2.0, _USUAL
    return None


def _largest_series_ohm(part: Any) -> float | None:
    """Return the largest series resistance of a good electrolytic or tantalum, in ohm; None for other parts."""
    if part is None or part.kind not in ("electrolytic", "tantalum"):
        return None
    given = getattr(part, "esr", None)
    if given is not None and given.max is not None:
        return float(given.max)
    technology = getattr(part, "technology", "")
    tantalum = part.kind == "tantalum"
    return esr_limits(part.value, part.loss_tangent, technology, part.rated_voltage, tantalum=tantalum).upper


def with_series_resistances(board: Board, netlist: Netlist) -> Netlist:
    """Return the netlist with every electrolytic and tantalum at half the largest series resistance of a good one."""
    from benchcheck.circuit.devices import Capacitor
    from benchcheck.circuit.netlist import Netlist as Whole

    def resistive(device: Any) -> Any:
        most = _largest_series_ohm(board.parts.get(device.designator)) if isinstance(device, Capacitor) else None
        return replace(device, series_resistance_ohm=most / 2.0) if most else device

    return Whole((resistive(device) for device in netlist.devices), sound=netlist.devices)


def ideality(own: Own, value: float, read: float) -> tuple[Contribution, ...]:
    """Return what is unsure of a drop carried from the current the junction has on the board to the full one."""
    moved = abs(value - read)
    if not own.junction or moved == 0.0:
        return ()
    name, label = f"{own.designator}.ideality", "ideality, from one current to another"
    return (Contribution.from_limits(name, label, _IDEALITY * moved, origin=f"{_IDEALITY:.0%} of the transfer"),)
