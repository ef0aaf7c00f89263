"""One run from request to result: bench, readings and journal are opened, the visit conducted, its end kept.

The order matters: everything the user gave is read and found good before the first byte of a record is
written, so that bad input leaves no half record behind.
"""

from __future__ import annotations

import contextlib
import random
from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date as day
from functools import partial
from pathlib import Path
from typing import Any

from benchcheck.bench.model import Bench
from benchcheck.checklist.order import Checklist, draw_up
from benchcheck.checklist.waivers import Waiver, waivers_for
from benchcheck.clock import Clock, SystemClock
from benchcheck.errors import Fault, OutputStateUnknown, UsageError
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.session_checks import session_checks
from benchcheck.plugins.hookspecs import RecordWritten
from benchcheck.readings.file import ReadingsFile, read_readings
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.folders import unit_path
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind, Result, Stage
from benchcheck.record.record import Record
from benchcheck.record.results import results_json, waivers_of
from benchcheck.record.shelf import latest_open
from benchcheck.record.sources import keep_bench, keep_source
from benchcheck.record.store import read_record
from benchcheck.score.model import Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.session.answers import Attended, Observer, Source
from benchcheck.session.exit_code import INTERRUPTED, OUTPUT_UNKNOWN
from benchcheck.session.head import head_for
from benchcheck.session.kept import Kept, by_check, kept_in
from benchcheck.session.power_rules import refuse_above_ceiling
from benchcheck.session.second_look import SecondLooks
from benchcheck.session.self_check import drift, earlier_readings, out_of_order, self_check
from benchcheck.session.sources import FileSetting, WatchedSource
from benchcheck.session.visit import Visit
from benchcheck.session.visit_result import VisitResult, interrupted
from benchcheck.session.which_bench import SIMULATED, bench_of_visit
from benchcheck.spec.board import Board

__all__ = ["Conduct", "Report", "Request"]

_INITIALS = 12


@dataclass(frozen=True, slots=True)
class Request:
    """What a user asked for. `bench` is a path, the word "simulated", or None for ./bench.toml.

    `waive` are pairs of check id and reason; `operator` is initials, kept in the record. `source` names the source of
    readings, with its own words after a colon; "" is the usual one. `soak` is how many minutes the unit then runs,
    `keep_until` the day until which the record should be kept.
    """

    unit: str
    bench: str | None = None
    readings: Path | None = None
    records: Path = Path("records")
    stage: str = "as-left"
    resume: bool = False
    waive: tuple[tuple[str, str], ...] = ()
    operator: str = ""
    source: str = ""
    soak: float = 0.0
    keep_until: day | None = None


@dataclass(frozen=True, slots=True)
class Report:
    """What a run came to: the scores in checklist order, and where the record is.

    `alarm` says why nobody knows whether power is off, "" where it is.
    """

    scores: tuple[Score, ...]
    exit_code: int
    interrupted: bool
    record: Path
    last_seal: str
    bench: Bench
    checklist: Checklist
    alarm: str = ""

    def results(self) -> Mapping[str, Any]:
        """Return results for programs, as the record on the disk has them."""
        return results_json(self.record)


@dataclass(frozen=True, slots=True)
class _Plan:
    """All that was read and found good before anything is written."""

    bench: Bench
    checklist: Checklist
    file: ReadingsFile | None
    resumed: Record | None
    new_waivers: tuple[Waiver, ...]


@dataclass(slots=True)
class Conduct:
    """Carries out one request.

    `read` reads a file of readings, given the words that name its source; a CSV file by default.

    `source` makes the source that asks a person, given the bench; it is called only when no file of readings
    answers. `ready` hears of the checklist before the first check, `done` of the report after the last; `notify`
    is told the notices of the plugin hooks, `told` lines about the instruments, `versions` are pairs of plugin
    and version for the record. One check in `second_look_every` is read a second time, blind; 0 for none.
    `last_word` is asked when nothing is left to ask, and says whether the last answer is to be taken back.
    """

    request: Request
    observer: Observer
    source: Callable[[Bench], Source]
    ready: Callable[[Checklist, Bench], None] = lambda checklist, bench: None
    done: Callable[[Report], None] = lambda report: None
    notify: Callable[..., None] = lambda hook, **argument: None
    told: Callable[[str], None] = lambda line: None
    versions: tuple[tuple[str, str], ...] = ()
    second_look_every: int = 0
    last_word: Callable[[], bool] = lambda: False
    clock: Clock = field(default_factory=SystemClock)
    read: Callable[[str, FileSetting], ReadingsFile] = lambda words, setting: _read_csv(setting)

    def run(self, board: Board, selected: tuple[str, ...], stop_after: int = 0) -> Report:
        """Conduct the selected checks of a board and return the report.

        `stop_after` ends the visit after so many failures; 0 never does. Raises InputError before anything
        is written when what the user gave cannot be used.
        """
        plan = self._plan(board, selected)
        with contextlib.ExitStack() as stack:
            plan, source = self._opened(board, plan, stack)
            attended = source if isinstance(source, Attended) else None
            if isinstance(source, WatchedSource):
                stack.callback(source.close)
            if attended is not None:
                stack.callback(attended.end)
                attended.prepare(plan.checklist)
            self.notify("benchcheck_checklist_ready", checklist=plan.checklist)
            self.ready(plan.checklist, plan.bench)
            journal = stack.enter_context(self._journal(board, plan, attended))
            kept = self._kept(journal, plan)
            if attended is not None:
                plan, result = self._attended(board, plan, attended, journal, kept, stop_after)
            else:
                result = self._visit(board, plan, journal, source, kept, stop_after).conduct()
            report = self._finish(journal, plan, result)
        self.notify("benchcheck_record_written", record=RecordWritten(report.record, report.last_seal))
        self.done(report)
        return report

    def _opened(self, board: Board, plan: _Plan, stack: contextlib.ExitStack) -> tuple[_Plan, Source | None]:
        """Return the source that answers, with the bench it reads; a simulated one is served as long as needed."""
        if plan.file:
            return plan, None
        refuse_above_ceiling(board, plan.bench, plan.checklist.checks)
        if self.request.bench != SIMULATED or self.request.source:
            return plan, self.source(plan.bench)
        from benchcheck.session.simulated import simulated_bench, simulated_source

        served = stack.enter_context(simulated_bench(board, plan.bench))
        return replace(plan, bench=served.bench), simulated_source(served)

    def _visit(
        self, board: Board, plan: _Plan, journal: Journal, source: Source | None, kept: Kept, stop_after: int
    ) -> Visit:
        observer = _Both(self.observer, self.notify)
        given = Session(ambient_c=board.ambient_c)
        visit = Visit(plan.checklist, plan.bench, journal, observer, source, kept, given, stop_after)
        visit.second_looks = SecondLooks(self.second_look_every, random.Random(journal.path.name))
        visit.last_word = self.last_word
        return visit

    def _attended(
        self, board: Board, plan: _Plan, source: Attended, journal: Journal, kept: Kept, stop_after: int
    ) -> tuple[_Plan, VisitResult]:
        """Conduct a visit with instruments: their own checks first, and power off, verified, at the end."""
        source.begin(lambda check, text: journal.append_event(EventKind.INSTRUMENT, check, text))
        result = VisitResult((), INTERRUPTED)
        try:
            judged, undone = partial(self._tell_own, plan.bench), self.observer.undone
            before, kept = kept, self_check(source, source.own_checks(), journal, kept, judged, undone)
            if kept is not before:
                self._tell_drift(kept, source, journal, plan.bench)
            first = _of_the_session(kept.readings)
            plan = replace(plan, checklist=replace(plan.checklist, checks=(*first, *plan.checklist.checks)))
            visit = self._visit(board, plan, journal, source, kept, stop_after)
            visit.tend = source.tend
            result = visit.conduct()
            if self.request.soak and not (result.interrupted or result.alarm):
                self._soak(source, visit, journal)
        except KeyboardInterrupt:
            result = interrupted(result)  # amid the meters' own checks or the soak; what was read is kept
        finally:
            alarm = source.end()
        if alarm and not result.alarm:
            result = replace(result, alarm=alarm, exit_code=OUTPUT_UNKNOWN)
        return plan, result

    def _soak(self, source: Attended, visit: Visit, journal: Journal) -> None:
        """Have the unit run for a while, where nothing stands in the way of power."""
        obstacles = visit.before_power()
        if obstacles:
            line = f"no soak: {'; '.join(obstacles)}"
            journal.append_event(EventKind.INSTRUMENT, "", line)
            self.told(line)
            return
        with contextlib.suppress(OutputStateUnknown):  # the end of the source says it
            self.told(source.soak(self.request.soak))

    def _tell_own(self, bench: Bench, check: Check, readings: tuple[Reading, ...]) -> None:
        """Say at once where what a meter reads of itself is not in order: everything after it would be in doubt."""
        words = out_of_order(check, readings, bench)
        if words:
            self.told(words)

    def _tell_drift(self, kept: Kept, source: Attended, journal: Journal, bench: Bench) -> None:
        """Keep and show how what meters read of themselves lies to their earlier visits."""
        own = {one.id: kept.readings[one.id] for one in source.own_checks() if one.id in kept.readings}
        earlier = earlier_readings(self.request.records, bench, source.identities(), journal.path) if own else {}
        for check, readings in own.items():
            words = drift(readings[-1], earlier.get((readings[-1].meter, check), ()))
            if words:
                journal.append_event(EventKind.INSTRUMENT, check, words)
                self.told(f"{check}: {words}")

    def _plan(self, board: Board, selected: tuple[str, ...]) -> _Plan:
        """Read and check everything that was given; nothing is written here."""
        request = self.request
        unit_path(request.records, request.unit)
        _refuse_long_initials(request.operator)
        resumed = self._resumed(board) if request.resume else None
        bench = bench_of_visit(request, resumed)
        new_waivers = waivers_for(board, request.waive)
        known = {**{check.id: check for check in session_checks()}, **board.by_id}
        shown = CircuitSolver(board, bench).good_reading
        given = FileSetting(request.readings, known, bench, board.withheld, shown) if request.readings else None
        file = self.read(request.source, given) if given else None
        if file and resumed:
            _refuse_contradictions(file, resumed)
        waivers = (*(waivers_of(resumed) if resumed else ()), *new_waivers)
        checklist = draw_up(board, selected, waivers=waivers, at_the_bench=file is None)
        if file:
            read = {reading.check for reading in file.readings}
            checklist = replace(checklist, checks=(*_of_the_session(read), *checklist.checks))
        return _Plan(bench, checklist, file, resumed, new_waivers)

    def _resumed(self, board: Board) -> Record:
        request = self.request
        found = latest_open(request.records, request.unit, board.digest, stage=Stage(request.stage))
        if found is None:
            raise UsageError(Fault("--resume", request.unit, _nothing_to_resume(request)))
        if request.keep_until not in (None, found.head.keep_until):
            raise UsageError(Fault("--keep-until", str(request.keep_until), _kept_until(found)))
        return found

    def _journal(self, board: Board, plan: _Plan, source: Attended | None) -> Journal:
        request = self.request
        if plan.resumed:
            journal = Journal.resume(plan.resumed.path, self.clock)
            journal.append_event(EventKind.RESUMED, operator=request.operator)
            for waiver in plan.new_waivers:
                journal.append_event(EventKind.WAIVER, waiver.check, waiver.reason)
            return journal
        keep_source(request.records, board.source)
        bench_digest = keep_bench(request.records, plan.bench.source)
        known = source.identities() if source is not None else {}
        head = head_for(board, plan.bench, plan.checklist, request, bench_digest, self.versions, known)
        return Journal.create(request.records, head, self.clock)

    def _kept(self, journal: Journal, plan: _Plan) -> Kept:
        """Return what stands already: what a resumed record holds, then the readings of the file."""
        kept = kept_in(read_record(journal.path, with_budgets=False)) if plan.resumed else Kept()
        if not plan.file:
            return kept
        now = self.clock.now()
        fresh = [replace(one, taken=now) for one in plan.file.readings if one.check not in kept.readings]
        journal.append_readings(fresh)
        return replace(kept, readings={**kept.readings, **by_check(fresh)})

    def _finish(self, journal: Journal, plan: _Plan, result: VisitResult) -> Report:
        counts = Counter(str(score.verdict or score.outcome) for score in result.scores)
        journal.append_scores(result.scores)
        journal.append_result(Result(result.exit_code, tuple(sorted(counts.items()))))
        return Report(
            result.scores,
            result.exit_code,
            result.interrupted,
            journal.path,
            journal.last_seal,
            plan.bench,
            plan.checklist,
            result.alarm,
        )


@dataclass(frozen=True, slots=True)
class _Both:
    """Tells an observer and the plugins."""

    observer: Observer
    notify: Callable[..., None]

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        self.observer.scored(check, score, place, total)
        self.notify("benchcheck_check_scored", score=score)

    def undone(self, check: Check | None) -> None:
        self.observer.undone(check)


def _read_csv(setting: FileSetting) -> ReadingsFile:
    return read_readings(
        setting.path, setting.checks, setting.bench, withheld=setting.withheld, on_board=setting.on_board
    )


def _refuse_contradictions(file: ReadingsFile, resumed: Record) -> None:
    """Raise UsageError for every line that says something else than the record that is gone on with."""
    kept = {(one.check, one.repeat): one.display for one in resumed.readings}
    faults = [
        Fault(
            f"{file.name}:{one.line}", one.check, _contradiction(kept[one.check, one.repeat].text, one.display.text)
        )
        for one in file.readings
        if kept.get((one.check, one.repeat), one.display) != one.display
    ]
    if faults:
        raise UsageError(faults)


def _contradiction(kept: str, found: str) -> str:
    return f'is "{kept}" in the record already and "{found}" here; take the line out, or begin a new visit'


def _refuse_long_initials(operator: str) -> None:
    if len(operator) > _INITIALS or not operator.isprintable():
        message = f'"{operator[:40]}" is more than initials; write at most {_INITIALS} characters'
        raise UsageError(Fault("--operator", "", message))


def _of_the_session(read: Collection[str]) -> tuple[Check, ...]:
    """Return the reserved checks that were read, by id, and that have limits to be judged by."""
    return tuple(
        check for check in session_checks() if check.id in read and check.limits != Limits(origin=check.limits.origin)
    )


def _kept_until(resumed: Record) -> str:
    stands = resumed.head.keep_until or "no day"
    return (
        f"is set when a visit begins, and {resumed.name} says {stands}; leave it out with --resume, "
        "or note the other day with records amend"
    )


def _nothing_to_resume(request: Request) -> str:
    return (
        f"{request.records} holds no unfinished visit of this unit, stage {request.stage}, under this very spec; "
        "begin one without --resume, or name the copy of the spec under sources"
    )
