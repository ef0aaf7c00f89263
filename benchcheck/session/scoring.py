"""How the checks of a visit stand: each judged from its readings, what passed, and what a changed answer unsettles.

Scores can always be made again from readings, so nothing here is kept on disk; what cannot be computed decides
nothing, and the visit goes on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from benchcheck.bench.model import Bench
from benchcheck.checklist.order import Checklist
from benchcheck.errors import BenchcheckError, CircuitError, MetrologyError
from benchcheck.kinds.check import Check
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.guarded import judged_by_branches
from benchcheck.score.judge import judge, judge_derived, skipped
from benchcheck.score.model import Outcome, Reason, Score, Verdict
from benchcheck.score.solver import CircuitSolver
from benchcheck.session.exit_code import FAILED, PASSED
from benchcheck.session.on_resistance import held_to_gate

__all__ = ["Scoring"]

_Readings = Mapping[str, tuple[Reading, ...]]


@dataclass(slots=True)
class Scoring:
    """Judges the checks of a list with the session it is told of, and knows the scores so far.

    `scores` are by check; `passed` are the checks that came out well, `failures` counts those that failed.
    """

    checklist: Checklist
    bench: Bench
    session: Session
    scores: dict[str, Score] = field(default_factory=dict)
    passed: set[str] = field(default_factory=set)
    failures: int = 0
    _by_id: dict[str, Check] = field(init=False)
    _solver: CircuitSolver = field(init=False)

    def __post_init__(self) -> None:
        self._by_id = {check.id: check for check in self.checklist.checks}
        self._solver = CircuitSolver(self.checklist.board, self.bench)
        self.told(self.session)

    def told(self, session: Session) -> None:
        """Judge from now on with what is known of the session as a whole."""
        self.session = self._solver.session = session

    @property
    def in_order(self) -> tuple[Score, ...]:
        """The scores so far, in checklist order."""
        return tuple(self.scores[check.id] for check in self.checklist.checks if check.id in self.scores)

    def judged(self, check: Check, taken: tuple[Reading, ...]) -> Score:
        """Return the score of a check that was read."""
        try:
            return judge(check, taken, self.bench, self.session, surroundings=self._solver)
        except (MetrologyError, CircuitError) as error:
            return _without_numbers(check, error)

    def derived(self, check: Check, readings: _Readings) -> Score:
        """Return the score of a check that is computed from the readings of others."""
        sources = {name: readings.get(name, ()) for name in check.sources}
        try:
            score = judge_derived(check, sources, self.bench, self.session, self._by_id, surroundings=self._solver)
            return held_to_gate(check, score, self.scores)
        except (MetrologyError, CircuitError) as error:
            return _without_numbers(check, error)

    def by_branches(self, readings: _Readings) -> Mapping[str, Score]:
        """Return better scores, by their branches, of the parts of groups of which every pair has been read."""
        return judged_by_branches(self.checklist.board, self.bench, self.session, readings, self.scores)

    def keep(self, check: Check, score: Score) -> None:
        """Let a score stand for a check, in place of the one before."""
        self.drop(check.id)
        self.scores[check.id] = score
        self.failures += score.verdict in FAILED
        if score.verdict in PASSED:
            self.passed.add(check.id)

    def drop(self, name: str) -> None:
        """Let no score stand for a check."""
        score = self.scores.pop(name, None)
        self.failures -= score is not None and score.verdict in FAILED
        self.passed.discard(name)

    def unsettled_by(self, check: Check) -> list[Check]:
        """Return the other checks that were blocked, or computed from this one, and may now come out otherwise."""
        return [
            other
            for other in self.checklist.checks
            if (score := self.scores.get(other.id)) is not None
            and other.id != check.id
            and (score.outcome is Outcome.BLOCKED or check.id in other.sources)
        ]


def _without_numbers(check: Check, error: BenchcheckError) -> Score:
    """Return the score of a reading no budget could be made for: it is kept, decides nothing, the visit goes on."""
    because = f"nothing can be computed from this reading: {error}"
    return replace(skipped(check, because), outcome=Outcome.MEASURED, verdict=Verdict.UNDECIDED, code=Reason.METHOD)
