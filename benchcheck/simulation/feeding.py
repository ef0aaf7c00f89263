"""What of a unit comes alive when its supply is on: which rails, at which voltage, and what is shorted or cut off.

Plain rules over the circuit. A rail is reached when the supply, put on the unit with converters at rest, still lifts
it (through fuse, switch, coil and diode of a boost converter, say) as it does on the good unit; a rail behind a
regulator lives when the regulator's input does. A stage with a part out of order only passes that voltage on. What
pulls the supply down by itself, and a rail that collapsed against the good unit's, keeps the supply in its limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, VoltageSource
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.solution import OperatingPoint, operating_point
from benchcheck.errors import CircuitError
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.simulation.converter import BULK_FARAD, STOPS, divider_voltage, stage_stops
from benchcheck.simulation.probing import course_between
from benchcheck.simulation.specimen import Positions, Specimen
from benchcheck.simulation.world import Excitation

__all__ = ["Feeding", "RailState", "feeding_of"]

_REACHED = 0.25  # of the supply voltage
_SHORT_OHM, _SHORT_SHARE, _JOINED_OHM = 10.0, 0.2, 1.0
_PULLED_DOWN = 0.9
#: looks for shorts with too little voltage to turn a junction on.
_LOOK = Excitation(Function.LOW_POWER_OHMS, 1e-3, 0.2)
_CONVERTED = 1.1
#: a linear regulator needs this between input and output, a low-dropout one that (data sheets: LM78XX 2 V).
_DROPOUT_V = {"linear": 2.0, "low-dropout": 0.3}
_UNSTATED_IDLE_A, _UNSTATED_FARAD, _STUB_FARAD = 0.01, 47e-6, 1e-6
#: what a converter adds to a short behind it, and a passive path to a rail, in ohm (our choice).
_CONVERTER_OHM, _PASSIVE_OHM = 0.5, 1.0
#: an electrolytic the wrong way round conducts beyond a volt or two (common practice, no source for the figures).
_REVERSED_V, _REVERSED_OHM = 1.5, 200.0
_DRY_OHM = 10.0
_LEAST_A = 1e-4
_USUAL_RIPPLE, _USUAL_SAG_SHARE, _USUAL_REGULATION = 0.06, 0.3, 0.02
_IDLE_SHARE, _OFF_SHARE, _START_SHARE = 0.62, 0.45, 0.6


@dataclass(frozen=True, slots=True)
class RailState:
    """A rail that lives: volt without load, the ohm it sags by, and where its current comes from.

    `upstream` is the rail a linear regulator takes it from ("" for the supply), `dropout_v` what that needs;
    `direct`: no conversion, the current is the supply's own; `joined`: bridged to its upstream; `extra_a`: what its
    faults draw; `ripple_v` rms at full load.
    """

    rail: Rail
    voltage_v: float
    sag_ohm: float
    upstream: str = ""
    dropout_v: float = 0.0
    direct: bool = False
    joined: bool = False
    extra_a: float = 0.0
    ripple_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Feeding:
    """What one switch position and one set of faults make of a supply: rails by name, and what the supply sees.

    `capacitance_farad` charges first; `short_ohm` is what holds the supply down (infinite: nothing);
    `leak_ampere` flows at the nominal voltage with nothing alive, `extra_ampere` is what faults draw there;
    `bleed_ohm` empties the input.
    """

    supply: Supply
    rails: Mapping[str, RailState]
    idle_watt: float
    start_v: float
    capacitance_farad: float
    short_ohm: float = math.inf
    leak_ampere: float = 0.0
    extra_ampere: float = 0.0
    bleed_ohm: float = math.inf


def feeding_of(specimen: Specimen, supply: Supply, positions: Positions) -> Feeding:
    """Return what comes alive on one supply with the switches as given (others at rest)."""
    return _Feeder(specimen, supply, positions).feeding()


class _Feeder:
    """Works out one `Feeding`."""

    def __init__(self, specimen: Specimen, supply: Supply, positions: Positions) -> None:
        self._specimen, self._board, self._supply = specimen, specimen.board, supply
        self._now = {**specimen.rest(), **positions}
        self._faulty, self._good = specimen.netlist(positions), specimen.good(positions)
        self._nominal, self._limit = abs(supply.voltage), supply.current_limit or 1.0
        self._passive, self._passive_good = self._lifted(self._faulty), self._lifted(specimen.good({}))

    def feeding(self) -> Feeding:
        supply = self._supply
        reached = self._reach(self._passive)
        idle_a = _IDLE_SHARE * (supply.idle_max_a or 2.0 * _UNSTATED_IDLE_A) * self._factor("idle", 0.06)
        rails = self._with_burdens(self._with_bridges(dict(self._rails())))
        lives = bool(rails) or (not self._board.rails and reached > 0.0)
        volts = [self._nominal, *(abs(each) for each in supply.voltages.values())]
        return Feeding(
            supply,
            rails,
            self._nominal * idle_a if lives else 0.0,
            _START_SHARE * min(volts),
            max(_STUB_FARAD, reached * (supply.input_capacitance or _UNSTATED_FARAD)),
            self._short(),
            self._leak(),
            self._extra_of_supply(rails),
            self._ohm(self._faulty, *_poles(supply)),
        )

    def _factor(self, what: str, spread: float) -> float:
        return 1.0 + spread * self._specimen.chance(f"powered {what}").uniform(-1.0, 1.0)

    def _leak(self) -> float:
        off = self._supply.off_current
        return _OFF_SHARE * off.max * self._factor("off", 0.2) if off is not None and off.max else 1e-6

    # what the supply lifts by itself -------------------------------------------------------------------------

    def _lifted(self, netlist: Netlist) -> OperatingPoint | None:
        """Return the unit on its supply with converters at rest, volts against the supply's minus."""
        plus, minus = _poles(self._supply)
        source = VoltageSource("bench supply", plus, minus, self._nominal, 0.01, self._limit)
        return _solved(netlist.adding(source), minus)

    @staticmethod
    def _across(point: OperatingPoint | None, plus: str, minus: str) -> float:
        volts = point.voltages if point is not None else {}
        return volts.get(plus, 0.0) - volts.get(minus, 0.0)

    def _reach(self, point: OperatingPoint | None) -> float:
        """Return the share of the good unit's bulk capacitance that the supply charges directly."""
        whole = self._bulk(self._passive_good)
        if whole == 0.0:
            return 1.0
        return min(1.0, self._bulk(point) / whole)

    def _bulk(self, point: OperatingPoint | None) -> float:
        threshold = 2.0 * _REACHED * self._nominal
        capacitors = (one for one in self._good.devices if isinstance(one, Capacitor))
        return sum(c.capacitance_f for c in capacitors if abs(self._across(point, c.plus, c.minus)) > threshold)

    # rails ---------------------------------------------------------------------------------------------------

    def _rails(self) -> Iterator[tuple[str, RailState]]:
        """Yield the rails that live, those that feed others first."""
        waiting = [rail for rail in self._board.rails.values() if self._fed(rail)]
        alive: dict[str, RailState] = {}
        while waiting:
            names = {rail.name for rail in waiting}
            ready = [rail for rail in waiting if self._upstream(rail) not in names - {rail.name}]
            for rail in ready:
                state = self._state(rail, alive)
                if state is not None:
                    alive[rail.name] = state
            waiting = [rail for rail in waiting if rail not in ready] if ready else []
        yield from alive.items()

    def _fed(self, rail: Rail) -> bool:
        return rail.fed_by(self._board.supplies.values()) is self._supply

    def _regulator(self, rail: Rail) -> Any:
        """Return the regulator whose output is this rail, None for other converters."""
        parts = (part for part in self._board.parts.values() if part.kind == "regulator")
        return next((part for part in parts if part.pins.get("output") in rail.nets.values()), None)

    def _upstream(self, rail: Rail) -> str:
        regulator = self._regulator(rail)
        entry = regulator.pins.get("input") if regulator is not None else None
        others = (each for each in self._board.rails.values() if each is not rail and self._fed(each))
        return next((each.name for each in others if entry is not None and each.nets["plus"] == entry), "")

    def _state(self, rail: Rail, alive: Mapping[str, RailState]) -> RailState | None:
        if not self._switched_on(rail) or self._shorted(rail.nets["plus"], rail.nets["minus"]):
            return None
        regulator, upstream = self._regulator(rail), self._upstream(rail)
        if regulator is not None and upstream:
            return self._regulated(rail, regulator, alive.get(upstream))
        poles = rail.nets["plus"], rail.nets["minus"]
        passive, good = self._across(self._passive, *poles), self._across(self._passive_good, *poles)
        if abs(good) > _REACHED * self._nominal and abs(passive) <= _REACHED * self._nominal:
            return None
        if set(_poles(self._supply)) == set(poles):
            return RailState(rail, rail.voltage, 0.0, direct=True)
        converted = not good or not 1.0 / _CONVERTED < abs(rail.voltage / good) < _CONVERTED
        if regulator is not None and any(f.code in STOPS for f in self._faults_of(regulator)):
            return self._regulated(rail, regulator, None)
        if converted and stage_stops(self._board, self._good, self._specimen.faults, rail):
            return RailState(rail, passive, _PASSIVE_OHM, direct=True)
        return self._live(rail, at_least_v=passive)

    def _faults_of(self, part: Any) -> tuple[Any, ...]:
        return self._specimen.faults.of_part(part.designator)

    def _switched_on(self, rail: Rail) -> bool:
        return all(self._now.get(name, wanted) == wanted for name, wanted in rail.switches.items())

    def _regulated(self, rail: Rail, regulator: Any, above: RailState | None) -> RailState | None:
        """A shorted pass device puts its input on the rail; an open one leaves nothing."""
        if above is None:
            return None
        codes = {fault.code for fault in self._faults_of(regulator)}
        if codes & STOPS:
            shorted = "short" in codes
            return RailState(rail, above.voltage_v, 0.05, above.rail.name, joined=True) if shorted else None
        linear = regulator.topology in _DROPOUT_V
        return self._live(rail, above.rail.name if linear else "", _DROPOUT_V.get(regulator.topology, 0.0))

    def _live(self, rail: Rail, upstream: str = "", dropout_v: float = 0.0, at_least_v: float = 0.0) -> RailState:
        lower, upper = rail.spread.interval(rail.voltage)
        drawn = rail.voltage + 0.2 * (upper - lower) * (self._factor(rail.name, 1.0) - 1.0)
        volt = divider_voltage(self._board, self._good, self._faulty, rail) or drawn
        if at_least_v * volt > 0 and abs(at_least_v) > abs(volt):
            volt = at_least_v
        full = max(rail.loads, default=0.0)
        given = rail.load_regulation.max if rail.load_regulation is not None else None
        sag = _USUAL_SAG_SHARE * (given or _USUAL_REGULATION) * abs(rail.voltage)
        limit = rail.ripple.max if rail.ripple is not None and rail.ripple.max else 0.01 * abs(rail.voltage)
        ripple = _USUAL_RIPPLE * limit * self._roughness(rail)
        return RailState(rail, volt, sag / full if full else 0.1, upstream, dropout_v, ripple_v=ripple)

    def _roughness(self, rail: Rail) -> float:
        """Return how much more ripple than usual: bulk capacitors that are dry or gone no longer smooth it."""
        poles = set(rail.nets.values())
        bulk = [
            one
            for one in self._good.devices
            if isinstance(one, Capacitor) and one.capacitance_f >= BULK_FARAD and {one.plus, one.minus} == poles
        ]
        left = self._faulty.by_designator
        whole = sum(one.capacitance_f for one in bulk)
        sound = sum(
            one.capacitance_f
            for one in bulk
            if isinstance(now := left.get(one.designator), Capacitor) and now.series_resistance_ohm < _DRY_OHM
        )
        return whole / max(sound, whole / 20.0) if whole else 1.0

    # what is out of order --------------------------------------------------------------------------------------

    def _with_bridges(self, alive: dict[str, RailState]) -> dict[str, RailState]:
        """Return the rails with the lower of two that are joined at the voltage of the higher."""
        ordered = sorted(alive, key=lambda name: -abs(alive[name].voltage_v))
        for at, high in enumerate(ordered):
            for low in ordered[at + 1 :]:
                nets = alive[high].rail.nets["plus"], alive[low].rail.nets["plus"]
                if self._shorted(*nets, below_ohm=_JOINED_OHM):
                    volt = alive[high].voltage_v
                    alive[low] = replace(alive[low], voltage_v=volt, upstream=high, dropout_v=0.0, joined=True)
        return alive

    def _with_burdens(self, alive: dict[str, RailState]) -> dict[str, RailState]:
        """Return the rails with what faults draw from each: the circuit's current against the good unit's."""
        held = {
            name: (state.rail.nets["plus"], state.rail.nets["minus"], state.voltage_v)
            for name, state in alive.items()
            if not state.joined and not state.direct
        }
        now, good = self._drawn(self._faulty, held), self._drawn(self._good, held)
        for name, state in alive.items():
            extra = abs(now.get(name, 0.0)) - abs(good.get(name, 0.0)) + self._backwards(state.rail.nets)
            if extra > _LEAST_A:
                alive[name] = replace(state, extra_a=extra)
        return alive

    def _drawn(self, netlist: Netlist, held: Mapping[str, tuple[str, str, float]]) -> Mapping[str, float]:
        """Return what rails and supply ("") deliver to a circuit that is held at their voltages, in ampere."""
        plus, minus = _poles(self._supply)
        sources = [VoltageSource("bench supply", plus, minus, self._nominal, 0.01)]
        sources += [VoltageSource(f"held {name}", *where, 0.01) for name, where in held.items()]
        point = _solved(netlist.adding(*sources), minus)
        if point is None:
            return {}
        return {name.removeprefix("bench supply").removeprefix("held "): a for name, a in point.currents.items()}

    def _backwards(self, nets: Mapping[str, str]) -> float:
        """Return what electrolytics the wrong way round draw between two nets, in ampere."""
        poles, found = set(nets.values()), 0.0
        for fault in self._specimen.faults.parts:
            part = self._good.by_designator.get(fault.designator)
            if fault.code == "reversed" and isinstance(part, Capacitor) and {part.plus, part.minus} == poles:
                volts = [self._board.voltage(net) or 0.0 for net in poles]
                found += max(0.0, abs(max(volts) - min(volts)) - _REVERSED_V) / _REVERSED_OHM
        return found

    def _extra_of_supply(self, rails: Mapping[str, RailState]) -> float:
        held = {
            name: (state.rail.nets["plus"], state.rail.nets["minus"], state.voltage_v)
            for name, state in rails.items()
            if not state.joined and not state.direct
        }
        now, good = self._drawn(self._faulty, held), self._drawn(self._good, held)
        extra = now.get("", 0.0) - good.get("", 0.0) + self._backwards(self._supply.nets)
        return extra if extra > _LEAST_A else 0.0

    def _shorted(self, one: str, other: str, below_ohm: float = _SHORT_OHM) -> bool:
        now, good = (self._ohm(netlist, one, other) for netlist in (self._faulty, self._good))
        return now < below_ohm and now < _SHORT_SHARE * good

    def _short(self) -> float:
        """Return the ohms that hold the supply down: what pulls it down by itself, or a shorted rail it feeds."""
        terminals = self._across(self._passive, *_poles(self._supply))
        if self._passive is not None and terminals < _PULLED_DOWN * self._nominal:
            return max(0.02, terminals / self._limit)
        if self._reach(self._passive) == 0.0:
            return math.inf
        fed = (rail.nets for rail in self._board.rails.values() if self._fed(rail) and self._switched_on(rail))
        poles = [(nets["plus"], nets["minus"]) for nets in fed]
        shorts = [self._ohm(self._faulty, *pair) for pair in poles if self._shorted(*pair)]
        return min((_CONVERTER_OHM + ohm for ohm in shorts), default=math.inf)

    @staticmethod
    def _ohm(netlist: Netlist, plus: str, minus: str) -> float:
        return course_between(netlist, plus, minus, _LOOK).at(math.inf)


def _solved(netlist: Netlist, reference: str) -> OperatingPoint | None:
    try:
        return operating_point(netlist, reference)
    except CircuitError:
        return None


def _poles(supply: Supply) -> tuple[str, str]:
    """Return the nets of the supply's positive and negative terminal."""
    plus, minus = supply.nets["plus"], supply.nets["minus"]
    return (plus, minus) if supply.voltage >= 0 else (minus, plus)
