"""One run from request to result: bench, readings and journal are opened, the visit conducted, its end kept.

The order matters: everything the user gave is read and found good before the first byte of a record is
written, so that bad input leaves no half record behind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.checklist.order import Checklist, draw_up
from benchcheck.checklist.waivers import Waiver, waivers_for
from benchcheck.clock import Clock, SystemClock
from benchcheck.document import digest_of, parse_document
from benchcheck.errors import BenchError, Fault, UsageError
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.session_checks import session_checks
from benchcheck.plugins.hookspecs import RecordWritten
from benchcheck.readings.file import ReadingsFile, read_readings
from benchcheck.readings.reading import Session
from benchcheck.record.folders import unit_path
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind, Result, Stage
from benchcheck.record.record import Record
from benchcheck.record.results import results_json, waivers_of
from benchcheck.record.shelf import latest_open
from benchcheck.record.sources import keep_bench, keep_source, read_source, without_addresses
from benchcheck.record.store import read_record
from benchcheck.score.model import Score
from benchcheck.session.answers import Observer, Source
from benchcheck.session.head import head_for
from benchcheck.session.kept import Kept, by_check, kept_in
from benchcheck.session.visit import Visit, VisitResult
from benchcheck.spec.board import Board

__all__ = ["Conduct", "Report", "Request", "bench_from"]

_INITIALS = 12


@dataclass(frozen=True, slots=True)
class Request:
    """What a user asked for. `bench` is a path, the word "simulated", or None for ./bench.toml.

    `waive` are pairs of check id and reason; `operator` is initials, kept in the record.
    """

    unit: str
    bench: str | None = None
    readings: Path | None = None
    records: Path = Path("records")
    stage: str = "as-left"
    resume: bool = False
    waive: tuple[tuple[str, str], ...] = ()
    operator: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """What a run came to: the scores in checklist order, and where the record is."""

    scores: tuple[Score, ...]
    exit_code: int
    interrupted: bool
    record: Path
    last_seal: str
    bench: Bench
    checklist: Checklist

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

    `source` makes the source that asks a person, given the bench; it is called only when no file of readings
    answers. `ready` hears of the checklist before the first check, `done` of the report after the last; `notify`
    is told the notices of the plugin hooks, `versions` are pairs of plugin and version for the record.
    """

    request: Request
    observer: Observer
    source: Callable[[Bench], Source]
    ready: Callable[[Checklist, Bench], None] = lambda checklist, bench: None
    done: Callable[[Report], None] = lambda report: None
    notify: Callable[..., None] = lambda hook, **argument: None
    versions: tuple[tuple[str, str], ...] = ()
    clock: Clock = field(default_factory=SystemClock)

    def run(self, board: Board, selected: tuple[str, ...], stop_after: int = 0) -> Report:
        """Conduct the selected checks of a board and return the report.

        `stop_after` ends the visit after so many failures; 0 never does. Raises InputError before anything
        is written when what the user gave cannot be used.
        """
        plan = self._plan(board, selected)
        source = None if plan.file else self.source(plan.bench)
        self.notify("benchcheck_checklist_ready", checklist=plan.checklist)
        self.ready(plan.checklist, plan.bench)
        with self._journal(board, plan) as journal:
            visit = Visit(
                plan.checklist,
                plan.bench,
                journal,
                _Both(self.observer, self.notify),
                source,
                self._kept(journal, plan),
                Session(ambient_c=board.ambient_c),
                stop_after,
            )
            report = self._finish(journal, plan, visit.conduct())
        self.notify("benchcheck_record_written", record=RecordWritten(report.record, report.last_seal))
        self.done(report)
        return report

    def _plan(self, board: Board, selected: tuple[str, ...]) -> _Plan:
        """Read and check everything that was given; nothing is written here."""
        request = self.request
        unit_path(request.records, request.unit)
        _refuse_long_initials(request.operator)
        resumed = self._resumed(board) if request.resume else None
        bench = _bench_of_visit(request, resumed)
        new_waivers = waivers_for(board, request.waive)
        known = {**{check.id: check for check in session_checks()}, **board.by_id}
        file = read_readings(request.readings, known, bench, withheld=board.withheld) if request.readings else None
        if file and resumed:
            _refuse_contradictions(file, resumed)
        waivers = (*(waivers_of(resumed) if resumed else ()), *new_waivers)
        checklist = draw_up(board, selected, waivers=waivers, at_the_bench=file is None)
        if file:
            checklist = replace(checklist, checks=(*_of_the_session(file), *checklist.checks))
        return _Plan(bench, checklist, file, resumed, new_waivers)

    def _resumed(self, board: Board) -> Record:
        request = self.request
        found = latest_open(request.records, request.unit, board.digest, stage=Stage(request.stage))
        if found is None:
            raise UsageError(Fault("--resume", request.unit, _nothing_to_resume(request)))
        return found

    def _journal(self, board: Board, plan: _Plan) -> Journal:
        request = self.request
        if plan.resumed:
            journal = Journal.resume(plan.resumed.path, self.clock)
            journal.append_event(EventKind.RESUMED, operator=request.operator)
            for waiver in plan.new_waivers:
                journal.append_event(EventKind.WAIVER, waiver.check, waiver.reason)
            return journal
        keep_source(request.records, board.source)
        bench_digest = keep_bench(request.records, plan.bench.source)
        head = head_for(board, plan.bench, plan.checklist, request, bench_digest, self.versions)
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


def bench_from(name: str | None) -> Bench:
    """Return the bench a user named: a path, the word "simulated", or ./bench.toml when nothing was said."""
    if name == "simulated":
        return default_bench()
    path = Path(name or "bench.toml")
    if name is None and not path.exists():
        raise UsageError(
            Fault("--bench", "", "there is no ./bench.toml; name a bench file, or write --bench simulated")
        )
    return load_bench(path)


def _bench_of_visit(request: Request, resumed: Record | None) -> Bench:
    """Return the bench asked for; a visit that goes on keeps the one it began with, from its copy if need be.

    Raises UsageError where another bench is named for it: readings of two benches are two visits.
    """
    if resumed is None:
        return bench_from(request.bench)
    digest = resumed.head.bench_digest
    if request.bench is not None or Path("bench.toml").exists():
        bench = bench_from(request.bench)
        if digest_of(without_addresses(bench.source)) == digest:
            return bench
        if request.bench is not None:
            found = "is not the bench this visit was begun with; leave --bench out, or begin a new visit"
            raise UsageError(Fault("--bench", request.bench, found))
    text = read_source(request.records, digest)
    return load_bench(parse_document(text, "the bench kept with the record", error=BenchError))


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


def _of_the_session(file: ReadingsFile) -> tuple[Check, ...]:
    """Return the reserved checks the file has readings of and that have limits to be judged by."""
    read = {reading.check for reading in file.readings}
    return tuple(
        check for check in session_checks() if check.id in read and check.limits != Limits(origin=check.limits.origin)
    )


def _nothing_to_resume(request: Request) -> str:
    return (
        f"{request.records} holds no unfinished visit of this unit, stage {request.stage}, under this very spec; "
        "begin one without --resume, or name the copy of the spec under sources"
    )
