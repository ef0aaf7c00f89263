"""After a visit that found something wrong: the likely cause and where the probes go next, in a line each."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.wording import short_lines
from benchcheck.errors import BenchcheckError
from benchcheck.record.store import read_record
from benchcheck.session.run import Report
from benchcheck.shelf import shelf_of_user
from benchcheck.terminal.wrapping import wrapped

__all__ = ["likely_lines"]

#: parts beyond which a likely cause takes minutes: it is then asked for by itself.
_MOST_PARTS = 300


def likely_lines(report: Report) -> Iterator[str]:
    """Yield what a failed visit's readings say, in short; nothing where the circuit cannot be solved."""
    board = report.checklist.board
    if len(board.parts) > _MOST_PARTS:
        yield f"{len(board.parts)} parts: a likely cause takes minutes; ask benchcheck diagnose {report.record}"
        return
    try:
        readings = read_record(report.record, with_budgets=False).readings
        found = diagnose(board, report.bench, readings, across=False, shelf=shelf_of_user())
    except BenchcheckError:
        return  # the verdicts stand without it
    for line in short_lines(found):
        yield from wrapped(line, "", "  ")
    yield f"more: benchcheck diagnose {report.record}"
