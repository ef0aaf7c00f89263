"""A visit on the screen: cautions and what lies ahead, a line a check, the tally and where the record is."""

from __future__ import annotations

import sys
from collections.abc import Callable

from benchcheck.bench.model import Bench
from benchcheck.checklist.cautions import cautions_for
from benchcheck.checklist.order import Checklist
from benchcheck.errors import Fault, UsageError
from benchcheck.kinds.check import Check
from benchcheck.score.model import Score, Verdict
from benchcheck.session.answers import Source
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.terminal.lines import summary_line
from benchcheck.terminal.prompt import ACTIONS, PromptSource
from benchcheck.terminal.screen import Screen

__all__ = ["conduct_on_screen"]


def conduct_on_screen(request: Request, *, lines: bool = True, screen: Screen | None = None) -> Conduct:
    """Return what conducts a request with a person at this terminal; `lines` shows every score as it comes."""
    screen = screen or Screen()
    show = _Show(request, screen, lines)
    return Conduct(request, show, show.source, ready=show.ready, done=show.done)


class _Show:
    """The screen's side of one run."""

    def __init__(self, request: Request, screen: Screen, lines: bool) -> None:
        self._request = request
        self._screen = screen
        self._lines = lines

    def source(self, bench: Bench) -> Source:
        if not sys.stdin.isatty():
            message = "there is no terminal to ask at; give the readings with --readings FILE"
            raise UsageError(Fault("", "", message))
        return PromptSource(self._screen.ask, self._screen.tell, _meter_name(bench))

    def ready(self, checklist: Checklist, bench: Bench) -> None:
        board = checklist.board
        self._screen.heading(f"{board.model} {board.revision}".strip() + f", unit {self._request.unit}")
        self._screen.cautions(cautions_for(board))
        if checklist.pulled_in:
            self._screen.tell(f"  {len(checklist.pulled_in)} checks come along because selected ones need them first")
        if self._request.readings is None:
            self._screen.tell(f"  type {ACTIONS}")
        self._screen.tell()

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        if self._lines:
            self._screen.scored(check, score, place, total)

    def undone(self, check: Check) -> None:
        self._screen.undone(check)

    def done(self, report: Report) -> None:
        screen = self._screen
        screen.heading(f"{len(report.scores)} checks: {summary_line(report.scores)}")
        conditional = [score.check for score in report.scores if score.verdict is Verdict.CONDITIONAL_PASS]
        if conditional:
            screen.tell(f"inside the limits, but nearer to them than the uncertainty: {', '.join(conditional)}")
        rule = report.bench.decision
        screen.tell(f"decision rule: {rule.name}; {rule.guard_band}")
        screen.tell(f"record: {report.record}")
        screen.tell(f"last seal: {report.last_seal}")
        if report.interrupted:
            screen.tell("stopped; everything accepted is kept, --resume goes on")


def _meter_name(bench: Bench) -> Callable[[Check], str]:
    def name(check: Check) -> str:
        meter = bench.meter_for(check.function) if check.function.metered else None
        return meter.name if meter else ""

    return name
