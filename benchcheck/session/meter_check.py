"""The meters' own checks outside a visit: read, judged, and compared with the visits on record. Nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from benchcheck.bench.model import Bench
from benchcheck.checklist.order import Checklist
from benchcheck.errors import InstrumentError
from benchcheck.kinds.check import Check, Limits
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Score
from benchcheck.session.answers import Attended, Exchange, Step, Stop, Taken
from benchcheck.session.self_check import drift, earlier_readings
from benchcheck.session.simulated import bare_board

__all__ = ["meter_check"]


def meter_check(source: Attended, bench: Bench, records: Path) -> Iterator[tuple[Check, Score | None, str]]:
    """Yield each check with its score, None where it has no limits, and in words how it drifted or why it is missing.

    InstrumentError or BenchError when a meter cannot be opened. Ends where somebody stops.
    """
    source.prepare(Checklist(bare_board(), ()))
    try:
        earlier = earlier_readings(records, bench, source.identities())
        own = source.own_checks()
        if not own:
            raise InstrumentError("no meter of this bench has a link; give it one, or check it by eye")
        for place, check in enumerate(own, 1):
            step = Step(check, place, len(own), Session())
            while isinstance(answer := source.answer(step), Exchange):
                step = replace(step, exchanged=not step.exchanged)
            if isinstance(answer, Stop):
                return
            if not isinstance(answer, Taken):
                yield check, None, getattr(answer, "reason", "") or "left out"
                continue
            last = answer.readings[-1]
            limited = check.limits != Limits(origin=check.limits.origin)
            score = judge(check, answer.readings, bench, Session()) if limited else None
            yield check, score, drift(last, earlier.get((last.meter, check.id), ()))
    finally:
        source.end()
