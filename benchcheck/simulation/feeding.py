"""What of a unit comes alive when its supply is on: which rails, at which voltage, and what is shorted or cut off.

Plain rules over the circuit. A rail is reached when the supply, put on the unit with converters at rest, still lifts
it (through fuse, switch, coil and diode of a boost converter, say) as it does on the good unit; a rail behind a
regulator lives when the regulator's input does. A converter with a part out of order only passes that voltage on. A
rail or supply whose resistance collapsed against the good unit's is shorted and keeps the supply in its limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, Resistor, VoltageSource
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.operating_point import operating_point
from benchcheck.errors import CircuitError
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.simulation.probing import course_between
from benchcheck.simulation.specimen import Positions, Specimen
from benchcheck.simulation.world import Excitation

__all__ = ["Feeding", "RailState", "feeding_of"]

_REACHED = 0.25  # of the supply voltage
_SHORT_OHM, _SHORT_SHARE = 10.0, 0.2
#: looks for shorts with too little voltage to turn a junction on.
_LOOK = Excitation(Function.LOW_POWER_OHMS, 1e-3, 0.2)
_STOPS = frozenset({"open", "short", "missing-joint", "swapped-pins", "wrong-polarity-type", "reversed", "bridge"})
_SWITCHES = ("diode", "inductor", "mosfet", "bjt", "winding")
_BULK_FARAD = 1e-6
_CONVERTED = 1.1
#: a linear regulator needs this between input and output, a low-dropout one that (data sheets: LM78XX 2 V).
_DROPOUT_V = {"linear": 2.0, "low-dropout": 0.3}
_UNSTATED_IDLE_A, _UNSTATED_FARAD, _STUB_FARAD = 0.01, 47e-6, 1e-6


@dataclass(frozen=True, slots=True)
class RailState:
    """A rail that lives: volt without load, the ohm it sags by, and where its current comes from.

    `upstream` is the rail a linear regulator takes it from ("" for the supply), `dropout_v` what that needs;
    `direct`: no conversion, the current is the supply's own; `ripple_v` rms at full load.
    """

    rail: Rail
    voltage_v: float
    sag_ohm: float
    upstream: str = ""
    dropout_v: float = 0.0
    direct: bool = False
    ripple_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Feeding:
    """What one switch position and one set of faults make of a supply: rails by name, and what the supply sees.

    `capacitance_farad` charges first; `short_ohm` is what holds the supply down (infinite: nothing), at its terminals
    or, where `short_on_rail`, behind a converter; `leak_ampere` flows with nothing alive; `bleed_ohm` empties it.
    """

    supply: Supply
    rails: Mapping[str, RailState]
    idle_watt: float
    start_v: float
    capacitance_farad: float
    short_ohm: float = math.inf
    leak_ampere: float = 0.0
    bleed_ohm: float = math.inf
    passive: Mapping[str, float] | None = None


def feeding_of(specimen: Specimen, supply: Supply, positions: Positions) -> Feeding:
    """Return what comes alive on one supply with the switches as given (others at rest)."""
    return _Feeder(specimen, supply, positions).feeding()


class _Feeder:
    """Works out one `Feeding`."""

    def __init__(self, specimen: Specimen, supply: Supply, positions: Positions) -> None:
        self._specimen, self._board, self._supply, self._positions = specimen, specimen.board, supply, positions
        self._faulty, self._good = specimen.netlist(positions), specimen.good({})
        self._passive = self._lifted(self._faulty)
        self._lifted_good = self._lifted(self._good)

    def feeding(self) -> Feeding:
        supply, nominal = self._supply, abs(self._supply.voltage)
        reached = self._reach(self._passive)
        idle_a = 0.62 * (supply.idle_max_a or 2.0 * _UNSTATED_IDLE_A) * self._factor("idle", 0.06)
        rails = dict(self._rails())
        volts = [nominal, *(abs(each) for each in supply.voltages.values())]
        return Feeding(
            supply,
            rails,
            nominal * idle_a if rails or (not self._board.rails and reached > 0.0) else 0.0,
            0.6 * min(volts),
            max(_STUB_FARAD, reached * (supply.input_capacitance or _UNSTATED_FARAD)),
            self._short(),
            self._leak(),
            self._ohm(self._faulty, *_poles(supply)),
            self._passive,
        )

    def _factor(self, what: str, spread: float) -> float:
        return 1.0 + spread * self._specimen.chance(f"powered {what}").uniform(-1.0, 1.0)

    def _leak(self) -> float:
        off = self._supply.off_current
        return 0.45 * off.max * self._factor("off", 0.2) if off is not None and off.max else 1e-6

    # what the supply lifts by itself -------------------------------------------------------------------------

    def _lifted(self, netlist: Netlist) -> Mapping[str, float]:
        """Return the volts of nets against the supply's minus with converters at rest, empty when nobody knows."""
        plus, minus = _poles(self._supply)
        volt = abs(self._supply.voltage)
        source = VoltageSource("bench:supply", plus, minus, volt, 0.01, self._supply.current_limit or 1.0)
        try:
            return operating_point(netlist.adding(source), minus).voltages
        except CircuitError:
            return {}

    def _across(self, volts: Mapping[str, float], nets: Mapping[str, str]) -> float:
        return volts.get(nets["plus"], 0.0) - volts.get(nets["minus"], 0.0)

    def _reach(self, volts: Mapping[str, float]) -> float:
        """Return the share of the good unit's bulk capacitance that the supply charges directly."""
        found, whole = self._bulk(volts), self._bulk(self._lifted_good)
        if whole == 0.0:
            return 1.0 if set(_poles(self._supply)) <= set(self._faulty.pins_on) or not self._faulty.devices else 0.0
        return min(1.0, found / whole)

    def _bulk(self, volts: Mapping[str, float]) -> float:
        threshold = 2.0 * _REACHED * abs(self._supply.voltage)
        return sum(
            one.capacitance_f
            for one in self._good.devices
            if isinstance(one, Capacitor) and abs(volts.get(one.plus, 0.0) - volts.get(one.minus, 0.0)) > threshold
        )

    # rails ---------------------------------------------------------------------------------------------------

    def _rails(self) -> Iterator[tuple[str, RailState]]:
        fed = [
            rail for rail in self._board.rails.values() if rail.fed_by(self._board.supplies.values()) is self._supply
        ]
        alive: dict[str, RailState] = {}
        waiting = fed
        while waiting:
            again = []
            for rail in waiting:
                upstream = self._upstream(rail, fed)
                if upstream in {other.name for other in waiting if other is not rail}:
                    again.append(rail)
                    continue
                state = self._state(rail, upstream, alive)
                if state is not None:
                    alive[rail.name] = state
            if len(again) == len(waiting):
                break
            waiting = again
        yield from alive.items()

    def _regulator(self, rail: Rail) -> Any:
        """Return the regulator whose output is this rail, None for other converters."""
        for part in self._board.parts.values():
            if part.kind == "regulator" and part.pins.get("output") in rail.nets.values():
                return part
        return None

    def _upstream(self, rail: Rail, fed: list[Rail]) -> str:
        regulator = self._regulator(rail)
        if regulator is None:
            return ""
        entry = regulator.pins.get("input")
        return next((each.name for each in fed if entry in each.nets.values() and each is not rail), "")

    def _state(self, rail: Rail, upstream: str, alive: Mapping[str, RailState]) -> RailState | None:
        if not self._switched_on(rail) or self._shorted(rail.nets):
            return None
        regulator = self._regulator(rail)
        own = set(_poles(self._supply)) == set(rail.nets.values())
        if regulator is not None and upstream:
            broken = any(fault.code in _STOPS for fault in self._specimen.faults.of_part(regulator.designator))
            if upstream not in alive:
                return None
            if broken:
                return self._broken_regulator(rail, regulator, alive[upstream])
            linear = regulator.topology in _DROPOUT_V
            return self._live(rail, upstream if linear else "", _DROPOUT_V.get(regulator.topology, 0.0))
        passive, good = self._across(self._passive, rail.nets), self._across(self._lifted_good, rail.nets)
        threshold = _REACHED * abs(self._supply.voltage)
        if abs(good) > threshold and abs(passive) <= threshold:
            return None
        if own:
            return RailState(rail, rail.voltage, 0.0, direct=True)
        if self._converter_stops(rail, good):
            return RailState(rail, passive, 1.0, direct=True)
        return self._live(rail, "", 0.0)

    def _switched_on(self, rail: Rail) -> bool:
        now = {**self._specimen.rest(), **self._positions}
        return all(now.get(name, wanted) == wanted for name, wanted in rail.switches.items())

    def _broken_regulator(self, rail: Rail, regulator: Any, above: RailState) -> RailState | None:
        """A shorted pass device puts its input on the rail; an open one leaves nothing."""
        shorted = any(f.code == "short" for f in self._specimen.faults.of_part(regulator.designator))
        return RailState(rail, above.voltage_v, 0.05, above.rail.name) if shorted else None

    def _live(self, rail: Rail, upstream: str, dropout_v: float) -> RailState:
        nominal, spread = rail.voltage, rail.spread
        lower, upper = spread.interval(nominal)
        voltage = self._set_by_divider(rail) or nominal + 0.2 * (upper - lower) * (self._factor(rail.name, 1.0) - 1.0)
        full = max(rail.loads, default=0.0)
        allowed = rail.load_regulation.max if rail.load_regulation and rail.load_regulation.max else 0.02
        sag = 0.3 * allowed * abs(nominal) / full if full else 0.1
        limit = rail.ripple.max if rail.ripple is not None and rail.ripple.max else 0.01 * abs(nominal)
        return RailState(rail, voltage, sag, upstream, dropout_v, ripple_v=0.06 * limit * self._ripples(rail))

    def _ripples(self, rail: Rail) -> float:
        """Return how much more ripple than usual: bulk capacitors that are dry or gone no longer smooth it."""
        bulk = [
            one
            for one in self._good.devices
            if isinstance(one, Capacitor) and one.capacitance_f >= _BULK_FARAD and one.plus == rail.nets["plus"]
        ]
        left = self._faulty.by_designator
        sound = sum(
            one.capacitance_f
            for one in bulk
            if isinstance(now := left.get(one.designator), Capacitor) and now.series_resistance_ohm < 10.0
        )
        whole = sum(one.capacitance_f for one in bulk)
        return 1.0 if not whole else min(20.0, whole / max(sound, whole / 20.0))

    def _set_by_divider(self, rail: Rail) -> float:
        """Return the volts a feedback divider of this unit sets: the stated voltage of its tap times the ratio."""
        plus, minus = rail.nets["plus"], rail.nets["minus"]
        for name, net in self._board.nets.items():
            if net.voltage and rail.voltage and 0.0 < net.voltage / rail.voltage < 1.0:
                above, below = (self._conductance(self._good, name, end) for end in (plus, minus))
                if above and below and rail.spread.interval(rail.voltage)[0] < net.voltage * (1.0 + below / above):
                    above, below = (self._conductance(self._faulty, name, end) for end in (plus, minus))
                    top = 2.0 * abs(rail.voltage)
                    return min(top, net.voltage * (1.0 + below / above)) if above else top
        return 0.0

    @staticmethod
    def _conductance(netlist: Netlist, one: str, other: str) -> float:
        return sum(
            1.0 / each.resistance_ohm
            for each in netlist.devices
            if isinstance(each, Resistor) and {each.a, each.b} == {one, other}
        )

    # what is out of order --------------------------------------------------------------------------------------

    def _converter_stops(self, rail: Rail, good_v: float) -> bool:
        """Whether this rail is converted and a part or net of its converter is out of order."""
        if abs(good_v) and 1.0 / _CONVERTED < abs(rail.voltage / good_v) < _CONVERTED:
            return False
        parts, nets = self._converter(rail)
        faults = self._specimen.faults
        hit = any(f.designator.partition(":")[0] in parts and f.code in _STOPS for f in faults.parts)
        return hit or any(f.code == "bridge" and nets & set(f.where) for f in faults.parts)

    def _converter(self, rail: Rail) -> tuple[set[str], set[str]]:
        """Return the parts and inner nets of a switching stage: what hangs on coil, diode and switch at the rail."""
        edges = self._edges()
        begin = [
            name for name, _ in self._board.touching(rail.nets["plus"]) if self._board.parts[name].kind in _SWITCHES
        ]
        parts, nets, waiting = set(begin), set[str](), list(begin)
        while waiting:
            for net in self._board.nets_of(waiting.pop()).values():
                if net in edges or net in nets:
                    continue
                nets.add(net)
                fresh = [
                    name for name, _ in self._board.touching(net) if name not in parts and self._drives(name, edges)
                ]
                parts.update(fresh)
                waiting.extend(fresh)
        return parts, nets

    def _drives(self, designator: str, edges: set[str]) -> bool:
        """Whether a part on an inner net carries the converter: not a resistor or capacitor to ground."""
        part = self._board.parts[designator]
        return part.kind in _SWITCHES or (part.kind == "resistor" and not edges & set(part.pins.values()))

    def _edges(self) -> set[str]:
        """Return the nets that do not swing: ground, supplies, rails and what a bulk capacitor holds."""
        fed: tuple[Rail | Supply, ...] = (*self._board.rails.values(), *self._board.supplies.values())
        held = {net for one in fed for net in one.nets.values()}
        for one in self._good.devices:
            if isinstance(one, Capacitor) and one.capacitance_f >= _BULK_FARAD:
                held |= {one.plus, one.minus}
        return held

    def _shorted(self, nets: Mapping[str, str]) -> bool:
        now, good = (self._ohm(n, nets["plus"], nets["minus"]) for n in (self._faulty, self._good))
        return now < _SHORT_OHM and now < _SHORT_SHARE * good

    def _short(self) -> float:
        """Return the ohms that hold the supply down: at its terminals, or a shorted rail behind the converter."""
        poles = dict(zip(("plus", "minus"), _poles(self._supply), strict=True))
        if self._shorted(poles):
            return max(0.02, self._ohm(self._faulty, poles["plus"], poles["minus"]))
        fed = (rail for rail in self._board.rails.values() if self._reaches(rail))
        shorts = [self._ohm(self._faulty, r.nets["plus"], r.nets["minus"]) for r in fed if self._shorted(r.nets)]
        return min((0.5 + ohm for ohm in shorts), default=math.inf)

    def _reaches(self, rail: Rail) -> bool:
        mine = rail.fed_by(self._board.supplies.values()) is self._supply
        return mine and self._switched_on(rail) and self._reach(self._passive) > 0.0

    @staticmethod
    def _ohm(netlist: Netlist, plus: str, minus: str) -> float:
        return course_between(netlist, plus, minus, _LOOK).at(math.inf)


def _poles(supply: Supply) -> tuple[str, str]:
    """Return the nets of the supply's positive and negative terminal."""
    plus, minus = supply.nets["plus"], supply.nets["minus"]
    return (plus, minus) if supply.voltage >= 0 else (minus, plus)
