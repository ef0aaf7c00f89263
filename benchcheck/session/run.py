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
from benchcheck.checklist.waivers import waivers_for
from benchcheck.clock import Clock, SystemClock
from benchcheck.errors import Fault, UsageError
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.file import ReadingsFile, read_readings
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.journal import Journal
from benchcheck.record.model import Result, Stage
from benchcheck.record.results import results_json
from benchcheck.record.shelf import latest_open
from benchcheck.record.sources import keep_bench, keep_source
from benchcheck.record.store import read_record
from benchcheck.score.model import Score
from benchcheck.session.answers import Observer, Source
from benchcheck.session.head import head_for
from benchcheck.session.visit import Visit, VisitResult
from benchcheck.spec.board import Board

__all__ = ["Conduct", "Report", "Request", "bench_from"]


@dataclass(frozen=True, slots=True)
class Request:
    """What a user asked for. `bench` is a path, the word "simulated", or None for ./bench.toml."""

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
    """What a run came to: the scores in checklist order, where the record is, and results for programs."""

    scores: tuple[Score, ...]
    exit_code: int
    interrupted: bool
    record: Path
    last_seal: str
    bench: Bench
    checklist: Checklist
    results: Mapping[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Conduct:
    """Carries out one request.

    `source` makes the source that asks a person, given the bench; it is called only when no file of readings
    answers. `ready` hears of the checklist before the first check, `done` of the report after the last.
    """

    request: Request
    observer: Observer
    source: Callable[[Bench], Source]
    ready: Callable[[Checklist, Bench], None] = lambda checklist, bench: None
    done: Callable[[Report], None] = lambda report: None
    clock: Clock = field(default_factory=SystemClock)

    def run(self, board: Board, selected: tuple[str, ...], stop_after: int = 0) -> Report:
        """Conduct the selected checks of a board and return the report.

        `stop_after` ends the visit after so many failures; 0 never does. Raises InputError before anything
        is written when what the user gave cannot be used.
        """
        request = self.request
        bench = bench_from(request.bench)
        waivers = waivers_for(board, request.waive)
        known = {**{check.id: check for check in session_checks()}, **board.by_id}
        file = read_readings(request.readings, known, bench, withheld=board.withheld) if request.readings else None
        checklist = draw_up(board, selected, waivers=waivers, at_the_bench=file is None)
        if file:
            checklist = replace(checklist, checks=(*_of_the_session(file), *checklist.checks))
        source = None if file else self.source(bench)
        self.ready(checklist, bench)
        with self._journal(board, bench, checklist) as journal:
            visit = Visit(
                checklist,
                bench,
                journal,
                self.observer,
                source,
                kept=self._kept(journal, file),
                session=Session(ambient_c=board.ambient_c),
                stop_after=stop_after,
            )
            return self._finish(journal, checklist, bench, visit.conduct())

    def _journal(self, board: Board, bench: Bench, checklist: Checklist) -> Journal:
        request = self.request
        if request.resume:
            found = latest_open(request.records, request.unit, board.digest, stage=Stage(request.stage))
            if found is None:
                raise UsageError(Fault("--resume", request.unit, _nothing_to_resume(request)))
            journal = Journal.resume(found.path, self.clock)
            journal.append_event("resumed")
            return journal
        keep_source(request.records, board.source)
        bench_digest = keep_bench(request.records, bench.source)
        return Journal.create(request.records, head_for(board, bench, checklist, request, bench_digest), self.clock)

    def _kept(self, journal: Journal, file: ReadingsFile | None) -> dict[str, tuple[Reading, ...]]:
        """Return the readings already accepted, by check: those of a resumed record, then those of the file."""
        kept = _by_check(read_record(journal.path, with_budgets=False).readings)
        if file:
            fresh = tuple(reading for reading in file.readings if reading.check not in kept)
            stamped = tuple(replace(reading, taken=self.clock.now()) for reading in fresh)
            journal.append_readings(stamped)
            kept.update(_by_check(stamped))
        return kept

    def _finish(self, journal: Journal, checklist: Checklist, bench: Bench, result: VisitResult) -> Report:
        counts = Counter(str(score.verdict or score.outcome) for score in result.scores)
        journal.append_scores(result.scores)
        journal.append_result(Result(result.exit_code, tuple(sorted(counts.items()))))
        report = Report(
            result.scores,
            result.exit_code,
            result.interrupted,
            journal.path,
            journal.last_seal,
            bench,
            checklist,
            results_json(journal.path),
        )
        self.done(report)
        return report


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


def _by_check(readings: tuple[Reading, ...]) -> dict[str, tuple[Reading, ...]]:
    by_check: dict[str, tuple[Reading, ...]] = {}
    for reading in readings:
        by_check[reading.check] = (*by_check.get(reading.check, ()), reading)
    return by_check
