"""What the board would read with one part grossly wrong (gone, shorted, reversed, a decade off), against what was.

A reading speaks for a part only where it differs from what the board reads with that part's own fault in place, by
more than the meter and the spread of the parts around make of it. Each supposed board is solved with its own slopes;
where a semiconductor hardly conducts these say nothing, so it is solved at the ends of their spread as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.errors import CircuitError
from benchcheck.metrology import Budget, Contribution
from benchcheck.score.asked import Asked
from benchcheck.score.inversion import has_junctions, strayed, straying_numbers
from benchcheck.score.neighbours import neighbours
from benchcheck.score.own import Own
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist

__all__ = ["Supposed", "Supposing"]

#: what the test current of a diode function may be off, as a share: nothing on the display depends on it, so nobody
#: adjusts it (common practice, no source).
_TEST_CURRENT = 0.10
#: further than this from what was read, no spread of good parts matters: a volt's share and a share of the larger.
_FAR_V, _FAR_SHARE = 0.3, 0.3
#: a choke of at most 4 ohm may have 0.2: only what is next to nothing beside the other is too far
_FAR_LINEAR = 0.98
_SHORT_OHM = 0.05
_CODES = ("open", "short", "reversed", "decade", "wrong-polarity-type")
#: other parts' faults looked at, the nearest first: what lies further off hardly moves a reading. At a frequency each
#: takes longer.
_MOST, _MOST_ALTERNATING = 200, 60


@dataclass(frozen=True, slots=True)
class Supposed:
    """One fault of one part in words (`R2 open`), and the board with it."""

    part: str
    fault: str
    netlist: Netlist

    def __str__(self) -> str:
        """Return the fault in words."""
        return self.fault


@dataclass(frozen=True, slots=True)
class Supposing:
    """A reading with its budget, and boards that might have given it; `level` is that of the expanded uncertainty."""

    board: Board
    asked: Asked
    netlist: Netlist
    budget: Budget
    level: float

    # what may be wrong -------------------------------------------------------------------------------------------

    def own_faults(self, *, absent_only: bool = False) -> Iterator[Supposed]:
        """Yield the gross faults of the part itself that the check is meant to show: gone first, then reversed.

        With `absent_only` those alone: whether the part is there, and the right way round.
        """
        from benchcheck.circuit.faults import PartFault

        part, kept = self.asked.check.subject, self._rest()
        own = [device for device in self.netlist.devices if device not in kept]
        if not own:
            return
        yield Supposed(part, f"{part} open", self._of(kept))
        for device in own:
            yield from self._lifted_pins(part, device)
            if self.asked.check.function is Function.DIODE and type(device).__name__ in ("Diode", "Zener"):
                yield self._with(PartFault("reversed", device.designator))
        if absent_only:
            return
        yield Supposed(part, f"{part} short", self._of(kept, short=True))
        if len(own) == 1 and type(own[0]).__name__ in ("Resistor", "Capacitor", "Inductor"):
            yield from (self._with(PartFault("decade", own[0].designator, factor=factor)) for factor in (10.0, 0.1))

    def others_faults(self) -> tuple[Supposed, ...]:
        """Return the gross faults of the other parts, of those next to the two nets first; of many the nearest."""
        from benchcheck.circuit.devices import pins
        from benchcheck.circuit.faults import possible_faults

        alternating = self.asked.check.function in (Function.CAPACITANCE, Function.ESR)
        found: list[Supposed] = []
        for device in self._nearest_first():
            across = set(pins(device).values()) == set(self.asked.ports)
            faults = possible_faults(self.netlist, bridges=(), parts={device.designator.partition(":")[0]})
            for fault in faults:
                # a meter of capacitance shows overload on a short, which the model of one at a frequency does not
                shorted = alternating and across and fault.code == "short"
                if fault.designator == device.designator and fault.code in _CODES and not shorted:
                    found.append(self._with(fault))
            if len(found) >= (_MOST_ALTERNATING if alternating else _MOST):
                break
        return tuple(found)

    def _nearest_first(self) -> Iterator[Any]:
        """Yield the devices of other parts, nearest to the two nets first, those on the nets of fewer pins before."""
        from benchcheck.circuit.devices import part_of, pins

        subject, on = self.asked.check.subject, self.netlist.pins_on
        met, edge = set(self.asked.ports), sorted(self.asked.ports, key=lambda net: len(on[net]))
        seen: set[str] = set()
        while edge:
            further: dict[str, None] = {}
            for name in dict.fromkeys(name for net in edge for name, _ in on[net]):
                device = self.netlist.device(name)
                further |= dict.fromkeys(net for net in pins(device).values() if net not in met)
                if name not in seen and part_of(name) != subject:
                    yield device
                seen.add(name)
            met |= further.keys()
            edge = sorted(further, key=lambda net: len(on[net]))

    def _rest(self) -> list[Any]:
        """Return the devices that are not the part's between the two nets."""
        from benchcheck.circuit.devices import part_of, pins

        subject, ports = self.asked.check.subject, set(self.asked.ports)
        return [
            device
            for device in self.netlist.devices
            if part_of(device.designator) != subject or not ports <= set(pins(device).values())
        ]

    def _lifted_pins(self, part: str, device: Any) -> Iterator[Supposed]:
        """Yield a transistor with one of the probed pins not joined: what it does between its other two stays."""
        from benchcheck.circuit.devices import Bjt, pins
        from benchcheck.circuit.faults import PartFault

        if isinstance(device, Bjt):
            for pin, net in pins(device).items():
                if net in self.asked.ports:
                    fault = PartFault("missing-joint", device.designator, (pin,))
                    yield Supposed(part, f"{part} {pin} open", self._with(fault).netlist)

    def _of(self, devices: Sequence[Any], *, short: bool = False) -> Netlist:
        from benchcheck.circuit.devices import Resistor, Switch
        from benchcheck.circuit.netlist import Netlist as Whole

        red, black = self.asked.ports
        pads = Switch("meter:pads", red, black, closed=False)  # where a fault takes the last part off a net
        added = (Resistor("meter:short", red, black, _SHORT_OHM),) if short else ()
        return Whole((*devices, pads, *added), sound=self.netlist.devices)

    def _with(self, fault: Any) -> Supposed:
        from benchcheck.circuit.faults import faulty

        part = fault.designator.partition(":")[0]
        words = str(fault).replace(":", " ")
        return Supposed(part, words, self._of(faulty(self.netlist, fault).devices))

    # what it would read ------------------------------------------------------------------------------------------

    def shown(self, netlist: Netlist) -> float | None:
        """Return what the meter shows; infinite for overload, None where that cannot be solved."""
        try:
            found = self.asked.shown(netlist)
        except CircuitError:
            return None
        return math.inf if found is None else found

    def all_shown(self, netlists: Sequence[Netlist]) -> list[float | None]:
        """Return what the meter shows on each, as `shown`; many in the time of a few where they can be."""
        try:
            found = self.asked.all_shown(netlists)
        except CircuitError:
            return [self.shown(one) for one in netlists]
        return [math.inf if value is None else value for value in found]

    def explains(self, *ends: Netlist, without: str = "") -> bool:
        """Whether what was read is what boards between these ends read, within expanded uncertainty.

        The spread of the part `without` is left out: the ends are what it may be.
        """
        shown = [(value, end) for end in ends if (value := self.shown(end)) is not None]
        if not shown:
            return False
        read = self.budget.value
        if min(value for value, _ in shown) <= read <= max(value for value, _ in shown):
            return True
        value, nearest = min(shown, key=lambda pair: abs(pair[0] - read))
        return abs(value - read) <= self.uncertainty(nearest, value, without)

    def uncertainty(self, netlist: Netlist, value: float, without: str = "") -> float:
        """Return the expanded uncertainty of the reading less what this board would read; infinite where a good
        part's spread leads to overload, 0 where the two lie so far apart that no spread matters.
        """
        gap = abs(value - self.budget.value)
        junctions = has_junctions(netlist)
        if not math.isfinite(gap) or self._far(gap, value, junctions=junctions):
            return 0.0
        around = self._around(netlist, value, without, junctions=junctions)
        if around is None:
            return math.inf
        wide = self._expanded(around)
        return min(wide, self._bound(netlist, value, without)) if junctions and gap <= wide else wide

    def _expanded(self, around: Sequence[Contribution]) -> float:
        budget = Budget(0.0, self.budget.quantity_unit, (*self.budget.contributions, *around))
        return budget.coverage(self.level).expanded_uncertainty

    def _bound(self, netlist: Netlist, value: float, without: str) -> float:
        """Return how far a supposed reading goes towards what was read with all that is warm or junction at its end.

        Where that end lies orders of magnitude away a sum of widths goes through zero, and the reading does not.
        """
        numbers, kelvin = straying_numbers(self.board, netlist, without), self.asked.ambient_k
        ends = [(strayed(netlist, numbers, share), self.asked.warmer(-share * kelvin)) for share in (-1.0, 1.0)]
        reached = []
        for end, asked in ends:
            there = replace(self, asked=asked)
            shown = self._towards(value, [there.shown(end)])
            if shown is None:
                return math.inf
            slopes = asked.solved(end).slopes()
            every = neighbours(self.board, end, Own("", "", 0.0), slopes, 1.0)
            ids = {number.id for number in numbers}
            rest = [each for name, each in every if name != without and each.id not in ids]
            reached.append(shown + self._expanded([*rest, *there._test_current(end, value)]))
        return max(reached)

    def _far(self, gap: float, value: float, *, junctions: bool) -> bool:
        larger = max(abs(value), abs(self.budget.value))
        if self.asked.check.function is Function.DIODE:
            return gap > _FAR_V + _FAR_SHARE * larger
        return not junctions and gap > max(_FAR_LINEAR * larger, self._expanded(()))

    def _around(self, netlist: Netlist, value: float, without: str, *, junctions: bool) -> list[Contribution] | None:
        """Return what good parts and the meter's current may make of a supposed reading; None for overload."""
        slopes = self.asked.solved(netlist).slopes()
        every = neighbours(self.board, netlist, Own("", "", 0.0), slopes, 1.0)
        found = [each for name, each in every if name != without]
        if junctions:
            numbers = straying_numbers(self.board, netlist, without)
            by_spread = [strayed(netlist, numbers, share) for share in (-1.0, 1.0)] if numbers else []
            kelvin = self.asked.ambient_k
            moved = self._towards(value, [self.shown(each) for each in by_spread])
            warm = self._towards(value, [self._warmer(netlist, each) for each in (-kelvin, kelvin)])
            if moved is None or warm is None:
                return None
            found = _at_ends(found, {number.id for number in numbers}, moved)
            found.append(Contribution.from_limits("ambient.beside", "ambient on the junctions beside", warm))
        return found + self._test_current(netlist, value)

    def _towards(self, value: float, ends: Sequence[float | None]) -> float | None:
        """Return how far a supposed reading moves at its ends towards what was read; None: beyond display."""
        up = self.budget.value > value
        moved = [0.0]
        for end in ends:
            if end is None or (up and not math.isfinite(end)):
                return None
            moved.append(end - value if up else value - end)
        return max(moved)

    def _warmer(self, netlist: Netlist, kelvin: float) -> float | None:
        try:
            return self.asked.warmer(kelvin).shown(netlist)
        except CircuitError:
            return None

    def _test_current(self, netlist: Netlist, value: float) -> list[Contribution]:
        excitation = self.asked.excitation
        if self.asked.check.function is not Function.DIODE:
            return []
        more = replace(excitation, test_current_a=excitation.test_current_a * (1.0 + _TEST_CURRENT))
        shown = replace(self.asked, excitation=more).shown(netlist)
        wide = abs(shown - value) if shown is not None else math.inf
        if not math.isfinite(wide):
            wide = _TEST_CURRENT * abs(value)
        label = f"test current, good to {_TEST_CURRENT:.0%}"
        return [Contribution.from_limits("meter.test_current", label, wide, origin="common practice, no source")]

    # who takes part ----------------------------------------------------------------------------------------------

    def beside(self) -> tuple[str, ...]:
        """Return the other parts that matter most to the reading of the good board, the largest first."""
        try:
            slopes = self.asked.solved(self.netlist).slopes()
        except CircuitError:
            return ()
        effects: dict[str, float] = {}
        for name, each in neighbours(self.board, self.netlist, Own("", "", 0.0), slopes, 1.0):
            effects[name] = effects.get(name, 0.0) + each.output_uncertainty
        effects.pop(self.asked.check.subject, None)
        return tuple(sorted((name for name in effects if effects[name] > 0.0), key=lambda name: -effects[name]))


def _at_ends(found: Sequence[Contribution], ids: set[str], moved: float) -> list[Contribution]:
    """Return contributions, those of the semiconductors as large together as their ends make them."""
    straight = math.fsum(abs(each.sensitivity) * (each.half_width or 0.0) for each in found if each.id in ids)
    if straight <= 0.0:
        beside = Contribution.from_limits("ends.beside", "junctions at their ends", moved)
        return [*(each for each in found if each.id not in ids), beside]
    share = moved / straight
    return [replace(each, sensitivity=each.sensitivity * share) if each.id in ids else each for each in found]
