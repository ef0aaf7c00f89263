"""A unit at a bench, asked check by check from Python: the same interlocks, the same journal, no list to work off.

A test names a check; what it needs before it (charge gone, shorts cleared) is taken first, as in a visit. Everything
read is in one record, begun with the first reading and ended with the sitting.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from pathlib import Path

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.order import Checklist, draw_up
from benchcheck.checklist.waivers import waivers_for
from benchcheck.clock import Clock, SystemClock
from benchcheck.errors import Fault, OutputStateUnknown, UsageError, close_match
from benchcheck.kinds.check import Check
from benchcheck.plugins.hookspecs import RecordWritten
from benchcheck.readings.reading import Session
from benchcheck.readings.typed import read_typed
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind, Result
from benchcheck.record.sources import keep_bench, keep_source
from benchcheck.score.model import Score
from benchcheck.session.answers import Answer, Attended, Skip, Source, Step, Taken
from benchcheck.session.exit_code import OUTPUT_UNKNOWN, PASSED, exit_code
from benchcheck.session.head import head_for
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.kept import Kept, by_check
from benchcheck.session.run import Request
from benchcheck.session.self_check import self_check
from benchcheck.session.visit import Visit
from benchcheck.spec.board import Board

__all__ = ["Sitting"]

NOBODY = "nobody is there to place probes, and no reading was given"


class _Selective(Visit):
    """A visit that takes the checks it is asked for, when it is asked for them."""

    def take(self, names: Collection[str]) -> None:
        """Take the checks of these ids that are not scored yet, in the order of the list."""
        queue = self._as_put_off()
        for check in tuple(queue):
            if check.id not in names or check.id in self._scoring.scores:
                queue.remove(check)
        while queue and not self._interrupted:
            self.tend()
            self._take(queue)
        if self._interrupted:
            raise KeyboardInterrupt

    @property
    def scores(self) -> tuple[Score, ...]:
        """Every score so far, in the order of the list."""
        return self._scoring.in_order


@dataclass(slots=True)
class _Dictated:
    """Answers with what was shown where that is known, else asks the source, where there is one."""

    source: Source | None
    shown: dict[str, str] = field(default_factory=dict)
    given: dict[str, str] = field(default_factory=dict)

    def answer(self, step: Step) -> Answer:
        text = self.shown.pop(step.check.id, None)
        if text is not None:
            return Taken((read_typed(step.check, text),))
        if self.source is None:
            return Skip(NOBODY)
        return self.source.answer(step)


@dataclass(slots=True)
class _Notices:
    """Tells the plugins of the run what was scored."""

    notify: Callable[..., None]

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        self.notify("benchcheck_check_scored", score=score)

    def undone(self, check: Check | None) -> None:
        """Nobody can undo here."""


@dataclass(slots=True)
class Sitting:
    """One unit on one bench, between two calls of `take`.

    `source` answers what no reading is given for, None where nobody can. `notify` is told the notices of the plugin
    hooks, `versions` are pairs of plugin and version. Use it as a context manager, or call `close`.
    """

    board: Board
    bench: Bench
    request: Request
    source: Source | None = None
    notify: Callable[..., None] = lambda hook, **argument: None
    versions: tuple[tuple[str, str], ...] = ()
    clock: Clock = field(default_factory=SystemClock)
    record: Path | None = None
    last_seal: str = ""
    _journal: Journal | None = None
    _visit: _Selective | None = None
    _dictated: _Dictated = field(init=False)
    _closed: bool = False

    def __post_init__(self) -> None:
        self._dictated = _Dictated(self.source)

    def take(self, check: str | Check, shown: str | None = None) -> Score:
        """Return the score of a check, taken now unless it was before; what it needs first is taken first.

        `check` is an id of the board or a check of one's own, `shown` what a display showed for it, as one would
        type it. Raises UsageError for an id the board has not and for another reading of what was taken before,
        ReadingsError for what is no reading, OutputStateUnknown when nobody can say whether power is off.
        """
        wanted = self._known(check)
        if shown is not None:
            self._refuse_second(wanted, shown)
            read_typed(wanted, shown)
            self._dictated.shown[wanted.id] = self._dictated.given[wanted.id] = shown
        visit = self._visiting()
        visit.take(self._with_needs((wanted.id,)))
        return next(score for score in visit.scores if score.check == wanted.id)

    def _refuse_second(self, check: Check, shown: str) -> None:
        """Raise UsageError where a reading is given for what was taken already: it must not pass for judged."""
        taken = any(score.check == check.id for score in self.scores)
        if taken and self._dictated.given.get(check.id) != shown:
            message = f"{shown!r} comes too late, it was taken before; give its reading where it is first needed"
            raise UsageError(Fault("", check.id, message))

    def in_the_way(self, check: Check | None = None) -> tuple[str, ...]:
        """Return what stands in the way of power, or of one check, in words, after taking what can clear it."""
        powered = check or next((one for one in self.board.checks if one.powered), None)
        if powered is None:
            return self.board.power_refusals or ("the spec describes nothing that is measured under power",)
        if self.board.power_refusals:
            return self.board.power_refusals
        interlocks = Interlocks.of(self.board)
        visit = self._visiting()
        visit.take(self._with_needs(interlocks.prerequisites(powered)))
        passed = {score.check for score in visit.scores if score.verdict in PASSED}
        return interlocks.in_the_way(powered, passed, visit.checklist.waivers)

    def power_off(self, why: str) -> None:
        """Switch off, in good order, what is on; OutputStateUnknown when it is not seen off."""
        if isinstance(self.source, InstrumentedSource) and self.source.power is not None:
            self.source.power.off(why)

    @property
    def scores(self) -> tuple[Score, ...]:
        """Every score so far, in the order of a visit."""
        return self._visit.scores if self._visit is not None else ()

    def close(self) -> None:
        """Switch off, keep the scores and the result; OutputStateUnknown when it is not seen off."""
        if self._closed:
            return
        self._closed = True
        alarm = self.source.end() if isinstance(self.source, Attended) else ""
        if self._journal is not None:
            self._finish(self._journal, alarm)
        if alarm:
            raise OutputStateUnknown(alarm)

    def __enter__(self) -> Sitting:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Switch off and keep the result, whatever happened."""
        self.close()

    # ---- inside

    def _known(self, check: str | Check) -> Check:
        if isinstance(check, Check):
            if self.board.by_id.get(check.id) != check:
                self._extend(check)
            return check
        found = self.board.by_id.get(check)
        if found is None:
            hint = close_match(check, self.board.by_id) or "; check-spec lists its checks"
            raise UsageError(Fault(self.board.name, check, f"the board has no such check{hint}"))
        return found

    def _extend(self, check: Check) -> None:
        """Put a check of somebody's own on the board; UsageError where its id is taken."""
        if check.id in self.board.by_id:
            raise UsageError(
                Fault(self.board.name, check.id, "is a check of the board already; give yours another id")
            )
        if check.powered and self.board.power_refusals:
            raise UsageError(Fault(self.board.name, check.id, "; ".join(self.board.power_refusals)))
        board = self.board
        self.board = replace(board, checks=(*board.checks, check), by_id={**board.by_id, check.id: check})
        self._visit = None  # the next one begins with every reading there is

    def _with_needs(self, names: tuple[str, ...]) -> set[str]:
        return {check.id for check in draw_up(self.board, names).checks}

    def _visiting(self) -> _Selective:
        if self._closed:
            raise UsageError("this sitting is over; begin another one")
        if self._visit is None:
            journal = self._begun()
            checklist = self._checklist()
            kept = Kept(readings=by_check(journal.readings()))
            given = Session(ambient_c=self.board.ambient_c)
            told = _Notices(self.notify)
            self._visit = _Selective(checklist, self.bench, journal, told, self._dictated, kept, given)
            if isinstance(self.source, Attended):
                self._visit.tend = self.source.tend
        return self._visit

    def _checklist(self) -> Checklist:
        waivers = waivers_for(self.board, self.request.waive)
        return draw_up(self.board, tuple(self.board.by_id), waivers=waivers)

    def _begun(self) -> Journal:
        """Return the journal, begun with the first check: the bench looked at first, the meter's own checks next."""
        if self._journal is not None:
            return self._journal
        attended = self.source if isinstance(self.source, Attended) else None
        checklist = self._checklist()
        if attended is not None:
            attended.prepare(checklist)
        self.notify("benchcheck_checklist_ready", checklist=checklist)
        keep_source(self.request.records, self.board.source)
        digest = keep_bench(self.request.records, self.bench.source)
        identities = attended.identities() if attended is not None else {}
        head = head_for(self.board, self.bench, checklist, self.request, digest, self.versions, identities)
        journal = self._journal = Journal.create(self.request.records, head, self.clock)
        self.record = journal.path
        if attended is not None:
            attended.begin(lambda check, text: journal.append_event(EventKind.INSTRUMENT, check, text))
            own = tuple(one for one in attended.own_checks() if one.function is not Function.DERIVED)
            self_check(attended, own, journal, Kept())
        return journal

    def _finish(self, journal: Journal, alarm: str) -> None:
        scores = self.scores
        code = OUTPUT_UNKNOWN if alarm else exit_code(scores)
        counts = Counter(str(score.verdict or score.outcome) for score in scores)
        with journal:
            journal.append_scores(scores)
            self.last_seal = journal.append_result(Result(code, tuple(sorted(counts.items()))))
        self.notify("benchcheck_record_written", record=RecordWritten(journal.path, self.last_seal))
