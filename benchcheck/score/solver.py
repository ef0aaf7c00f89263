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
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Budget, Contribution
from benchcheck.readings.reading import Session
from benchcheck.score.asked import Asked, ambient_half_width_k
from benchcheck.score.gross import Supposing
from benchcheck.score.inversion import ends_of, own_value
from benchcheck.score.model_circuit import Model, conditions_at, excitation_for, model_of, positioned
from benchcheck.score.neighbours import ideality, neighbours, with_series_resistances
from benchcheck.score.on_board import OnBoard, on_board
from benchcheck.score.own import own_number
from benchcheck.score.reviewed import Review
from benchcheck.score.surroundings import Solved, good_value
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.neighbourhood import Cut, Neighbourhoods
    from benchcheck.circuit.physics import Conditions

__all__ = ["CircuitSolver"]

#: what unknown paths, or what was cut off, may move a prediction by, as a share of the standard uncertainty.
_NEGLIGIBLE = 0.1
#: nets of the widest cut: a reading that more of them decide says much of the board and little of the part.
_WIDEST = 40
#: nets up to which a board is solved whole where no cut will do.
_SMALL = 200
_JOINT_OHM = 1e-3


@dataclass(frozen=True, slots=True)
class _Attempt:
    """What a cut gave; with `wider` what was cut off may matter, with `no_value` no value of the part reads so."""

    solved: Solved | None = None
    wider: bool = False
    no_value: bool = False


@dataclass(slots=True)
class CircuitSolver:
    """Turns the budget of a reading on this board and bench into that of the part; a `surroundings.Circuit`.

    `session` says how warm the board is; without one it is as warm as the spec says.
    """

    board: Board
    bench: Bench
    session: Session | None = None
    _modelled: Model | None = None
    _around: dict[tuple[bool, tuple[tuple[str, str], ...]], Neighbourhoods] = field(default_factory=dict)
    _excitations: dict[Function, Any] = field(default_factory=dict)
    _held: dict[str, Cut] = field(default_factory=dict)

    def __call__(self, check: Check, budget: Budget) -> Solved | None:
        """Return the part's own value, or the reading itself where the circuit around it does not settle that.

        None where the circuit has nothing to say. Where it cannot be solved, the reason comes along in words.
        """
        task = self._asked(check)
        if task is None:
            return None
        unstated = self._unstated(task, budget) if check.function is Function.ESR else ""
        if unstated:
            return Solved(budget, unstated=unstated)
        attempt, cut, unsolved = self._attempted(task, budget)
        if attempt is None or cut is None:
            return Solved(budget, unsolved=unsolved) if unsolved else self._as_read(task, budget)
        supposing = Supposing(self.board, task, cut.netlist, budget, self.bench.decision.coverage)
        settled = attempt.solved is not None or attempt.no_value
        review = Review(supposing, settled, attempt.no_value)
        return replace(attempt.solved or Solved(budget), review=review)

    def _attempted(self, task: Asked, budget: Budget) -> tuple[_Attempt | None, Cut | None, str]:
        """Return what the narrowest cut that holds all that matters gave, and that cut; else why none did."""
        if task.own is None or self._model.incomplete.issuperset(task.ports):
            return None, None, ""
        read = max(budget.value, task.own.least)  # below zero by the leads is zero to a circuit
        unsolved, taken = "", task.as_taken(budget)
        for cut in self._cuts(taken, from_cut=self._held.get(task.check.id)):
            try:
                attempt = self._solved(taken, cut, budget, read)
            except CircuitError as reason:  # leaves the evidence one-sided, as without nets
                unsolved = str(reason)
                continue
            if not attempt.wider:
                return attempt, cut, ""
        return None, None, unsolved

    def _unstated(self, task: Asked, budget: Budget) -> str:
        """Return the coils without a stated inductance that a reading at a high frequency goes with, "" for none."""
        from benchcheck.circuit.devices import Inductor

        cut = self._holding(task)
        coils = [one for one in cut.netlist.devices if isinstance(one, Inductor)] if cut is not None else []
        coils = [one for one in coils if getattr(self.board.parts.get(one.designator), "value", 1.0) is None]
        if cut is None or not coils:
            return ""
        shown = []
        for henry in _COILS_H:
            netlist = cut.netlist
            for one in coils:
                netlist = netlist.replacing(one.designator, replace(one, inductance_h=henry))
            try:
                shown.append(task.shown(netlist))
            except CircuitError:
                return ""  # said where the board itself is solved
        allowed = _NEGLIGIBLE * budget.combined_standard_uncertainty
        same = None not in shown and _near(shown[0], shown[1] or 0.0, allowed)
        return "" if same or shown == [None, None] else ", ".join(one.designator for one in coils)

    def _as_read(self, task: Asked, budget: Budget) -> Solved | None:
        """Return a reading as it is, to be reviewed by the parts that are known to lie around it."""
        cut = self._holding(task)
        if cut is None:
            return None
        supposing = Supposing(self.board, task, cut.netlist, budget, self.bench.decision.coverage)
        return Solved(budget, review=Review(supposing, settled=False))

    def _holding(self, task: Asked) -> Cut | None:
        """Return the narrowest cut whose two readings agree, None where there is none."""
        for cut in self._cuts(task):
            if cut.whole:
                return cut
            try:
                found, least = task.shown(cut.netlist), task.shown(cut.closed)
            except CircuitError:
                continue
            if found == least or (found and least and abs(found - least) <= _AGREES * found):
                return cut
        return None

    def shown(self, check: Check, value: float) -> float | None:
        """Return what the meter would read on the board if the part had this value, both in the check's unit; None
        where the circuit does not say.
        """
        task = self._asked(check)
        if task is None or task.own is None or self._model.incomplete.issuperset(task.ports):
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
            return on_board(self._neighbourhoods(check), (ports[0], ports[1]), excitation, self._conditions)
        except CircuitError:
            return None

    def good_reading(self, check: Check) -> float | None:
        """Return what the good board reads at a check, in its quantity unit; None for overload or where unknown."""
        found = self.both_ways(check)
        return found.value if found is not None else None

    def _asked(self, check: Check) -> Asked | None:
        """Return what a check asks of the circuit; None where no circuit model can say anything of its reading."""
        from benchcheck.circuit.starts import Starts

        part = self.board.parts.get(check.subject)
        if part is None or check.red is None or check.black is None or check.evidence not in _IN_CIRCUIT:
            return None
        ports, nets = (check.red.net or "", check.black.net or ""), self._model.netlist.pins_on
        excitation = self._excitation(check.function)
        if excitation is None or len(set(ports)) < 2 or not all(net in nets for net in ports):
            return None
        at = self._conditions
        own = own_number(check, self._model.netlist, excitation, at)
        if own is None and not self._model.netlist.devices_of(check.subject):
            return None
        return Asked(
            check, own, ports, excitation, at, ambient_half_width_k(self._session), Starts(), good_value(check)
        )

    @property
    def _session(self) -> Session:
        return self.session or Session(ambient_c=self.board.ambient_c)

    @property
    def _conditions(self) -> Conditions:
        return conditions_at(self._session.ambient_c)

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

    def _cuts(self, task: Asked, from_cut: Cut | None = None) -> Iterator[Cut]:
        """Yield ever wider cuts, from the one known to hold on; a cut over `_WIDEST` ends them."""
        least = 0
        if from_cut is not None:
            yield from_cut
            least = len(from_cut.netlist.nets) + 1
        around = self._neighbourhoods(task.check)
        small = len(self._model.netlist.nets) <= _SMALL
        try:
            for cut in around.cuts(*task.ports, alternating=task.check.function in _ALTERNATING):
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

    def _solved(self, task: Asked, cut: Cut, budget: Budget, read: float) -> _Attempt:
        """Find the value that makes the model read what was read; none where unknown paths could change that."""
        assert task.own is not None
        allowed = _NEGLIGIBLE * budget.combined_standard_uncertainty
        value = own_value(task, cut.netlist, read)
        if value is None:
            return self._without_value(task, cut, allowed)
        if not cut.whole and not _near(task.read(cut.closed, value), read, allowed):
            return _Attempt(wider=True)
        netlist = task.own.given(cut.netlist, value)
        slopes = task.solved(netlist).slopes()
        slope = slopes.get((task.own.designator, task.own.field), 0.0)
        joined = self._with_unknown_paths(task, cut)
        if joined is not None and not _near(task.read(joined, value), read, allowed):
            return _Attempt()
        if slope <= 0.0:
            return _Attempt(no_value=True)
        linear = neighbours(self.board, netlist, task.own, slopes, slope)
        around = {each.id: (name, each) for name, each in linear}
        ends = ends_of(task, self.board, cut.netlist, value, read, allowed)
        around |= {each.id: (name, each) for name, each in ends or ()}
        carried = tuple(_scaled(each, 1.0 / slope) for each in budget.contributions)
        own = Budget(
            value + (budget.value - read) / slope,
            budget.quantity_unit,
            (*carried, *(each for _, each in around.values()), *ideality(task.own, value, read)),
        )
        ids = tuple((name, each.id) for name, each in around.values() if name and name != task.own.designator)
        masked = ends is None or (task.own.junction and slope < _MASKED)
        return _Attempt(Solved(own, ids, complete=True, masked=masked))

    def _without_value(self, task: Asked, cut: Cut, allowed: float) -> _Attempt:
        """Return that no value of the part reads so, where no unknown path could change what the board reads."""
        assert task.own is not None
        good = task.expected or task.own.offset
        if not good:
            return _Attempt()
        shown = task.read(cut.netlist, good)
        if shown is None:
            return _Attempt()
        if not cut.whole and not _near(task.read(cut.closed, good), shown, allowed):
            return _Attempt(wider=True)
        joined = self._with_unknown_paths(task, cut)
        settled = joined is None or _near(task.read(joined, good), shown, allowed)
        return _Attempt(no_value=settled)

    def _with_unknown_paths(self, task: Asked, cut: Cut) -> Any:
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
#: what a choke on a board may have where nobody says, in henry (common practice, no source).
_COILS_H = (1e-6, 1e-3)
#: functions that read with alternating current.
_ALTERNATING = (Function.CAPACITANCE, Function.ESR)
#: what a reading shows only if the parts around let it.
_IN_CIRCUIT = (Evidence.LOWERED, Evidence.RAISED, Evidence.SHUNTED, Evidence.SCREEN)
#: what the two readings of a cut may differ by where a window of the display is shown, as a share.
_AGREES = 1e-4


def _near(shown: float | None, read: float, allowed: float) -> bool:
    return shown is not None and abs(shown - read) <= allowed


def _scaled(contribution: Contribution, factor: float) -> Contribution:
    return replace(contribution, sensitivity=contribution.sensitivity * factor)
