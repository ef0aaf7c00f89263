"""A virtual unit: one specimen of a board with its faults, to be probed unpowered and run on a supply.

It offers the protocol of `world.VirtualBench` to simulated instruments, and to a hand the means to place probes, move
switches and discharge. Unpowered readings are solved; powered behaviour is that of `powered.Powered` at the
terminals, and of the circuit with its rails held inside. `pace` lets charging and bleeding run faster than life.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Mosfet, VoltageSource
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.solution import operating_point
from benchcheck.errors import CircuitError
from benchcheck.kinds.check import Check
from benchcheck.simulation.courses import courses_between
from benchcheck.simulation.feeding import Feeding, feeding_of
from benchcheck.simulation.placing import Placement, between_nets, placement_of
from benchcheck.simulation.powered import Powered
from benchcheck.simulation.probing import Course, course_between
from benchcheck.simulation.specimen import Specimen
from benchcheck.simulation.world import Excitation, OperatingPoint, Sink, Source
from benchcheck.spec.board import Board

__all__ = ["VirtualUnit"]

_LEADS_OHM, _CONTACTS_OHM = 0.25, 0.005  # of leads; of good tips, all that a null leaves
_DRIVING = (Function.OHMS, Function.LOW_POWER_OHMS, Function.OHMS_4W, Function.CONTINUITY, Function.DIODE)
_WITH_LEADS = (Function.OHMS, Function.LOW_POWER_OHMS, Function.CONTINUITY, Function.ESR)
_OPEN_READS_OVERLOAD = (*_DRIVING, Function.ESR)
_RESIDUAL_S = 120.0  # how slowly charge left on the unit goes: its dielectric gives back what is taken
_QUIET_V = 1e-3
_STEP_V = 5e-4  # voltages are solved in steps of this


class VirtualUnit:
    """One unit; `faults` as a user writes them, `seed` its identity, `pace` how much faster than life charge runs."""

    def __init__(
        self, board: Board, faults: Iterable[str] = (), seed: int = 0, *, pace: float = 1.0, leads_ohm: float = 0.005
    ) -> None:
        """Build it; `leads_ohm` is what the meter's leads add. UsageError for faults the board cannot have."""
        self.board, self.pace = board, pace
        self.specimen = Specimen(board, faults, seed)
        self.positions: dict[str, str] = self.specimen.rest()
        self.placement: Placement | None = None
        self._placed_s: float | None = None
        self._lock = threading.RLock()
        self._courses: dict[object, Course] = {}
        self._foreseen: set[object] = set()
        self._feedings: dict[object, Feeding] = {}
        self._solved: dict[object, Mapping[str, float]] = {}
        self._decays: dict[str, float] = {}
        faulty = self.specimen.faults
        self.leads_ohm = _LEADS_OHM if faulty.operator_does("leads-not-nulled") else leads_ohm
        self.swapped = faulty.operator_does("probes-swapped")
        self._lead_open, self._tips_joined = (faulty.operator_does(word) for word in ("lead-open", "tips-joined"))
        self._supply = next(iter(board.supplies.values()), None)
        self.powered = Powered(self._feeding, self._decay_s, pace)
        self._residual = self.specimen.residual() if faulty.operator_does("residual-charge") else None
        self._begun_s: float | None = None
        self._now_s = 0.0

    # the hand ------------------------------------------------------------------------------------------------

    def place(self, check: Check) -> None:
        """Put the probes where a check wants them, switches as it states and others at rest, the load on its rail."""
        if check.powered:
            self.foresee_power(dict(check.switches))
        with self._lock:
            self.switch(dict(check.switches))
            self._put(placement_of(self.specimen, check))
            if check.load_a is not None:
                self._connect_load(check)

    def foresee(self, excitations: Iterable[Excitation]) -> None:
        """Solve what checks will ask for with the switches as they are, all pairs of a range in one go.

        Nothing waits for it but the caller: instruments go on answering meanwhile, which a real bench does too.
        """
        where, netlist = self._where(), self._probed_netlist()
        for excitation in excitations:
            if excitation.function in _DRIVING and (where, excitation) not in self._foreseen:
                self._foreseen.add((where, excitation))
                found = courses_between(netlist, tuple(self._pairs(excitation.function)), excitation)
                for pair, course in found.items():
                    self._courses.setdefault((where, *pair, excitation), course)

    def foresee_power(self, positions: Mapping[str, str] | None = None) -> None:
        """Work out what comes alive with switches in these positions, others at rest, and how rails bleed."""
        if self._supply is None:
            return
        wanted = {**self.specimen.rest(), **(positions or {})}
        key = tuple(sorted(wanted.items()))
        if key not in self._feedings:
            self._feedings[key] = feeding_of(self.specimen, self._supply, wanted)
        for rail in self.board.rails:
            self._decay_s(rail)

    def _pairs(self, function: Function) -> Iterator[tuple[str, str]]:
        """Yield the pairs of nets that checks of a function ask for with the switches as they are."""
        rest = self.specimen.rest()
        for check in self.board.checks:
            if check.function is function and {**rest, **dict(check.switches)} == self.positions:
                held = _held(placement_of(self.specimen, check), swapped=self.swapped)
                if held is not None:
                    yield held

    def place_between(self, red: str, black: str) -> None:
        """Put red and black on two nets."""
        with self._lock:
            self._put(between_nets(red, black))

    def lift(self) -> None:
        """Take the probes away."""
        with self._lock:
            self._put(None)

    def switch(self, positions: Mapping[str, str]) -> None:
        """Bring the named switches into position, all others to rest."""
        with self._lock:
            wanted = {**self.specimen.rest(), **positions}
            if wanted != self.positions:
                self.positions = wanted
                self.powered.changed()

    def discharge(self) -> None:
        """Empty every capacitor through a resistor."""
        with self._lock:
            self.powered.discharge()
            self._residual = None

    def connect_load(self, rail: str) -> None:
        """Clip the electronic load to a rail."""
        with self._lock:
            self.powered.load_rail = rail

    def connect_dummy(self, rail: str, ohm: float) -> None:
        """Put a resistor across a rail, infinite: take it off."""
        with self._lock:
            self.powered.dummies_ohm[rail] = ohm

    def _connect_load(self, check: Check) -> None:
        rails = self.board.rails
        nets = {probe.net for probe in (check.red, check.black) if probe is not None}
        names = [check.subject] if check.subject in rails else []
        names += [name for name, rail in rails.items() if rail.nets["plus"] in nets]
        if names:
            self.powered.load_rail = names[0]

    def _put(self, placement: Placement | None) -> None:
        self.placement, self._placed_s = placement, None

    # the instruments -----------------------------------------------------------------------------------------

    def drive(self, source: Source, now_s: float) -> None:
        """Take over a new setting of the supply."""
        with self._lock:
            if self._supply is not None:
                self.powered.drive(source, now_s)

    def sink(self, sink: Sink, now_s: float) -> None:
        """Take over a new setting of the load."""
        with self._lock:
            if self._supply is not None:
                self.powered.sink(sink, now_s)

    def supply_point(self, now_s: float) -> OperatingPoint:
        """Return what the supply's terminals carry."""
        with self._lock:
            return self.powered.supply_point(now_s) if self._supply is not None else OperatingPoint(0.0, 0.0)

    def load_point(self, now_s: float) -> OperatingPoint:
        """Return what the load's terminals carry."""
        with self._lock:
            return self.powered.load_point(now_s) if self._supply is not None else OperatingPoint(0.0, 0.0)

    def probed(self, excitation: Excitation, now_s: float) -> float:
        """Return the true value between the meter's probes in SI; infinite for open or beyond compliance."""
        with self._lock:
            self._now_s = now_s
            self._begun_s = now_s if self._begun_s is None else self._begun_s
            if self._supply is not None:
                self.powered.advance(now_s)
            if self._placed_s is None:
                self._placed_s = now_s
            return self._seen(self.placement, excitation, (now_s - self._placed_s) * self.pace)

    def settled(self, check: Check, excitation: Excitation) -> float:
        """Return what a meter shows for a check in the end, in SI; places the probes."""
        with self._lock:
            self.place(check)
            return self._seen(self.placement, excitation, math.inf)

    # what is seen --------------------------------------------------------------------------------------------

    def _seen(self, placement: Placement | None, excitation: Excitation, elapsed_s: float) -> float:
        function = excitation.function
        if placement is not None and placement.series:
            return self.powered.supply_point_now().current_ampere if function is Function.DC_CURRENT else 0.0
        if (never := self.never_on_the_board(function)) is not None:
            return never
        if placement is None:
            return self._course("", " ", excitation).at(math.inf)
        leads = self.added_ohm(function)
        if placement.value is not None:
            return self._own_value(placement, function, placement.value) + leads
        red, black = self.probes or ("", " ")
        if function is Function.DC_VOLTAGE:
            return self._volts(red, black)
        if function is Function.AC_VOLTAGE:
            return self._ripple(red, black)
        charge_v = self._volts(red, black) if self.holds_charge and function is not Function.ESR else 0.0
        if function is Function.CAPACITANCE or abs(charge_v) < _QUIET_V:
            charge_v = 0.0
        return self._course(red, black, excitation).at(elapsed_s, charge_v) + leads

    def never_on_the_board(self, function: Function) -> float | None:
        """Return what is read whatever the tips touch, where a lead is open or the tips joined, in SI, else None."""
        if self._tips_joined:
            return math.inf if function is Function.CAPACITANCE else self.added_ohm(function)
        if not self._lead_open:
            return None
        return math.inf if function in _OPEN_READS_OVERLOAD else 0.0

    @property
    def probes(self) -> tuple[str, str] | None:
        """The nets under red and black as they are held, None where the probes are not on two nets."""
        return None if self._lead_open or self._tips_joined else _held(self.placement, swapped=self.swapped)

    @property
    def netlist(self) -> Netlist:
        """The unit as it lies there: with its faults, its switches as they are, charged gates included."""
        return self._probed_netlist()

    @property
    def holds_charge(self) -> bool:
        """Whether any voltage stands on the unit: power, or charge that was left."""
        return self.powered.holds_charge or self._residual is not None

    def added_ohm(self, function: Function) -> float:
        """Return what the leads add to a reading, in ohm; an ESR meter has leads of its own, nulled as a rule."""
        if function is Function.ESR and self.leads_ohm != _LEADS_OHM:
            return _CONTACTS_OHM
        return self.leads_ohm if function in _WITH_LEADS else 0.0

    def seen_between(self, red: str, black: str, excitation: Excitation) -> float:
        """Return what a meter shows in the end with its probes held on two nets, in SI."""
        never = self.never_on_the_board(excitation.function)
        with self._lock:
            there = self._course(red, black, excitation).at(math.inf) + self.added_ohm(excitation.function)
        return there if never is None else never

    def _own_value(self, placement: Placement, function: Function, value: float) -> float:
        """Return the value of what is no pair of nets, for the function its check is meant for."""
        check = placement.check
        if check is not None and check.function is not function:
            return 0.0 if function in (Function.DC_VOLTAGE, Function.AC_VOLTAGE, Function.DC_CURRENT) else math.inf
        return -value if self.swapped and function is Function.DC_VOLTAGE else value

    def _netlist(self) -> Netlist:
        return self.specimen.netlist(self.positions)

    def _where(self) -> tuple[tuple[str, str], ...]:
        return tuple(sorted(self.positions.items()))

    def _course(self, red: str, black: str, excitation: Excitation) -> Course:
        key = (self._where(), red, black, excitation)
        if key not in self._courses:
            self._courses[key] = course_between(self._probed_netlist(), red, black, excitation)
        return self._courses[key]

    def _probed_netlist(self) -> Netlist:
        """Return the netlist as the probes find it: with the charge of a touch on gates that nothing holds."""
        netlist = self._netlist()
        if not self.specimen.faults.operator_does("charged-gate"):
            return netlist
        return Netlist(
            replace(one, stored_gate_v=6.0 if one.channel == "N" else -6.0) if isinstance(one, Mosfet) else one
            for one in netlist.devices
        )

    # under power -----------------------------------------------------------------------------------------------

    def _feeding(self) -> Feeding:
        assert self._supply is not None
        key = self._where()
        if key not in self._feedings:
            self._feedings[key] = feeding_of(self.specimen, self._supply, self.positions)
        return self._feedings[key]

    def _decay_s(self, rail: str) -> float:
        """Return the time constant with which a rail bleeds through the unit, in second."""
        if rail not in self._decays:
            poles = self.board.rails[rail].nets
            look = Excitation(Function.OHMS, 1e-4, 2.0)
            course = course_between(self._netlist(), poles["plus"], poles["minus"], look)
            self._decays[rail] = min(60.0, max(1e-3, course.time_constant_s))
        return self._decays[rail]

    def _volts(self, red: str, black: str) -> float:
        if not self.holds_charge:
            return 0.0
        for name, rail in self.board.rails.items():
            poles = rail.nets["plus"], rail.nets["minus"]
            if (red, black) in (poles, poles[::-1]) and self._holds(name):
                volt = self.powered.rail_v(name)
                return volt if (red, black) == poles else -volt
        volts = self._solved_nets()
        return volts.get(red, 0.0) - volts.get(black, 0.0)

    def _holds(self, name: str) -> bool:
        """Whether a rail's voltage is its own, not what the supply lifts it to."""
        state = self.powered.fed.rails.get(name) if self._supply is not None else None
        return (self.powered.running and state is not None) or self._lingers(name)

    def _lingers(self, name: str) -> bool:
        return not self.powered.running and abs(self.powered.rail_v(name)) > _QUIET_V

    def _solved_nets(self) -> Mapping[str, float]:
        """Return the volts of all nets with supply and living rails held at what they have."""
        held: list[tuple[str, str, str, float]] = []
        if self._supply is not None and self.powered.input_v > _QUIET_V:
            poles = self._supply.nets
            sign = -1.0 if self._supply.voltage < 0 else 1.0
            held.append(("supply", poles["plus"], poles["minus"], sign * self.powered.input_v))
        for name, rail in self.board.rails.items():
            state = self.powered.fed.rails.get(name) if self._supply is not None else None
            if (self._holds(name) or self._lingers(name)) and not (state is not None and state.direct):
                held.append((name, rail.nets["plus"], rail.nets["minus"], self.powered.rail_v(name)))
        if self._residual is not None and not held:
            plus, minus, volt = self._residual
            held.append(("charge", plus, minus, volt * math.exp(-self._elapsed_s() / _RESIDUAL_S)))
        key = (self._where(), tuple((name, round(volt / _STEP_V)) for name, _, _, volt in held))
        if key not in self._solved:
            self._solved[key] = self._nets_with(held)
        return self._solved[key]

    def _elapsed_s(self) -> float:
        return 0.0 if self._begun_s is None else self._now_s - self._begun_s

    def _nets_with(self, held: list[tuple[str, str, str, float]]) -> Mapping[str, float]:
        if not held:
            return {}
        sources = (VoltageSource(f"held {name}", plus, minus, volt, 0.01) for name, plus, minus, volt in held)
        ground = self.board.ground() or held[0][2]
        try:
            return operating_point(self._netlist().adding(*sources), ground).voltages
        except CircuitError:
            return {plus: volt for _, plus, _, volt in held}

    def _ripple(self, red: str, black: str) -> float:
        """Return the ripple of a living rail as rms, in volt: it grows with the load."""
        if self._supply is None or not self.powered.running:
            return 0.0
        for name, state in self.powered.fed.rails.items():
            if {red, black} == set(state.rail.nets.values()):
                full = max(state.rail.loads, default=0.0)
                share = self.powered.rail_load_a(name) / full if full else 1.0
                return state.ripple_v * (0.3 + 0.7 * min(1.5, share))
        return 0.0


def _held(placement: Placement | None, *, swapped: bool) -> tuple[str, str] | None:
    """Return the nets under red and black, None where the probes are not on two nets."""
    if placement is None or placement.red is None or placement.black is None:
        return None
    return (placement.black, placement.red) if swapped else (placement.red, placement.black)
