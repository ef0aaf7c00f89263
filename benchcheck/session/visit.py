"""A visit: the checks of a checklist, asked in order, each answer kept before it is scored.

The journal hears of everything first: a reading is on disk when `answer` has been acted on, an undo is a new
entry and erases nothing. Scores can always be made again from readings, so they are written at the end.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from benchcheck.bench.model import Bench
from benchcheck.checklist.interlocks import in_the_way
from benchcheck.checklist.order import Checklist
from benchcheck.kinds.check import Check, Phase
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.journal import Journal
from benchcheck.score.judge import blocked, judge, judge_derived, skipped
from benchcheck.score.model import Score
from benchcheck.session.answers import Answer, Later, Observer, Skip, Source, Step, Stop, Taken, Undo
from benchcheck.session.exit_code import FAILED, PASSED, exit_code
from benchcheck.session.facts import session_facts

__all__ = ["Visit", "VisitResult"]


@dataclass(frozen=True, slots=True)
class VisitResult:
    """What came of a visit: the scores in checklist order and the exit code they add up to."""

    scores: tuple[Score, ...]
    exit_code: int
    interrupted: bool = False


@dataclass(slots=True)
class Visit:
    """One conducted run over a checklist.

    `kept` are readings already in the journal (a resumed visit, or a file taken in at once). `asks` is false
    when nothing but `kept` can answer: then nobody is asked to probe or to apply power and interlocks do not
    keep a reading on file from being scored. `stop_after` failures end the visit, unless 0.
    """

    checklist: Checklist
    bench: Bench
    journal: Journal
    observer: Observer
    source: Source | None = None
    kept: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    session: Session = field(default_factory=Session)
    stop_after: int = 0
    _readings: dict[str, tuple[Reading, ...]] = field(default_factory=dict)
    _scores: dict[str, Score] = field(default_factory=dict)
    _done: list[tuple[str, bool]] = field(default_factory=list)
    _again: set[str] = field(default_factory=set)
    _interrupted: bool = False

    @property
    def _by_id(self) -> Mapping[str, Check]:
        return {check.id: check for check in self.checklist.checks}

    def conduct(self) -> VisitResult:
        """Ask, keep and score every check of the list; return what came of it."""
        self._readings.update(self.kept)
        self.session = session_facts(self.session, self._readings)
        queue = deque(self.checklist.checks)
        try:
            while queue and not self._interrupted and not self._enough():
                self._take(queue)
        except KeyboardInterrupt:
            self._interrupted = True
        scores = tuple(self._scores[check.id] for check in self.checklist.checks if check.id in self._scores)
        return VisitResult(scores, exit_code(scores, interrupted=self._interrupted), self._interrupted)

    def _enough(self) -> bool:
        failed = sum(score.verdict in FAILED for score in self._scores.values())
        return bool(self.stop_after) and failed >= self.stop_after

    def _take(self, queue: deque[Check]) -> None:
        check = queue.popleft()
        if check.sources and check.id not in self._readings:
            self._score(check, self._derived(check))
        elif check.id in self._readings and check.id not in self._again:
            self._score(check, self._judged(check))
        else:
            self._ask(check, queue)

    def _ask(self, check: Check, queue: deque[Check]) -> None:
        obstacles = self._obstacles(check)
        if obstacles:
            self._score(check, blocked(check, "; ".join(obstacles)))
            return
        if self.source is None:
            self._score(check, skipped(check, "no reading given"))
            return
        place = len(self.checklist.checks) - len(queue)
        answer = self.source.answer(Step(check, place, len(self.checklist.checks), self.session))
        self._act(check, answer, queue)

    def _obstacles(self, check: Check) -> tuple[str, ...]:
        if self.source is None:
            return ()
        good = {name for name, score in self._scores.items() if score.verdict in PASSED}
        return in_the_way(self.checklist.board, check, good, self.checklist.waivers)

    def _act(self, check: Check, answer: Answer, queue: deque[Check]) -> None:
        match answer:
            case Taken(readings):
                self._keep(check, readings)
                self._score(check, self._judged(check), answered=True)
                if check.phase is Phase.RESIDUAL_VOLTAGE and self._scores[check.id].verdict not in PASSED:
                    self._again.add(check.id)  # discharge through a resistor, measure again
                    queue.appendleft(check)
            case Skip(reason):
                self.journal.append_event("skip", check.id, reason)
                self._score(check, skipped(check, reason), answered=True)
            case Later():
                queue.append(check)
            case Undo():
                queue.appendleft(check)
                self._undo(queue)
            case Stop():
                self._interrupted = True

    def _keep(self, check: Check, readings: tuple[Reading, ...]) -> None:
        if check.id in self._readings:
            self.journal.append_event("undo", check.id, "read again")
        self.journal.append_readings(readings)
        self._readings[check.id] = readings
        self.session = session_facts(self.session, self._readings)

    def _undo(self, queue: deque[Check]) -> None:
        """Take back the last answered check; what was derived or blocked after it is looked at anew."""
        while self._done:
            name, answered = self._done.pop()
            check = self._by_id[name]
            self._scores.pop(name, None)
            if check not in queue:
                queue.appendleft(check)
            if answered:
                if self._readings.pop(name, ()):
                    self.journal.append_event("undo", name)
                else:
                    self.journal.append_event("note", name, "skip taken back")
                self.session = session_facts(self.session, self._readings)
                self.observer.undone(check)
                return

    def _judged(self, check: Check) -> Score:
        return judge(check, self._readings[check.id], self.bench, self.session)

    def _derived(self, check: Check) -> Score:
        sources = {name: self._readings.get(name, ()) for name in check.sources}
        return judge_derived(check, sources, self.bench, self.session, self._by_id)

    def _score(self, check: Check, score: Score, *, answered: bool = False) -> None:
        self._scores[check.id] = score
        self._done.append((check.id, answered))
        self.observer.scored(check, score, len(self._scores), len(self.checklist.checks))
