"""What the parts around one may be: the spread of every number that a reading there depends on.

Tolerances and limits are the spec's. Where it states none, what good parts are known to stray by stands in, so that
no number of a neighbour is ever taken for exact: forward voltages and thresholds, the series resistance of
electrolytics from nothing up to the limit their kind supplies, contacts from nothing to twice what is usual.
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

__all__ = ["JUNCTION_SPREAD_V", "ideality", "neighbours", "spread_of", "with_series_resistances"]

#: how far the forward voltage of a good junction strays, in volt, as a standard uncertainty (common practice, no
#: source); as limits, the square root of three times that.
JUNCTION_SPREAD_V = 0.03
#: how far the threshold of a good MOSFET strays, in volt, as limits: data sheets allow 1 to 2 V between least and
#: most of one type (common practice).
_THRESHOLD_V = 0.7
#: what a number is good to where nobody states it, as a share (common practice, no source).
_UNSTATED = 0.15
#: a winding: service charts print them within 10 % (common practice, no source).
_WINDING = 0.10
#: contacts, fuses, beads and chokes without a figure: from nothing to twice what is usual (common practice).
_WIRE = 1.0
#: of a coil whose inductance the spec does not give: the model's may be anything
_INDUCTANCE = 1.0
#: series resistance of a capacitor that is no electrolytic, in ohm, from nothing up to twice this (common practice).
_CERAMIC_OHM = 0.01
#: what the ideality of a junction may be off, as a share: it carries a drop from one current to another.
_IDEALITY = 0.25
_ORIGIN = "the spec, through the circuit"
_USUAL = "common practice, no source, through the circuit"
#: the keys a spec states limits under, by the number of the device they are for.
_LIMITS = {
    "resistance_ohm": "resistance",
    "dc_resistance_ohm": "dc_resistance",
    "closed_resistance_ohm": "closed_resistance",
    "capacitance_f": "capacitance",
    "inductance_h": "inductance",
    "series_resistance_ohm": "esr",
}
_WHAT = {
    "drop_shift_v": "forward voltage",
    "series_resistance_ohm": "series resistance",
    "dc_resistance_ohm": "winding resistance",
    "closed_resistance_ohm": "contact resistance",
    "threshold_shift_v": "threshold",
    "leakage_ohm": "leakage",
}


def neighbours(
    board: Board, netlist: Netlist, own: Own, slopes: Mapping[tuple[str, str], float], slope: float
) -> Iterator[tuple[str, Contribution]]:
    """Yield, by designator, what each number around the one sought may stray by, as a contribution to it.

    `slopes` are those of the reading to every number, `slope` that to the number sought.
    """
    for (name, field), by_neighbour in slopes.items():
        if (name, field) == (own.designator, own.field) or not by_neighbour:
            continue
        designator = name.partition(":")[0]
        spread = spread_of(board.parts.get(designator), netlist.device(name), field)
        if spread is None:
            continue
        half_width, origin = spread
        value = field == netlist.device(name).VALUE and field not in _WHAT
        label = f"tolerance of {designator}" if value else f"{_WHAT.get(field, field)} of {designator}"
        mark = "tolerance" if value else field.partition("_")[0]
        wide = abs(by_neighbour / slope) * half_width
        yield designator, Contribution.from_limits(f"{name}.{mark}", label, wide, origin=origin)


def spread_of(part: Any, device: Any, field: str) -> tuple[float, str] | None:
    """Return half the width of what a good part's number may be, and where that is from.

    None for what is no part of the board: the meter, and what a supposed fault put in.
    """
    if part is None:
        return None
    if field == "drop_shift_v":
        return JUNCTION_SPREAD_V * 3**0.5, _USUAL
    if field == "threshold_shift_v":
        return _THRESHOLD_V, _USUAL
    number = float(getattr(device, field, None) or 0.0)
    if field == "series_resistance_ohm" and (most := _largest_series_ohm(part)):
        return most / 2.0, _USUAL
    limits = getattr(part, _LIMITS.get(field, ""), None)
    if limits is not None and limits.max is not None:
        return max(limits.max - number, number - (limits.min or 0.0)), _ORIGIN
    if field == "series_resistance_ohm":
        return _CERAMIC_OHM, _USUAL
    share, origin = _tolerance(part, device, field)
    return share * abs(number), origin


def _tolerance(part: Any, device: Any, field: str) -> tuple[float, str]:
    """Return what a good part's number may be off, as a share, and where that is from."""
    stated = getattr(part, "spread", None) or getattr(part, "tolerance", None)
    value = getattr(part, "value", None)
    if field == device.VALUE and stated is not None and value:
        lower, upper = stated.interval(value)
        return (upper - lower) / (2.0 * abs(value)), _ORIGIN
    if field in ("dc_resistance_ohm", "closed_resistance_ohm") or (field == "resistance_ohm" and not value):
        return _WIRE, _USUAL
    if field == "inductance_h" and not value:
        return _INDUCTANCE, _USUAL
    return (_WINDING if part.kind == "winding" else _UNSTATED), _USUAL


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
