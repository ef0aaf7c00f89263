"""A visit: the checks of a checklist, asked in order, each answer kept before it is scored.

The journal hears of everything first: a reading is on disk when `answer` has been acted on, an undo is a new
entry and erases nothing. Scores can always be made again from readings, so they are written at the end.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from benchcheck.bench.model import Bench
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.order import Checklist
from benchcheck.errors import OutputStateUnknown
from benchcheck.kinds.check import Check, Phase
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.score.judge import blocked, erroneous, skipped
from benchcheck.score.model import Score
from benchcheck.session.answers import (
    Again,
    Answer,
    Exchange,
    Hindered,
    Later,
    LeavePower,
    Observer,
    Photo,
    Prefer,
    Remark,
    Skip,
    Source,
    Step,
    Stop,
    Taken,
    Trouble,
    Undo,
)
from benchcheck.session.exit_code import exit_code
from benchcheck.session.facts import session_facts
from benchcheck.session.forward import bring_forward
from benchcheck.session.kept import Answered, Kept
from benchcheck.session.leads import Leads
from benchcheck.session.on_resistance import gate_check
from benchcheck.session.scoring import Scoring
from benchcheck.session.second_look import BLIND, LEFT_OUT, SECOND_LOOK, SecondLooks, contacts_of
from benchcheck.session.tries import Tries
from benchcheck.session.visit_result import VisitResult

__all__ = ["Visit"]

_Queue = deque[Check]
_AFTER_POWER = "read again: power has been on since"
STILL_CHARGED = "charge is still there: discharge it through a resistor, then measure again"


@dataclass(slots=True)
class Visit:
    """One conducted run over a checklist.

    `kept` is what stands in the journal already (a resumed visit, or a file taken in at once). Without a
    `source` nothing else can answer: then nobody is asked to probe or to apply power, and interlocks do not keep
    a reading on file from being scored. `given` is the session as spec and bench have it. `stop_after` failures
    end the visit, unless 0. `tend` does what must not wait while scores are computed (the lease of power).
    `second_looks` says which checks are read a second time, blind; `last_word` is asked when nothing is left.
    """

    checklist: Checklist
    bench: Bench
    journal: Journal
    observer: Observer
    source: Source | None = None
    kept: Kept = field(default_factory=Kept)
    given: Session = field(default_factory=Session)
    stop_after: int = 0
    tend: Callable[[], None] = lambda: None
    second_looks: SecondLooks = field(default_factory=SecondLooks)
    last_word: Callable[[], bool] = lambda: False
    _by_id: dict[str, Check] = field(init=False)
    _interlocks: Interlocks = field(init=False)
    _scoring: Scoring = field(init=False)
    _readings: dict[str, tuple[Reading, ...]] = field(init=False)
    _skips: dict[str, str] = field(init=False)
    _trail: list[Answered] = field(init=False)
    _leads: Leads = field(init=False)
    _tries: Tries = field(init=False)
    _interrupted: bool = False
    _was_on: bool = False  # power, since charge was last seen to be gone
    _alarm: str = ""

    def __post_init__(self) -> None:
        self._by_id = {check.id: check for check in self.checklist.checks}
        self._interlocks = Interlocks.of(self.checklist.board)
        self._readings = dict(self.kept.readings)
        self._scoring = Scoring(self.checklist, self.bench, session_facts(self.given, self._readings))
        self._skips = dict(self.kept.skips)
        self._trail = [answered for answered in self.kept.trail if answered.check in self._by_id]
        self._leads = Leads(self.journal, set(self.kept.exchanged))
        self._tries = Tries(self.journal, dict(self.kept.tries))
        self._was_on = any(self._by_id[name].powered for name in self._readings if name in self._by_id)

    @property
    def session(self) -> Session:
        """What is known of the session as a whole, from the readings so far."""
        return self._scoring.session

    def conduct(self) -> VisitResult:
        """Ask, keep and score every check of the list; return what came of it."""
        queue = self._as_put_off()
        if self.source is not None:
            self.second_looks.go_on([one.check for one in self._trail], self._readings, queue)
        try:
            while (queue or self._once_more(queue)) and not self._over():
                self.tend()
                self._take(queue)
            self._by_branches()
        except KeyboardInterrupt:
            self._interrupted = True
        except OutputStateUnknown as reason:
            self._alarm = str(reason)
        scores = self._scoring.in_order
        code = exit_code(scores, interrupted=self._interrupted, alarm=bool(self._alarm))
        return VisitResult(scores, code, self._interrupted, self._alarm)

    def before_power(self) -> tuple[str, ...]:
        """Return what stands in the way of power now, in words; empty when nothing does."""
        powered = next((one for one in self.checklist.board.checks if one.powered), None)
        if powered is None:
            return ("the spec describes nothing that is measured under power",)
        return self._interlocks.in_the_way(powered, self._scoring.passed, self.checklist.waivers)

    def _over(self) -> bool:
        return self._interrupted or (bool(self.stop_after) and self._scoring.failures >= self.stop_after)

    def _once_more(self, queue: _Queue) -> bool:
        """Whether, with nothing left to ask, the last answer is taken back and asked again."""
        if self.source is None or self._over() or not self._trail or not self.last_word():
            return False
        self._undo(queue)
        return bool(queue)

    def _as_put_off(self) -> _Queue:
        """Return the checks in order, those put off and not answered since at the end as they were."""
        answered = self._readings.keys() | self._skips.keys()
        last = dict.fromkeys(name for name in reversed(self.kept.put_off) if name not in answered)
        moved = [self._by_id[name] for name in reversed(last) if name in self._by_id]
        return deque((*(check for check in self.checklist.checks if check.id not in last), *moved))

    def _take(self, queue: _Queue) -> None:
        check = queue.popleft()
        if check.id == self.second_looks.due and check.id in self._readings and self.source is not None:
            self._look_again(check, queue, self.source)
        elif check.id in self._readings:
            self._score(check, self._scoring.judged(check, self._readings[check.id]))
            if self._to_be_read_again(check):
                self._ask(check, queue)
        elif check.id in self._skips:
            self._score(check, skipped(check, self._skips[check.id]))
        elif queue and self._awaited(check):
            queue.append(check)
        elif check.sources:
            self._score(check, self._scoring.derived(check, self._readings))
        else:
            self._ask(check, queue)

    def _to_be_read_again(self, check: Check) -> bool:
        """Whether charge is still there: discharge through a resistor, measure again, until it is gone."""
        unproven = check.id not in self._scoring.passed and check.id not in self._skips
        return self.source is not None and check.phase is Phase.RESIDUAL_VOLTAGE and unproven

    def _awaited(self, check: Check) -> tuple[str, ...]:
        """Return what this check needs that is still to come, or was put off, and may come out well."""
        needs = (
            *check.sources,
            *gate_check(check),
            *(self._interlocks.prerequisites(check) if self.source is not None else ()),
        )
        return tuple(
            one for one in needs if one in self._by_id and one not in self._scoring.scores and one != check.id
        )

    def _ask(self, check: Check, queue: _Queue) -> None:
        if self.source is None:
            self._score(check, skipped(check, "no reading given"))
            return
        if self._was_on and not check.powered and self._interlocks.prerequisites(check):
            queue.appendleft(check)
            self._afresh(self._interlocks.before_ohms, queue, _AFTER_POWER)
            return
        obstacles = self._interlocks.in_the_way(check, self._scoring.passed, self.checklist.waivers)
        if obstacles:
            self._score(check, blocked(check, "; ".join(obstacles)))
            return
        again = STILL_CHARGED if check.id in self._readings else ""
        answer = self.source.answer(self._step(check, queue, again))
        if isinstance(answer, Taken | Skip | Later):
            self._leads.answered(check.id)
        self._act(check, answer, queue)

    def _step(self, check: Check, queue: _Queue, again: str) -> Step:
        place, total = self._place(check, len(queue))
        known = self._readings.keys() | self._skips.keys() | self._scoring.scores.keys()
        left = tuple(one for one in queue if not one.sources and one.id not in known)
        after, exchanged = next(iter(left), None), check.id in self._leads.exchanged
        step = Step(check, place, total, self.session, again, after, left, exchanged, read=self._readings)
        return self._tries.known_to(step)

    def _place(self, check: Check, behind: int) -> tuple[int, int]:
        """Return which of how many a check is: of the meter itself, or of the board."""
        own = [one.id for one in self.checklist.checks if one.phase is Phase.SESSION]
        total = len(self.checklist.checks) - len(own)
        return (own.index(check.id) + 1, len(own)) if check.id in own else (total - min(behind, total - 1), total)

    def _look_again(self, check: Check, queue: _Queue, source: Source) -> None:
        """Have a check read a second time; its first reading stands whatever is answered."""
        answer = source.answer(self._step(check, queue, BLIND))
        if isinstance(answer, Remark | Photo | Exchange | Again):
            self._act(check, answer, queue)
            return
        self.second_looks.forget()
        if isinstance(answer, Skip | Later):
            self.journal.append_event(EventKind.NOTE, check.id, f"{LEFT_OUT}: {answer.reason}".removesuffix(": "))
        self._leads.answered(check.id)
        if isinstance(answer, Taken):
            had = self._readings[check.id]
            note = f"{answer.readings[0].note}; {SECOND_LOOK}".removeprefix("; ")
            more = tuple(
                replace(one, repeat=len(had) + place, note=note) for place, one in enumerate(answer.readings, 1)
            )
            self.journal.append_readings(more)
            self._tries.read(check.id)
            self._readings[check.id] = (*had, *more)
            self._learn()
            self._score(check, self._scoring.judged(check, self._readings[check.id]))
        elif isinstance(answer, Undo | Stop | Prefer | LeavePower):
            self._act(check, answer, queue)

    def _act(self, check: Check, answer: Answer, queue: _Queue) -> None:
        match answer:
            case Taken(readings):
                self._keep(check, readings)
                self._second_look(check, queue)
                queue.appendleft(check)
            case Skip(reason):
                seal = self.journal.append_event(EventKind.SKIP, check.id, reason)
                self._skips[check.id] = reason
                self._trail.append(Answered(check.id, seal))
                queue.appendleft(check)
            case Later() | LeavePower():
                self._put_off(check, answer, queue)
            case Stop():
                self._interrupted = True
            case Undo() | Remark() | Photo() | Exchange() | Prefer() | Again():
                queue.appendleft(check)
                self._aside(check, answer, queue)
            case Hindered(reason):
                self._score(check, blocked(check, reason))
            case Trouble(reason):
                self._score(check, erroneous(check, reason))

    def _put_off(self, check: Check, answer: Later | LeavePower, queue: _Queue) -> None:
        """Put a check, or all powered ones, behind the others; with nothing else left the visit stops for now."""
        if isinstance(answer, Later):
            self.journal.append_event(EventKind.LATER, check.id, answer.reason)
            self._scoring.drop(check.id)
            queue.append(check)
            return
        powered = [one for one in (check, *queue) if one.powered]
        for one in powered:
            if not one.sources and one.id not in self._readings and one.id not in self._skips:
                self.journal.append_event(EventKind.LATER, one.id, answer.reason)
        others = [one for one in queue if not one.powered]
        self._interrupted = not others
        queue.clear()
        queue.extend((*others, *powered))

    def _aside(self, check: Check, answer: Undo | Remark | Photo | Exchange | Prefer | Again, queue: _Queue) -> None:
        """Do what leaves the check to be asked again: keep what was said, take back, bring another forward."""
        match answer:
            case Undo():
                self._undo(queue)
            case Remark(text):
                self.journal.append_event(EventKind.NOTE, check.id, text)
            case Photo(name, digest):
                self.journal.append_event(EventKind.PHOTO, check.id, f"{name} {digest}")
            case Exchange():
                self._leads.turn(check.id)
            case Again(_, afresh):
                self._afresh(afresh, queue, "read again before power")
            case Prefer(name):
                bring_forward(queue, name, self._awaited, powered=check.powered)

    def _afresh(self, names: tuple[str, ...], queue: _Queue, why: str) -> None:
        """Have what was read of these checks read again first: what somebody did to the unit may have changed it."""
        self._was_on = self._was_on and not names
        for name in reversed(names):
            if name in self._readings and name in self._by_id:
                if any(one.check == name for one in self.journal.readings()):  # else of a record before this one
                    self.journal.append_event(EventKind.UNDO, name, why)
                del self._readings[name]
                self._learn()
                self._reconsider(self._by_id[name], queue)

    def _keep(self, check: Check, readings: tuple[Reading, ...]) -> None:
        if check.id in self._readings:
            self.journal.append_event(EventKind.UNDO, check.id, "read again")
        self.journal.append_readings(readings)
        self._tries.read(check.id)
        self._was_on = self._was_on or check.powered
        self._readings[check.id] = readings
        self._trail.append(Answered(check.id))
        self._learn()

    def _learn(self) -> None:
        """Take in what the readings so far say about the session as a whole."""
        session = session_facts(self.given, self._readings)
        found = contacts_of(self._readings, self._by_id, self.bench, session) if self.second_looks.every else (0.0, 0)
        self._scoring.told(replace(session, contacts=found))

    def _second_look(self, check: Check, queue: _Queue) -> None:
        """Put a check before the queue that is to be read a second time, if one is due now."""
        chosen = self.second_looks.taken(check, self._readings[check.id]) if self.source is not None else ""
        if chosen in self._by_id:
            queue.appendleft(self._by_id[chosen])

    def _undo(self, queue: _Queue) -> None:
        """Take back the last answer that stands and ask its check again."""
        while self._trail:
            last = self._trail.pop()
            if last.skip_seal:
                self.journal.append_event(EventKind.UNDO, last.check, amends=(last.skip_seal,))
                del self._skips[last.check]
            elif last.check in self._readings:
                self.journal.append_event(EventKind.UNDO, last.check)
                del self._readings[last.check]
                self._learn()
            else:
                continue  # it was read again, and that was taken back already
            self._reconsider(self._by_id[last.check], queue)
            self.observer.undone(self._by_id[last.check])
            return
        self.observer.undone(None)

    def _reconsider(self, check: Check, queue: _Queue) -> None:
        """Put a check before the queue, and after it what was blocked or computed and may now come out otherwise."""
        for other in (*reversed(self._scoring.unsettled_by(check)), check):
            self._scoring.drop(other.id)
            if other not in queue:
                queue.appendleft(other)

    def _by_branches(self) -> None:
        for name, score in self._scoring.by_branches(self._readings).items():
            self._score(self._by_id[name], score)

    def _score(self, check: Check, score: Score) -> None:
        self.tend()
        self._scoring.keep(check, score)
        self.observer.scored(check, score, len(self._scoring.scores), len(self.checklist.checks))
