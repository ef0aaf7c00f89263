"""A blind second reading of one check in so many, and what is said beside a reading."""

from __future__ import annotations

import random
from collections import deque
from dataclasses import replace
from pathlib import Path

import pytest

from benchcheck.checklist.order import draw_up
from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Phase
from benchcheck.readings.reading import Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.score.judge import judge
from benchcheck.session.answers import Answer, Later, Photo, Prefer, Remark, Skip, Step, Stop, Taken, Undo
from benchcheck.session.kept import kept_in
from benchcheck.session.second_look import BLIND, SECOND_LOOK, SecondLooks
from benchcheck.session.visit import Visit
from benchcheck.session.visit_result import VisitResult
from tests.factories import bench, board, check, reading
from tests.session.test_visit import RESIDUAL, Watcher, head

CHECKS = tuple(check(f"R{number}.resistance") for number in range(1, 6))


class Scripted:
    """Answers each check with what stands for it, one after the other; then 4.70k."""

    def __init__(self, script: dict[str, list[Answer]] | None = None, blind: Answer | None = None) -> None:
        self.script, self.blind = script or {}, blind
        self.asked: list[tuple[str, str]] = []

    def answer(self, step: Step) -> Answer:
        self.asked.append((step.check.id, step.again))
        if step.again == BLIND:
            return self.blind or Taken((reading(step.check, "4.71k"),))
        given = self.script.get(step.check.id, [])
        if given:
            return given.pop(0)
        return Taken((reading(step.check, "0.01" if step.check.id == RESIDUAL.id else "4.70k"),))


def conduct(tmp_path: Path, source: Scripted, every: int = 3) -> tuple[VisitResult, Record]:
    journal = Journal.create(tmp_path, head(), FakeClock())
    visit = Visit(draw_up(board(RESIDUAL, *CHECKS)), bench("bench-5.5"), journal, Watcher(), source)
    visit.second_looks = SecondLooks(every, random.Random(7))
    result = visit.conduct()
    journal.close()
    return result, read_record(journal.path)


def test_one_check_in_so_many_is_read_twice_and_the_budget_holds_the_scatter(tmp_path: Path) -> None:
    source = Scripted()
    result, record = conduct(tmp_path, source)
    (again,) = [name for name, why in source.asked if why == BLIND]
    shown = [one.display.text for one in record.readings if one.check == again]
    assert shown == ["4.70k", "4.71k"]
    assert [one.repeat for one in record.readings if one.check == again] == [1, 2]
    (score,) = (score for score in result.scores if score.check == again)
    assert score.budget is not None
    assert any("repeatability" in row.contribution for row in score.budget.rows())
    assert len(result.scores) == len(CHECKS) + 1


def test_without_second_looks_nothing_is_asked_twice(tmp_path: Path) -> None:
    source = Scripted()
    conduct(tmp_path, source, every=0)
    assert len(source.asked) == len(CHECKS) + 1


def test_who_would_rather_not_look_twice_keeps_the_first_reading(tmp_path: Path) -> None:
    answers: tuple[Answer, ...] = (Skip("no"), Later())
    for place, instead in enumerate(answers):
        result, record = conduct(tmp_path / str(place), Scripted(blind=instead))
        assert len(record.readings) == len(CHECKS) + 1
        assert {str(score.outcome) for score in result.scores} == {"measured"}


def test_undo_at_a_second_look_takes_back_the_last_answer(tmp_path: Path) -> None:
    result, record = conduct(tmp_path, Scripted(blind=Undo()), every=4)
    assert len(result.scores) == len(CHECKS) + 1
    assert sum(event.kind is EventKind.UNDO for event in record.events) == 1


def test_charge_looks_and_power_are_never_read_a_second_time_blind() -> None:
    looks = SecondLooks(1)
    assert looks.taken(RESIDUAL, (reading(RESIDUAL, "0.01"),)) == ""
    powered = check("VSW.voltage", phase=Phase.RAILS)
    assert looks.taken(powered, (reading(powered, "4.7k"),)) == ""
    assert looks.taken(CHECKS[0], (reading(CHECKS[0], "OL"),)) == ""
    assert looks.taken(CHECKS[0], (reading(CHECKS[0], "4.7k"),)) == CHECKS[0].id
    assert looks.taken(CHECKS[0], (reading(CHECKS[0], "4.7k"),)) == "", "once is enough"


def test_a_note_and_a_photo_are_kept_and_the_check_is_asked_again(tmp_path: Path) -> None:
    said: list[Answer] = [Remark("pad lifted"), Photo("pads.jpg", "0" * 64), Taken((reading(CHECKS[1], "4.70k"),))]
    source = Scripted({CHECKS[1].id: said})
    _, record = conduct(tmp_path, source, every=0)
    kept = [(event.kind, event.check, event.text) for event in record.events]
    assert kept == [
        (EventKind.NOTE, CHECKS[1].id, "pad lifted"),
        (EventKind.PHOTO, CHECKS[1].id, f"pads.jpg {'0' * 64}"),
    ]
    assert [name for name, _ in source.asked].count(CHECKS[1].id) == 3


def test_a_check_asked_for_comes_first_and_the_one_it_passed_comes_after(tmp_path: Path) -> None:
    source = Scripted({CHECKS[0].id: [Prefer(CHECKS[3].id)]})
    result, _ = conduct(tmp_path, source, every=0)
    order = [name for name, _ in source.asked]
    assert order[1:4] == [CHECKS[0].id, CHECKS[3].id, CHECKS[0].id]
    assert len(result.scores) == len(CHECKS) + 1


def test_a_check_that_is_not_there_to_ask_for_changes_nothing(tmp_path: Path) -> None:
    source = Scripted({CHECKS[0].id: [Prefer("C99.esr")]})
    result, _ = conduct(tmp_path, source, every=0)
    assert [score.check for score in result.scores] == [RESIDUAL.id, *(one.id for one in CHECKS)]


def test_a_reason_to_come_back_later_is_kept(tmp_path: Path) -> None:
    _, record = conduct(tmp_path, Scripted({CHECKS[2].id: [Later("still wet")]}), every=0)
    assert [event.text for event in record.events if event.kind is EventKind.LATER] == ["still wet"]


def test_a_step_says_which_check_comes_after(tmp_path: Path) -> None:
    seen: list[str] = []

    class Noting(Scripted):
        def answer(self, step: Step) -> Answer:
            seen.append(step.after.id if step.after is not None else "")
            return super().answer(step)

    conduct(tmp_path, Noting(), every=0)
    assert seen == [*(one.id for one in CHECKS), ""]


def test_the_last_answer_may_be_taken_back_when_nothing_is_left_to_ask(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path, head(), FakeClock())
    source = Scripted()
    visit = Visit(draw_up(board(RESIDUAL, *CHECKS)), bench("bench-5.5"), journal, Watcher(), source)
    words = [True, False]
    visit.last_word = lambda: words.pop(0)
    result = visit.conduct()
    journal.close()
    assert [name for name, _ in source.asked][-2:] == [CHECKS[-1].id] * 2
    assert len(result.scores) == len(CHECKS) + 1


def test_stop_ends_a_visit_at_a_second_look_and_keeps_all(tmp_path: Path) -> None:
    result, record = conduct(tmp_path, Scripted(blind=Stop()))
    assert result.exit_code == 130
    assert len(record.readings) == 4


def test_from_three_second_looks_on_every_single_reading_carries_how_this_hand_repeats(tmp_path: Path) -> None:
    """Pairs 0, 1 and 2 digits of 10 ohm apart: pooled s = sqrt((0 + 1 + 4) / 6) digits (GUM 4.2.4, by hand)."""
    from benchcheck.readings.reading import Session
    from benchcheck.session.second_look import contacts_of

    owned = bench("bench-5.5")
    pairs = {
        one.id: (reading(one, "4.70k"), reading(one, second, note=SECOND_LOOK))
        for one, second in zip(CHECKS, ("4.70k", "4.71k", "4.72k"), strict=False)
    }
    known = {one.id: one for one in CHECKS}
    ratio, dof = contacts_of(pairs, known, owned, Session())
    scale = 10.0 + 0.0005 * 4710.0 + 0.02  # a digit, the share of the reading, contacts (as in scoring)
    assert dof == 3
    assert ratio == pytest.approx(((0.0 + 10.0**2 + 20.0**2) / 6.0) ** 0.5 / scale, rel=5e-3)
    two = dict(list(pairs.items())[:2])
    assert contacts_of(two, known, owned, Session()) == (0.0, 0), "two looks say nothing yet"
    plain = judge(CHECKS[4], (reading(CHECKS[4], "4.70k"),), owned, Session())
    hand = judge(CHECKS[4], (reading(CHECKS[4], "4.70k"),), owned, Session(contacts=(ratio, dof)))
    assert plain.budget is not None
    assert hand.budget is not None
    assert "contacts of this hand" in {row.contribution for row in hand.budget.rows()}
    assert hand.budget.combined_standard_uncertainty > plain.budget.combined_standard_uncertainty


@pytest.mark.parametrize("reason", ["cannot reach", ""])
def test_a_second_look_that_is_left_out_stands_in_the_record_with_its_reason(tmp_path: Path, reason: str) -> None:
    _, record = conduct(tmp_path, Scripted(blind=Skip(reason) if reason else Later()))
    notes = [event.text for event in record.events if event.kind is EventKind.NOTE]
    assert notes
    assert set(notes) == {f"second look left out: {reason}" if reason else "second look left out"}


def test_a_second_look_that_was_due_is_asked_when_the_visit_goes_on_and_none_is_drawn_twice(tmp_path: Path) -> None:
    stopped = Scripted(blind=Stop())
    _, record = conduct(tmp_path, stopped)
    journal, source = Journal.resume(record.path, FakeClock()), Scripted()
    visit = Visit(draw_up(board(RESIDUAL, *CHECKS)), bench("bench-5.5"), journal, Watcher(), source, kept_in(record))
    visit.second_looks = SecondLooks(3, random.Random(7))
    visit.conduct()
    journal.close()
    assert source.asked[0] == stopped.asked[-1], "the very same one"
    assert source.asked[0][1] == BLIND
    _, whole = conduct(tmp_path, Scripted())
    looks = [one.check for one in whole.readings if one.note]
    assert len([one for one in read_record(record.path).readings if one.note]) == len(looks)


@pytest.mark.parametrize("seed", range(6))
def test_a_later_second_look_is_the_same_one_after_a_resume(seed: int) -> None:
    checks = [check(f"R{number}.resistance") for number in range(1, 9)]
    looks = SecondLooks(4, random.Random(seed))
    chosen = [looks.taken(one, (reading(one, "4.70k"),)) for one in checks]
    first, second = chosen[3], chosen[7]
    read: dict[str, tuple[Reading, ...]] = {one.id: (reading(one, "4.70k"),) for one in checks}
    read[first] = (*read[first], replace(read[first][0], repeat=2, note=SECOND_LOOK))
    order = [one.id for one in checks]
    again, queue = SecondLooks(4, random.Random(seed)), deque([*checks, RESIDUAL])
    again.go_on([*order[:4], first, *order[4:]], read, queue)
    assert again.due == second
    assert [one.id for one in queue][-2:] == [second, RESIDUAL.id], "after all that is known, before what is not"
