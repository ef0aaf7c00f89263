"""The circuit around a part, solved: from what was read across it on the board to its own value.

Only what unknown paths cannot change is trusted. By Rayleigh's monotonicity the worst that paths outside the spec
can do is to join all nets that are not `complete`; where shorting those together leaves the predicted reading where
it was, the spec holds all that matters, and the value found speaks for the part. Of a large board only a cut around
the part is solved: what lies outside it must not matter either, by the same rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import CircuitError
from benchcheck.kinds.check import Check
from benchcheck.metrology import Budget, Contribution
from benchcheck.score.model_circuit import Model, excitation_for, model_of, positioned
from benchcheck.score.neighbours import ideality, neighbours, with_series_resistances
from benchcheck.score.on_board import OnBoard, on_board
from benchcheck.score.own import Own, own_number
from benchcheck.score.surroundings import Solved, good_value
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.neighbourhood import Cut, Neighbourhoods
    from benchcheck.circuit.starts import Starts

__all__ = ["CircuitSolver"]

#: what unknown paths, or what was cut off, may move a prediction by, as a share of the standard uncertainty.
_NEGLIGIBLE = 0.1
#: nets of the widest cut: a reading that more of them decide says much of the board and little of the part.
_WIDEST = 40
#: nets up to which a board is solved whole where no cut will do.
_SMALL = 200
_JOINT_OHM = 1e-3
_STEPS = 12
_SAME = 1e-9  # of the reading


@dataclass(frozen=True, slots=True)
class _Task:
    """One reading to be turned into the part's own number."""

    check: Check
    own: Own
    ports: tuple[str, str]
    excitation: Any
    starts: Starts
    expected: float | None = None

    def read(self, netlist: Any, value: float) -> float | None:
        """Return what the meter shows on a netlist whose part has this value; None for overload."""
        from benchcheck.circuit.reading import solve_reading

        given = self.own.given(netlist, value)
        found: float | None = solve_reading(given, *self.ports, self.excitation, starts=self.starts).value
        return found


@dataclass(frozen=True, slots=True)
class _Attempt:
    """What a cut gave; with `wider` what was cut off may matter."""

    solved: Solved | None = None
    wider: bool = False


@dataclass(slots=True)
class CircuitSolver:
    """Turns the budget of a reading on this board and bench into that of the part; a `surroundings.Circuit`."""

    board: Board
    bench: Bench
    _modelled: Model | None = None
    _around: dict[tuple[bool, tuple[tuple[str, str], ...]], Neighbourhoods] = field(default_factory=dict)
    _excitations: dict[Function, Any] = field(default_factory=dict)
    _held: dict[str, Cut] = field(default_factory=dict)

    def __call__(self, check: Check, budget: Budget) -> Solved | None:
        """Return the part's own value, or None where the circuit around it does not settle it.

        Where the circuit cannot be solved the reading itself comes back, with the reason in words.
        """
        task = self._task(check)
        if task is None:
            return None
        unsolved = ""
        read = max(budget.value, task.own.least)  # below zero by the leads is zero to a circuit
        for cut in self._cuts(task, from_cut=self._held.get(check.id)):
            try:
                attempt = self._solved(task, cut, budget, read)
            except CircuitError as reason:  # leaves the evidence one-sided, as without nets
                unsolved = str(reason)
                continue
            if not attempt.wider:
                return attempt.solved
        return Solved(budget, unsolved=unsolved) if unsolved else None

    def shown(self, check: Check, value: float) -> float | None:
        """Return what the meter would read on the board if the part had this value, both in the check's unit; None
        where the circuit does not say.
        """
        task = self._task(check)
        if task is None:
            return None
        known = self._held.get(check.id)
        if known is not None:  # the cut that held this check's reading before: a window needs no closer bound
            return task.read(known.netlist, value)
        for cut in self._cuts(task):
            try:
                found = task.read(cut.netlist, value)
                least = found if cut.whole else task.read(cut.closed, value)
            except CircuitError:
                continue
            if found == least or (found and least and abs(found - least) <= _AGREES * found):
                self._held[check.id] = cut
                return found
        return None

    def both_ways(self, check: Check) -> OnBoard | None:
        """Return what the good board reads between the check's nets, red and black as it says and exchanged.

        None for powered checks, for functions that the circuit does not model, and where it cannot be solved.
        """
        ports = tuple(probe.net or "" for probe in (check.red, check.black) if probe is not None)
        nets = self._model.netlist.pins_on
        if check.powered or len(set(ports)) < 2 or not all(net in nets for net in ports):
            return None
        excitation = self._excitation(check.function)
        if excitation is None:
            return None
        try:
            return on_board(self._neighbourhoods(check), (ports[0], ports[1]), excitation)
        except CircuitError:
            return None

    def _task(self, check: Check) -> _Task | None:
        from benchcheck.circuit.starts import Starts

        part = self.board.parts.get(check.subject)
        if part is None or check.red is None or check.black is None:
            return None
        ports = (check.red.net or "", check.black.net or "")
        if len(set(ports)) < 2 or not all(ports) or self._model.incomplete.issuperset(part.pins.values()):
            return None
        excitation = self._excitation(check.function)
        own = own_number(check, self._model.netlist, excitation)
        return None if own is None else _Task(check, own, ports, excitation, Starts(), good_value(check))

    def _excitation(self, function: Function) -> Any:
        if function not in self._excitations:
            self._excitations[function] = excitation_for(self.bench, function)
        return self._excitations[function]

    @property
    def _model(self) -> Model:
        """The board's netlist, built when first asked for."""
        if self._modelled is None:
            self._modelled = model_of(self.board)
        return self._modelled

    def _cuts(self, task: _Task, from_cut: Cut | None = None) -> Iterator[Cut]:
        """Yield ever wider cuts, from the one known to hold on; a cut over `_WIDEST` ends them."""
        least = 0
        if from_cut is not None:
            yield from_cut
            least = len(from_cut.netlist.nets) + 1
        around = self._neighbourhoods(task.check)
        small = len(self._model.netlist.nets) <= _SMALL
        try:
            for cut in around.cuts(*task.ports, alternating=task.own.field in _ALTERNATING):
                if len(cut.netlist.nets) > _WIDEST and not small:
                    return
                if len(cut.netlist.nets) >= least:
                    yield cut
        except CircuitError:
            return  # a net that no part with a model touches

    def _neighbourhoods(self, check: Check) -> Neighbourhoods:
        """Return the cuts of the board as a check sees it: switches as it says, series resistances where read."""
        from benchcheck.circuit.neighbourhood import Neighbourhoods

        resistive = check.function is Function.ESR
        key = resistive, check.switches
        if key not in self._around:
            netlist = positioned(self._model.netlist, check.switches)
            seen = with_series_resistances(self.board, netlist) if resistive else netlist
            self._around[key] = Neighbourhoods(seen)
        return self._around[key]

    def _solved(self, task: _Task, cut: Cut, budget: Budget, read: float) -> _Attempt:
        """Find the value that makes the model read what was read; none where unknown paths could change that."""
        from benchcheck.circuit.reading import solved

        value = self._own_value(task, cut.netlist, read)
        allowed = _NEGLIGIBLE * budget.combined_standard_uncertainty
        if value is None and task.own.junction:
            value = self._masked(task, cut.netlist, read, budget)
            read = read if value is None else task.read(cut.netlist, value) or read
        if value is None:
            return _Attempt()
        if not cut.whole and not _near(task.read(cut.closed, value), read, allowed):
            return _Attempt(wider=True)
        netlist = task.own.given(cut.netlist, value)
        slopes = solved(netlist, *task.ports, task.excitation, starts=task.starts).slopes()
        slope = slopes.get((task.own.designator, task.own.field), 0.0)
        joined = self._with_unknown_paths(task, cut)
        if slope <= 0.0 or (joined is not None and not _near(task.read(joined, value), read, allowed)):
            return _Attempt()
        around = tuple(neighbours(self.board, netlist, task.own, slopes, slope))
        carried = tuple(_scaled(each, 1.0 / slope) for each in budget.contributions)
        own = Budget(
            value + (budget.value - read) / slope,
            budget.quantity_unit,
            (*carried, *(contribution for _, contribution in around), *ideality(task.own, value, read)),
        )
        ids = tuple((name, each.id) for name, each in around if name != task.own.designator)
        return _Attempt(Solved(own, ids, complete=True, masked=task.own.junction and slope < _MASKED))

    def _masked(self, task: _Task, netlist: Any, read: float, budget: Budget) -> float | None:
        """Return a junction's model voltage where a good one lets the board read no more than was read.

        Then the parts beside it carry the meter's current, and no forward voltage can be found from the reading.
        """
        good = task.read(netlist, task.own.offset)
        if good is None or read < good - 2.0 * budget.combined_standard_uncertainty:
            return None
        return task.own.offset

    def _own_value(self, task: _Task, netlist: Any, read: float) -> float | None:
        """Return the value by secant steps on the predicted reading, or None when no value reads so.

        What is expected comes first: a good part needs no step.
        """

        def miss(value: float) -> float | None:
            shown = task.read(netlist, value)
            return None if shown is None else shown - read

        expected = task.expected
        if expected and (off := miss(expected)) is not None and abs(off) <= _SAME * read:
            return expected
        before, value = read, read * 1.001 + 1e-3 * task.own.least
        missed_before, missed = miss(before), miss(value)
        for _ in range(_STEPS):
            if missed is None or missed_before is None:
                return None
            if abs(missed) <= _SAME * read:
                return value
            if missed == missed_before:
                return None
            step = missed * (value - before) / (missed - missed_before)
            before, missed_before = value, missed
            value = max(value - step, value / 10.0)
            missed = miss(value)
        return None

    def _with_unknown_paths(self, task: _Task, cut: Cut) -> Any:
        """Return the cut with all nets that are not complete joined, those outside among them; None without any."""
        from benchcheck.circuit.devices import Resistor

        incomplete = self._model.incomplete
        unknown = [net for net in cut.closed.nets if net in incomplete]
        if cut.beyond and cut.beyond not in unknown and not incomplete.isdisjoint(cut.outside):
            unknown.append(cut.beyond)
        if len(unknown) < 2:
            return None
        meeting = next((port for port in task.ports if port in unknown), unknown[0] if unknown else "")
        joints = (Resistor(f"unknown:{net}", net, meeting, _JOINT_OHM) for net in unknown if net != meeting)
        return cut.closed.adding(*joints)


#: share of a junction's forward voltage in the reading below which the reading says nothing of it.
_MASKED = 0.1
#: numbers read with alternating current.
_ALTERNATING = ("capacitance_f", "series_resistance_ohm")
#: what the two readings of a cut may differ by where a window of the display is shown, as a share.
_AGREES = 1e-4


def _near(shown: float | None, read: float, allowed: float) -> bool:
    return shown is not None and abs(shown - read) <= allowed


def _scaled(contribution: Contribution, factor: float) -> Contribution:
    return replace(contribution, sensitivity=contribution.sensitivity * factor)
