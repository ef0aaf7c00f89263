"""Power as decisions: which supply feeds a check, what is asked of it, which limits hold, and what must stop it.

Nothing here switches anything. What spec and bench say becomes a request the power sequence can refuse; a powered
check becomes what must be set before its reading: supply, voltage, load.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.bench.model import Supply as BenchSupply
from benchcheck.errors import SpecError
from benchcheck.instruments.power_sequence import FedOutput, PowerRequest
from benchcheck.instruments.power_watch import Rule, Stop, judge_rail
from benchcheck.kinds.check import Check, Phase
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.readings.reading import Reading
from benchcheck.spec.board import Board, ceiling_faults

__all__ = [
    "Wanted",
    "dummy_doubt",
    "refuse_above_ceiling",
    "request_for",
    "shorts_first",
    "stop_for",
    "supply_of_bench",
    "wanted_for",
]

#: a rise of less is not seen on a supply's own display (common practice, no source).
_SEEN_AMPERE = 30e-3


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a powered check needs: the unit's supply, its voltage by name and in volt, place and current of the load.

    `load_ampere` None: no load is stated, so none is drawn. `load_place` is a rail, or the path through a part.
    """

    supply: Supply
    at: str
    voltage_volt: float
    load_place: str = ""
    load_ampere: float | None = None

    @property
    def loaded(self) -> bool:
        """Whether a load current is to flow."""
        return bool(self.load_ampere)


def supply_of_bench(bench: Bench, wanted: str = "") -> BenchSupply | None:
    """Return the linked supply that feeds the unit: the one named like the unit's, else the first one with a link."""
    linked = [one for one in bench.supplies.values() if one.link is not None]
    return next((one for one in linked if one.name == wanted), linked[0] if linked else None)


def refuse_above_ceiling(board: Board, bench: Bench, checks: Iterable[Check]) -> None:
    """Raise SpecError where the spec asks more of a supply than this bench ever gives, and power is asked for."""
    if board.power_refusals or not any(check.powered for check in checks):
        return
    chosen = supply_of_bench(bench) or next(iter(bench.supplies.values()), None)
    if chosen is None:
        return
    faults = ceiling_faults(board, chosen.ceiling.voltage_v, chosen.ceiling.current_a)
    if faults:
        raise SpecError(faults)


def wanted_for(check: Check, board: Board) -> Wanted | None:
    """Return what a powered check needs before it is read; None on a board that states no supply."""
    rail = _rail_of(check, board)
    supply = board.supplies.get(check.subject)
    if supply is None and rail is not None:
        supply = rail.fed_by(board.supplies.values())
    supply = supply or next(iter(board.supplies.values()), None)
    if supply is None:
        return None
    volts = supply.voltages.get(check.input_voltage, supply.voltage)
    if check.measurand == "dropout":  # the lowest voltage the unit must work on
        volts = min((supply.voltage, *supply.voltages.values()), key=abs)
    name = next((name for name, value in supply.voltages.items() if value == volts), "")
    at = "" if volts == supply.voltage else name
    place = rail.name if rail is not None else f"the path through {check.subject}"
    return Wanted(supply, at, volts, place, check.load_a)


def _rail_of(check: Check, board: Board) -> Rail | None:
    """Return the rail a check is about: its own, or the one a regulator makes."""
    if check.subject in board.rails:
        return board.rails[check.subject]
    output = board.nets_of(check.subject).get("output")
    return next((rail for rail in board.rails.values() if output and output in rail.nets.values()), None)


def request_for(wanted: Wanted, board: Board, *, full_limit: bool = False) -> PowerRequest:
    """Return what is asked of the power sequence for a supply at a voltage; the size of it, for a negative one."""
    supply = wanted.supply
    fed = tuple(
        FedOutput(rail.capacitance, abs(rail.voltage))
        for rail in board.rails.values()
        if rail.capacitance and rail.fed_by(board.supplies.values()) is supply
    )
    return PowerRequest(
        supply.name,
        abs(wanted.voltage_volt),
        supply.current_limit,
        supply.idle_max_a,
        supply.input_capacitance,
        supply.start_current,
        fed=fed,
        full_limit=full_limit,
    )


def dummy_doubt(board: Board, wanted: Wanted, rise_ampere: float) -> str:
    """Return why a dummy load somebody says is there is not believed, "" where nothing speaks against it.

    No board gives out more power than it takes in: the supply's current must rise by at least what the rail gives.
    Half of that is asked for, and nothing where it is too little for a supply's own display.
    """
    rail = board.rails.get(wanted.load_place)
    if rail is None or not wanted.load_ampere:
        return ""
    least_ampere = abs(rail.voltage / wanted.voltage_volt) * wanted.load_ampere
    if least_ampere < _SEEN_AMPERE or rise_ampere >= 0.5 * least_ampere:
        return ""
    return (
        f"a dummy load of {wanted.load_ampere * 1e3:.0f} mA on {wanted.load_place} makes {wanted.supply.name} draw "
        f"at least {least_ampere * 1e3:.0f} mA more, and it drew {rise_ampere * 1e3:.0f} mA more: put it on when "
        "the question comes, then take the check again"
    )


def shorts_first(board: Board) -> tuple[str, ...]:
    """Return the checks, by id, that are read again before power that a stop rule ended: charge, shorts to ground."""
    return tuple(
        check.id
        for check in board.checks
        if check.phase is Phase.RESIDUAL_VOLTAGE or (check.measurand == "to_ground" and not check.powered)
    )


def stop_for(check: Check, readings: Iterable[Reading]) -> Stop | None:
    """Return the stop rule a reading under power calls for: a rail above its maximum or a wrong sign anywhere."""
    if check.function is not Function.DC_VOLTAGE:
        return None
    lower, upper = check.limits.lower, check.limits.upper
    for value in (reading.display.value for reading in readings):
        if value is None:
            continue
        if check.measurand == "bias" and lower is not None and value < lower:
            line = f"{check.subject} has {value:.3f} V across it, the wrong way round: it heats and shorts later"
            return Stop(Rule.WRONG_SIGN, line)
        if check.measurand in ("voltage", "output_voltage") and lower is not None and upper is not None:
            negative = upper < 0.0
            stop = judge_rail(check.subject, value, lower if negative else upper, negative=negative)
            if stop is not None:
                return stop
    return None
