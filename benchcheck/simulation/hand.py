"""A simulated hand: places probes, moves switches, looks at parts, and reads the displays nobody can read by link."""

from __future__ import annotations

import math
from collections.abc import Callable

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check
from benchcheck.simulation.meter_error import figures
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.simulation.world import Excitation

__all__ = ["SimulatedHand", "excitation_of"]

_OVERLOAD = "OL"
_PREFIXES = ("k", "M", "m", "u", "n")


class SimulatedHand:
    """The hand at a virtual unit; `moved` is told whenever the probes were placed anew."""

    def __init__(self, unit: VirtualUnit, bench: Bench, moved: Callable[[], None] = lambda: None) -> None:
        """Hold no probe yet."""
        self.unit, self.bench, self._moved = unit, bench, moved
        self._slipped = not unit.specimen.faults.operator_does("typed-1000")
        self.questions: list[str] = []

    def place(self, check: Check) -> None:
        """Put red and black where the check wants them, with its switches and its load."""
        self.unit.place(check)
        self._foresee(check, self.bench.meter_for(check.function))
        self._moved()

    def place_between(self, red: str, black: str) -> None:
        """Put red and black on two nets."""
        self.unit.place_between(red, black)
        self._moved()

    def lift(self) -> None:
        """Take the probes away."""
        self.unit.lift()
        self._moved()

    def discharge(self, check: Check | None = None) -> None:
        """Discharge what the check is about through a resistor; the unit is then free of charge."""
        self.unit.discharge()

    def confirm(self, question: str) -> bool:
        """Say yes, as somebody does who has done what was asked; the question is kept."""
        self.questions.append(question)
        return True

    def rewire(self, prompt: str, check: Check | None = None) -> bool:
        """Do what a prompt asks (a meter in series, a load on a rail) and say that it is done."""
        if check is not None:
            self.place(check)
        return self.confirm(prompt)

    def look(self, check: Check) -> str:
        """Return the answer to a visual check: the good one unless a fault of the part shows from outside."""
        good, bad = (*check.answers, "yes", "no")[:2]
        codes = {fault.code for fault in self.unit.specimen.faults.of_part(check.subject)}
        shows = {"orientation": {"reversed", "swapped-pins"}, "rating": set[str](), "maker": set[str]()}
        return bad if codes & shows.get(check.measurand, set()) else good

    def read(self, check: Check, meter_name: str = "") -> str:
        """Return what the display of a meter shows at the check, as somebody types it.

        The error lies within the meter's own specification; what never settles within it is shown as it ends.
        """
        if check.function is Function.VISUAL:
            return self.look(check)
        meter = self.bench.meter_for(check.function, meter_name)
        if meter is None:
            return self._without_meter(check)
        return self.slip(check, self._display(check, meter))

    def _without_meter(self, check: Check) -> str:
        value = self.unit.settled(check, Excitation(check.function))
        return _OVERLOAD if math.isinf(value) else f"{value:.4g}"

    def _foresee(self, check: Check, meter: Meter | None) -> None:
        ranges = meter.ranges_of(check.function) if meter is not None else ()
        self.unit.foresee(excitation_of(each) for each in ranges)

    def _display(self, check: Check, meter: Meter) -> str:
        shown = math.inf
        self.unit.place(check)
        self._foresee(check, meter)
        for each in meter.ranges_of(check.function):
            shown = self.unit.settled(check, excitation_of(each))
            if each.holds(shown):
                return figures(shown, each, self.unit.specimen.seed, meter.name)[0]
        return _OVERLOAD

    def slip(self, check: Check, text: str) -> str:
        """Return a text as it is typed: once without its prefix, where the operator has that fault."""
        named = self.unit.specimen.faults.argument("typed-1000")
        meant = named == check.id if named else check.expected is not None
        if self._slipped or not meant or not text.endswith(_PREFIXES):
            return text
        self._slipped = True
        return text[:-1]


def excitation_of(each: MeterRange) -> Excitation:
    """Return what a range of a meter does to a unit."""
    return Excitation(
        each.function, each.test_current_a or 0.0, each.compliance_v or 0.0, each.frequency_hz or 0.0, each.full_scale
    )
