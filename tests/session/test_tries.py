"""Tries that were refused: in the record at once, with the reading that comes, and never gone with whoever stops."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.checklist.order import draw_up
from benchcheck.clock import FakeClock
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.session.answers import Answer, Later, Skip, Step, Stop, Taken, Undo
from benchcheck.session.kept import kept_in
from benchcheck.session.self_check import self_check
from benchcheck.session.visit import Visit
from tests.factories import bench, board, check, reading
from tests.session.test_visit import R14, R15, RESIDUAL, Watcher, head


class Refusing:
    """Refuses what it is told to at R14 and then answers; gives each reading the tries its step tells of."""

    def __init__(self, *script: tuple[tuple[str, ...], Answer | str]) -> None:
        self.script = list(script)

    def answer(self, step: Step) -> Answer:
        if step.check.id != R14.id:
            return Taken((reading(step.check, "0.01" if step.check is RESIDUAL else "4.71k"),))
        refused, answer = self.script.pop(0)
        for shown in refused:
            step.refuse(shown)
        if not isinstance(answer, str):
            return answer
        return Taken((reading(step.check, answer, retries=(*step.tries, *refused)),))


def conduct(journal: Journal, source: Refusing, *, resume: bool = False) -> Record:
    visit = Visit(draw_up(board(RESIDUAL, R14, R15)), bench("bench-5.5"), journal, Watcher(), source)
    if resume:
        visit = Visit(visit.checklist, visit.bench, journal, Watcher(), source, kept_in(read_record(journal.path)))
    visit.conduct()
    journal.close()
    return read_record(journal.path)


def tries_of(record: Record) -> list[tuple[str, str]]:
    return [(one.check, one.text) for one in record.events if one.kind is EventKind.TRY]


@pytest.mark.parametrize("between", [Later("wet"), Undo()])
def test_tries_stay_with_their_check_whatever_is_done_before_it_is_read(tmp_path: Path, between: Answer) -> None:
    journal = Journal.create(tmp_path, head(), FakeClock())
    record = conduct(journal, Refusing((("8.1k", "OL"), between), (("8.2k",), "4.68k")))
    (read,) = (one for one in record.readings if one.check == R14.id)
    assert read.retries == ("8.1k", "OL", "8.2k")
    assert tries_of(record) == [(R14.id, "8.1k"), (R14.id, "OL"), (R14.id, "8.2k")]


def test_tries_of_a_check_that_is_left_out_stand_in_the_record(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path, head(), FakeClock())
    record = conduct(journal, Refusing((("8.1k",), Skip("contact is poor"))))
    assert tries_of(record) == [(R14.id, "8.1k")]


def test_tries_outlast_a_stop_and_are_told_once(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path, head(), FakeClock())
    conduct(journal, Refusing((("8.1k",), Stop())))
    again = Journal.resume(journal.path, FakeClock())
    record = conduct(again, Refusing(((), "4.68k")), resume=True)
    (read,) = (one for one in record.readings if one.check == R14.id)
    assert read.retries == ("8.1k",)
    assert kept_in(record).tries == {}, "the reading carries them"


def test_tries_at_a_meters_own_check_are_kept_as_well(tmp_path: Path) -> None:
    own = check("meter.leads_shorted")
    journal = Journal.create(tmp_path, head(), FakeClock())

    class Hand:
        def answer(self, step: Step) -> Answer:
            step.refuse("150")
            return Stop()

    with pytest.raises(KeyboardInterrupt):
        self_check(Hand(), (own,), journal, kept_in(read_record(journal.path)))
    journal.close()
    assert kept_in(read_record(journal.path)).tries == {own.id: ("150",)}
