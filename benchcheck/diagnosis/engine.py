"""One board on one bench, made ready once: hypotheses, what each would read, and which no reading separates.

Making it ready is the dictionary; weighing readings afterwards is quick. It is kept per board and bench for the
process and, where there is a shelf, for further ones.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.devices import Capacitor, Inductor, Resistor, Switch, pins
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.closer_look import CloserLook
from benchcheck.diagnosis.estimates import corrected
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.fits import Fit, Local, joint
from benchcheck.diagnosis.groups import groups_of
from benchcheck.diagnosis.hypotheses import Hypothesis, hypotheses_of
from benchcheck.diagnosis.kept import Shelf, called, packed, unpacked
from benchcheck.diagnosis.likelihood import Held, hold
from benchcheck.diagnosis.powered import under_power
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.shots import ALTERNATING, MeterErrors, Shot, shot_of
from benchcheck.diagnosis.spread import model_with_series
from benchcheck.diagnosis.unit import UnitSolver
from benchcheck.kinds.check import Check
from benchcheck.score.model_circuit import Model
from benchcheck.spec.board import Board

__all__ = ["Engine", "engine_for"]

Floats = NDArray[np.float64]

#: how many hypotheses are held against all readings together: by the good board's strays, and each reading alone.
_LOOKED_AT, _LOOKED_AT_ROUGHLY = 12, 6
#: how often the eyes pass a part that is the wrong way round, and how often they call one so that is right (common
#: practice, no source).
_OVERLOOKED, _MISCALLED = 0.02, 0.001
_CACHE: dict[tuple[str, str, bool], Engine] = {}
_MOST_KEPT = 8


@dataclass(slots=True)
class Weighed:
    """Every hypothesis weighed: `log_odds` against nothing in particular, probabilities, and each reading's share.

    `terms` (rows x readings) are logarithms of likelihoods, with the strays that suit the good board. `predictions`
    are what the readings were held against. `fits` are those looked at closely, the good board (row 0) always one of
    them, and what no reading between nets separates from one has the same; `good` has the good board's straight lines
    from where the unit is, and `lines` gives any row's around strays.
    """

    log_odds: Floats
    probability: Floats
    held: Held
    terms: Floats
    predictions: Predictions
    fits: dict[int, Fit]
    good: Local
    lines: Callable[[int, Floats], Local]


class Engine:
    """The dictionary of one board on one bench, and what it makes of readings."""

    def __init__(
        self, board: Board, bench: Bench, model: Model | None = None,
        *, across: bool = True, shelf: Shelf | None = None,
    ) -> None:  # fmt: skip
        """Make ready; without `across` only the spec's own checks are looked at: quicker, and less to suggest.

        What takes long is taken from the shelf, and put there.
        """
        self._across, self._shelf = across, shelf
        self.board, self.bench = board, bench
        self.model = model or model_with_series(board)
        self.netlist: Netlist = self.model.netlist
        self.errors = MeterErrors(bench, board.ambient_c)
        self.hypotheses: tuple[Hypothesis, ...] = hypotheses_of(board, self.netlist)
        self.log_prior = np.log([hypothesis.odds for hypothesis in self.hypotheses])
        shots = (shot_of(check, board) for check in board.checks)
        self.checks = tuple(dict.fromkeys(shot for shot in shots if shot is not None))
        self.by_eye = frozenset(c.subject for c in board.checks if c.measurand == "orientation")
        self._more: tuple[Shot, ...] = ()

    @property
    def shots(self) -> tuple[Shot, ...]:
        """The spec's checks, the tips across every part, and whatever else was read."""
        across = self._across_parts() if self._across else ()
        return tuple(dict.fromkeys((*self.checks, *across, *self._more)))

    def also_reading(self, shots: Iterable[Shot]) -> Engine:
        """Return the engine for which these shots are readings too: itself where they are its own already."""
        more = dict.fromkeys(shots).keys() - set(self.shots)
        if not more:
            return self
        wider = copy(self)
        wider.__dict__.pop("_dictionary", None)
        wider._more = tuple(shot for shot in dict.fromkeys(shots) if shot in more)
        return wider

    @property
    def predictions(self) -> Predictions:
        """What every one of the shots reads under every hypothesis."""
        return self._dictionary[0]

    @property
    def groups(self) -> tuple[int, ...]:
        """The group of every hypothesis: those no reading on the board separates are one."""
        return self._dictionary[1]

    @cached_property
    def _dictionary(self) -> tuple[Predictions, tuple[int, ...]]:
        """Predictions and groups, from the shelf where they are there."""
        given = self.board, self.bench, self.netlist, self.hypotheses, self.shots
        name = called(*given, self.errors.ambient_c, self.by_eye) if self._shelf is not None else ""
        kept = self._shelf.taken(name) if self._shelf is not None and name else None
        if kept is not None:
            with suppress(KeyError, TypeError, ValueError):
                return unpacked(kept, self.board, self.netlist, self.shots)
        predictions = predict(*given)
        groups = groups_of(predictions, self.hypotheses, self.errors, self.by_eye)
        if self._shelf is not None and name:
            self._shelf.put(name, packed(predictions, groups))
        return predictions, groups

    def _across_parts(self) -> list[Shot]:
        """Return the shots across the pins of every part, both ways round where that matters."""
        direct: dict[Shot, None] = {}
        pairs: dict[tuple[str, str], None] = {}
        for device in self.netlist.devices:
            passive = isinstance(device, Resistor | Capacitor | Inductor | Switch)
            functions = (Function.OHMS,) if passive else (Function.OHMS, Function.DIODE)
            nets = list(dict.fromkeys(pins(device).values()))
            between = [(a, b) for a in nets for b in nets if a != b]
            pairs |= dict.fromkeys(between)
            usable = [each for each in functions if self.bench.meter_for(each)]
            direct |= {Shot(red, black, function): None for red, black in between for function in usable}
        reactive = [each for each in ALTERNATING if self.bench.meter_for(each)]
        return [*direct, *(Shot(a, b, each) for a, b in pairs if a < b for each in reactive)]

    def weigh(self, evidence: Evidence) -> Weighed:
        """Return all hypotheses weighed by the evidence."""
        predictions = self.predictions
        held = hold(predictions, evidence.seen, self.errors, evidence.leads_ohm)
        beside = self.log_prior + self.beside(evidence, self.hypotheses)
        fits = {0: joint(predictions, held, 0)}
        each = corrected(predictions, held, fits[0])
        odds = beside + each.sum(axis=1)
        odds += fits[0].log_likelihood + beside[0] - odds[0]
        rough = beside + held.terms.sum(axis=1)
        near = [*np.argsort(-odds)[:_LOOKED_AT], *np.argsort(-rough)[:_LOOKED_AT_ROUGHLY]]
        while near:
            for at in dict.fromkeys(int(each) for each in near):
                fits.setdefault(at, joint(predictions, held, at))
                odds[at] = beside[at] + fits[at].log_likelihood
            near = [at for at in np.argsort(-odds)[:_LOOKED_AT_ROUGHLY] if int(at) not in fits]
        solver = UnitSolver(self.board, self.bench, self.netlist, self.hypotheses, predictions, held)
        CloserLook(solver, predictions, held, beside, self.groups).weigh(odds, fits)
        share = np.exp(odds - odds.max())
        good = solver.lines(0, fits[0].stray)
        return Weighed(odds, share / share.sum(), held, each, predictions, fits, good, solver.lines)

    def beside(self, evidence: Evidence, hypotheses: Sequence[Hypothesis]) -> Floats:
        """Return what the eyes and the powered readings add to the log odds of hypotheses."""
        return self._eyes(evidence, hypotheses) + under_power(self.board, hypotheses, evidence)

    def shot_of(self, check: Check) -> Shot | None:
        """Return how the circuit sees a check, None for one that is not read between two nets without power."""
        return shot_of(check, self.board)

    def row_of(self, one: Hypothesis) -> int:
        """Return the row of a fault, whatever is beside it; that of the good board for what is no fault of a part."""
        fault = one.part_fault
        return next((at for at, each in enumerate(self.hypotheses) if fault and each.part_fault == fault), 0)

    def check_of(self, shot: Shot) -> str:
        """Return the spec's check that is this reading, "" for none."""
        return next((check.id for check in self.board.checks if shot_of(check, self.board) == shot), "")

    def points(self, shot: Shot) -> tuple[str, str]:
        """Return where red and black go, in words: the leads a check names, else the nets."""
        check = self.board.by_id.get(self.check_of(shot)) if shot.lead is not None else None
        if check is None or check.red is None or check.black is None:
            return shot.red, shot.black
        return check.red.point, check.black.point

    @staticmethod
    def _eyes(evidence: Evidence, hypotheses: Sequence[Hypothesis]) -> Floats:
        found = np.zeros(len(hypotheses))
        for part, answer in (evidence.orientation or {}).items():
            if not answer:
                continue
            here = [
                any(each.code == "reversed" and each.designator == part for each in one.part_faults)
                for one in hypotheses
            ]
            turned = np.array(here, bool)
            if answer == "no":
                found += np.where(turned, np.log(1.0 - _OVERLOOKED), np.log(_MISCALLED))
            else:
                found += np.where(turned, np.log(_OVERLOOKED), np.log(1.0 - _MISCALLED))
        return found


def engine_for(board: Board, bench: Bench, *, across: bool = True, shelf: Shelf | None = None) -> Engine:
    """Return the engine of a board and bench, made ready once in this process, from the shelf where it was before."""
    key = board.digest, bench.digest, across
    if key not in _CACHE:
        while len(_CACHE) >= _MOST_KEPT:
            _CACHE.pop(next(iter(_CACHE)))
        _CACHE[key] = Engine(board, bench, across=across, shelf=shelf)
    return _CACHE[key]
