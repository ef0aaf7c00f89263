"""The meter checks itself before a visit: leads shorted, a known resistor, a diode, a cell; and how it has drifted.

What they read is kept as readings of the visit, and compared with what the same meter read on earlier visits, of
whatever unit. A drift is told and kept, it decides nothing: what is out of limits is scored like any check.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from benchcheck.bench.model import Bench
from benchcheck.errors import MetrologyError, RecordError
from benchcheck.kinds.check import Check, Limits
from benchcheck.quantity import format_value
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind, Instrument
from benchcheck.record.shelf import record_files, unit_folders
from benchcheck.record.store import read_record
from benchcheck.score.judge import judge
from benchcheck.session.answers import (
    Answer,
    Exchange,
    Hindered,
    Later,
    Photo,
    Remark,
    Skip,
    Source,
    Step,
    Stop,
    Taken,
    Trouble,
    Undo,
)
from benchcheck.session.exit_code import PASSED
from benchcheck.session.kept import Answered, Kept
from benchcheck.session.leads import Leads
from benchcheck.session.tries import Tries

__all__ = ["Earlier", "drift", "earlier_readings", "out_of_order", "self_check"]

#: is told a check and the readings that answer it.
Judged = Callable[[Check, tuple[Reading, ...]], None]
#: how many visits are looked back: enough to see a drift, few enough to read at once.
_VISITS = 8
#: the reason kept where one of these checks is put off without any.
LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class Earlier:
    """What one meter read for one of its own checks on an earlier visit, in the check's quantity unit."""

    value: float
    taken: datetime | None


def self_check(
    source: Source,
    checks: tuple[Check, ...],
    journal: Journal,
    kept: Kept,
    judged: Judged | None = None,
    undone: Callable[[Check | None], None] = lambda check: None,
) -> Kept:
    """Ask for the meter's own checks that are not answered yet; return what is kept then, which is in the journal.

    One put off is left out: without it the visit goes on with what bench and record say. `judged` hears of every
    reading at once, since a broken lead must be known before it has spoilt a visit, `undone` of what is taken back,
    None where there is nothing. KeyboardInterrupt where somebody would rather stop.
    """
    tries = Tries(journal, dict(kept.tries))
    own = _OwnChecks(source, {check.id: check for check in checks}, journal, judged, undone, kept, tries)
    queue = deque(check for check in checks if check.id not in kept.readings and check.id not in kept.skips)
    while queue:
        own.take(queue)
    return own.kept


@dataclass(slots=True)
class _OwnChecks:
    """The meter's own checks, by id, while they are asked for."""

    source: Source
    checks: Mapping[str, Check]
    journal: Journal
    judged: Judged | None
    undone: Callable[[Check | None], None]
    kept: Kept
    tries: Tries

    def take(self, queue: deque[Check]) -> None:
        """Ask for the next check of the queue, and do what is answered."""
        check = queue.popleft()
        answer = self.source.answer(self.tries.known_to(self._step(check, queue)))
        match answer:
            case Taken(readings):
                self.journal.append_readings(readings)
                self.tries.read(check.id)
                self.kept = replace(self.kept, readings={**self.kept.readings, check.id: readings})
                self._answered(Answered(check.id))
                if self.judged is not None:
                    self.judged(check, readings)
            case Skip(reason) | Later(reason):
                seal = self.journal.append_event(EventKind.SKIP, check.id, reason or LEFT_OUT)
                self.kept = replace(self.kept, skips={**self.kept.skips, check.id: reason or LEFT_OUT})
                self._answered(Answered(check.id, seal))
            case Stop():
                raise KeyboardInterrupt
            case other:
                self._aside(check, other, queue)

    def _step(self, check: Check, queue: deque[Check]) -> Step:
        total, exchanged = len(self.checks), check.id in self.kept.exchanged
        after = queue[0] if queue else None
        return Step(check, total - len(queue), total, Session(), after=after, exchanged=exchanged)

    def _answered(self, answered: Answered) -> None:
        exchanged = tuple(one for one in self.kept.exchanged if one != answered.check)
        self.kept = replace(self.kept, trail=(*self.kept.trail, answered), exchanged=exchanged)

    def _aside(self, check: Check, answer: Answer, queue: deque[Check]) -> None:
        """Keep a note or a photo, or take the last answer back; an instrument that fails lets its check go."""
        match answer:
            case Remark(text):
                self.journal.append_event(EventKind.NOTE, check.id, text)
            case Photo(name, digest):
                self.journal.append_event(EventKind.PHOTO, check.id, f"{name} {digest}")
            case Exchange():
                leads = Leads(self.journal, set(self.kept.exchanged))
                leads.turn(check.id)
                self.kept = replace(self.kept, exchanged=tuple(leads.exchanged))
            case Hindered(reason) | Trouble(reason):
                self.journal.append_event(EventKind.INSTRUMENT, check.id, reason)
                return
            case _:
                pass
        queue.appendleft(check)
        if isinstance(answer, Undo):
            self._undo(queue)

    def _undo(self, queue: deque[Check]) -> None:
        """Take back the last answer to a check of the meter itself, and ask that again."""
        last = next((one for one in reversed(self.kept.trail) if one.check in self.checks), None)
        if last is None:
            self.undone(None)
            return
        check = self.checks[last.check]
        self.journal.append_event(EventKind.UNDO, last.check, amends=(last.skip_seal,) if last.skip_seal else None)
        self.kept = replace(
            self.kept,
            readings={name: one for name, one in self.kept.readings.items() if name != last.check},
            skips={name: one for name, one in self.kept.skips.items() if name != last.check},
            trail=tuple(one for one in self.kept.trail if one is not last),
        )
        queue.appendleft(check)
        self.undone(check)


def out_of_order(check: Check, readings: tuple[Reading, ...], bench: Bench) -> str:
    """Return in words what is wrong with what a meter reads of itself, "" where nothing is, or nothing is known."""
    if check.limits == Limits(origin=check.limits.origin):
        return ""
    try:
        score = judge(check, readings, bench, Session())
    except MetrologyError:
        return ""
    if score.verdict in PASSED:
        return ""
    return f"{check.id} reads {readings[-1].display.text}: {score.because}. Put it right, then undo and take it again"


def earlier_readings(
    records: Path, bench: Bench, identities: Mapping[str, str], skip: Path | None = None
) -> Mapping[tuple[str, str], tuple[Earlier, ...]]:
    """Return what the meters of this bench read of themselves on the last visits, by meter and check, oldest first.

    A meter of the same name that is of another class, or says it is another one, is another meter. `identities` is
    what linked meters say they are; `skip` is the record of the present visit.
    """
    found: defaultdict[tuple[str, str], list[Earlier]] = defaultdict(list)
    for path in _newest(records, skip):
        try:
            record = read_record(path, with_budgets=False)
        except RecordError:
            continue  # `records check` names it; a damaged record is no reason not to measure
        same = {one.name for one in record.head.instruments if _is_that(one, bench, identities)}
        for reading in record.readings:
            if reading.check.startswith("meter.") and reading.display.value is not None and reading.meter in same:
                found[reading.meter, reading.check].append(Earlier(reading.display.value, reading.taken))
    return {key: tuple(values) for key, values in found.items()}


def _is_that(recorded: Instrument, bench: Bench, identities: Mapping[str, str]) -> bool:
    meter, identity = bench.instrument(recorded.name), identities.get(recorded.name, "")
    if meter is None or meter.class_name != recorded.model:
        return False
    return not (identity and recorded.identity) or identity == recorded.identity


def _newest(records: Path, skip: Path | None) -> Iterator[Path]:
    """Yield the newest record files of all units, oldest first; their names begin with their time."""
    try:
        paths = [path for folder in unit_folders(records) for path in record_files(folder) if path != skip]
    except RecordError:
        return
    yield from sorted(paths, key=lambda path: path.name)[-_VISITS:]


def drift(reading: Reading, earlier: tuple[Earlier, ...]) -> str:
    """Return in words how a reading of a meter's own check lies to earlier ones; "" where there is no number.

    The span of all visits is told too, since a single step says little.
    """
    value = reading.display.value
    if value is None:
        return ""
    name = f"{reading.meter}: {reading.display.text}" if reading.meter else reading.display.text
    if not earlier:
        return f"{name}; nothing earlier to compare it with"
    last, values = earlier[-1], [one.value for one in earlier] + [value]
    step, span = value - last.value, max(values) - min(values)
    since = f" of {last.taken:%Y-%m-%d}" if last.taken else ""
    unit = reading.quantity_unit
    moved = format_value(abs(step), unit, digits=2, ascii=True)
    way = "as on the last visit" if step == 0.0 else f"{moved} {'more' if step > 0 else 'less'} than on the visit"
    within = format_value(span, unit, digits=2, ascii=True)
    visits = f"{len(earlier)} earlier visit{'s' if len(earlier) > 1 else ''} and this"
    return f"{name}; {way}{since}, {visits} within {within}"
