"""The circuit around a resistor, solved: from what was read across it on the board to its own value.

Only what unknown paths cannot change is trusted. By Rayleigh's monotonicity the worst that paths outside the spec
can do is to join all nets that are not `complete`; where shorting those together leaves the predicted reading where
it was, the spec holds all that matters, and the value found speaks for the part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import CircuitError
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Budget, Contribution
from benchcheck.score.model_circuit import Model, excitation_for, model_of
from benchcheck.score.surroundings import Solved
from benchcheck.spec.board import Board

__all__ = ["CircuitSolver"]

_FUNCTIONS = (Function.OHMS, Function.LOW_POWER_OHMS)
#: what unknown paths may move a prediction by, as a share of the reading's standard uncertainty.
_NEGLIGIBLE = 0.1
_JOINT_OHM = 1e-3
_LEAST_OHM = 1e-3
_STEPS = 12
_SAME = 1e-9  # of the reading


@dataclass(slots=True)
class CircuitSolver:
    """Turns the budget of a reading on this board and bench into that of the part; a `surroundings.Circuit`."""

    board: Board
    bench: Bench
    _modelled: Model | None = None

    def __call__(self, check: Check, budget: Budget) -> Solved | None:
        """Return the part's own value, or None where the circuit around it does not settle it."""
        if not self._may_solve(check):
            return None
        assert check.red is not None
        assert check.black is not None
        try:
            excitation = excitation_for(self.bench, check.function)
            ports = (check.red.net or "", check.black.net or "")
            if excitation is None:
                return None
            return self._solved(check.subject, ports, excitation, budget, check.expected)
        except CircuitError:
            return None  # what cannot be solved leaves the evidence one-sided, as without nets

    def shown(self, check: Check, value_ohm: float) -> float | None:
        """Return what the meter would read on the board, in ohm, if the part had this value; None where the
        circuit does not say.
        """
        from benchcheck.circuit.reading import solve_reading

        if not self._may_solve(check) or check.red is None or check.black is None:
            return None
        excitation = excitation_for(self.bench, check.function)
        try:
            netlist = self._with(check.subject, value_ohm)
            ports = (check.red.net or "", check.black.net or "")
            return solve_reading(netlist, *ports, excitation).value if excitation is not None else None
        except CircuitError:
            return None

    def _may_solve(self, check: Check) -> bool:
        part = self.board.parts.get(check.subject)
        if part is None or part.kind != "resistor" or check.measurand != "resistance" or len(part.pins) != 2:
            return False
        if check.evidence is not Evidence.LOWERED or check.function not in _FUNCTIONS:
            return False
        return any(net not in self._model.incomplete for net in part.pins.values())

    @property
    def _model(self) -> Model:
        """The board's netlist, built when first asked for."""
        if self._modelled is None:
            self._modelled = model_of(self.board)
        return self._modelled

    def _solved(
        self, designator: str, ports: tuple[str, str], excitation: Any, budget: Budget, expected_ohm: float | None
    ) -> Solved | None:
        """Find the value that makes the model read what was read; None where unknown paths could change that."""
        from benchcheck.circuit.reading import sensitivities

        read_ohm = max(budget.value, _LEAST_OHM)  # below zero by the leads is zero to a circuit
        value = self._own_value(designator, ports, excitation, read_ohm, expected_ohm)
        if value is None:
            return None
        netlist = self._with(designator, value)
        slopes = sensitivities(netlist, *ports, excitation)
        slope = slopes.get(designator, 0.0)
        if slope <= 0.0 or self._unknown_paths_matter(netlist, ports, excitation, budget, read_ohm):
            return None
        neighbours = tuple(self._neighbours(designator, slopes, slope))
        carried = tuple(_scaled(each, 1.0 / slope) for each in budget.contributions)
        own = Budget(
            value + (budget.value - read_ohm) / slope,
            budget.quantity_unit,
            (*carried, *(contribution for _, contribution in neighbours)),
        )
        return Solved(own, tuple((name, each.id) for name, each in neighbours), complete=True)

    def _own_value(
        self, designator: str, ports: tuple[str, str], excitation: Any, read_ohm: float, expected_ohm: float | None
    ) -> float | None:
        """Return the value by secant steps on the predicted reading, or None when no value reads so.

        What is expected comes first: a good part needs no step.
        """
        from benchcheck.circuit.reading import solve_reading

        def miss(value: float) -> float | None:
            shown = solve_reading(self._with(designator, value), *ports, excitation).value
            return None if shown is None else shown - read_ohm

        if expected_ohm and (off := miss(expected_ohm)) is not None and abs(off) <= _SAME * read_ohm:
            return expected_ohm
        before, value = read_ohm, read_ohm * 1.001 + 1e-6
        missed_before, missed = miss(before), miss(value)
        for _ in range(_STEPS):
            if missed is None or missed_before is None:
                return None
            if abs(missed) <= _SAME * read_ohm:
                return value
            if missed == missed_before:
                return None
            step = missed * (value - before) / (missed - missed_before)
            before, missed_before = value, missed
            value = max(value - step, value / 10.0)
            missed = miss(value)
        return None

    def _with(self, designator: str, value_ohm: float) -> Any:
        from benchcheck.circuit.devices import Resistor

        device = self._model.netlist.device(designator)
        assert isinstance(device, Resistor)
        return self._model.netlist.replacing(designator, replace(device, resistance_ohm=max(value_ohm, 1e-6)))

    def _unknown_paths_matter(
        self, netlist: Any, ports: tuple[str, str], excitation: Any, budget: Budget, known_ohm: float
    ) -> bool:
        from benchcheck.circuit.devices import Resistor
        from benchcheck.circuit.reading import solve_reading

        unknown = [net for net in netlist.nets if net in self._model.incomplete]
        meeting = next((port for port in ports if port in self._model.incomplete), unknown[0] if unknown else "")
        joints = (Resistor(f"unknown:{net}", net, meeting, _JOINT_OHM) for net in unknown if net != meeting)
        shown = solve_reading(netlist.adding(*joints), *ports, excitation).value
        allowed = _NEGLIGIBLE * budget.combined_standard_uncertainty
        return shown is None or abs(shown - known_ohm) > allowed

    def _neighbours(
        self, designator: str, slopes: Mapping[str, float], slope: float
    ) -> list[tuple[str, Contribution]]:
        """Return the tolerance of every part around as a contribution to this part's value."""
        found: list[tuple[str, Contribution]] = []
        for name, by_neighbour in slopes.items():
            part = self.board.parts.get(name)
            spread, value = getattr(part, "spread", None), getattr(part, "value", None)
            if part is None or name == designator or spread is None or not value or part.kind != "resistor":
                continue
            lower, upper = spread.interval(value)
            half_width = abs(by_neighbour / slope) * (upper - lower) / 2.0
            if half_width > 0.0:
                label, origin = f"tolerance of {name}", "the spec, through the circuit"
                contribution = Contribution.from_limits(f"{name}.tolerance", label, half_width, origin=origin)
                found.append((name, contribution))
        return found


def _scaled(contribution: Contribution, factor: float) -> Contribution:
    return replace(contribution, sensitivity=contribution.sensitivity * factor)
