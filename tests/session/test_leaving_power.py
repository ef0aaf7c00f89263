"""Powered checks left for later and asked again: what is asked then, and where a visit goes on."""

from __future__ import annotations

from pathlib import Path

from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from benchcheck.session.answers import Again, Later, LeavePower, Undo
from benchcheck.session.kept import kept_in
from tests.session.test_visit import FULL, GOOD, IDLE, R15, TO_GROUND, Hand, conduct


def test_again_asks_the_check_anew_and_says_nothing_of_it(tmp_path: Path) -> None:
    hand = Hand({**GOOD, IDLE.id: [Again(), "9.02"]})
    result, journal, _ = conduct(tmp_path, hand)
    assert hand.asked.count(IDLE.id) == 2
    assert result.exit_code == 0
    assert [one.check for one in read_record(journal.path).readings].count(IDLE.id) == 1


def test_with_nothing_else_to_ask_leaving_power_stops_the_visit_which_goes_on_at_the_very_check(
    tmp_path: Path,
) -> None:
    hand = Hand({**GOOD, FULL.id: [LeavePower("a key was pressed")]})
    result, journal, _ = conduct(tmp_path, hand)
    assert (result.interrupted, result.exit_code) == (True, 130)
    record = read_record(journal.path)
    assert [one.check for one in record.events if one.kind is EventKind.LATER] == [FULL.id]
    again = Hand(GOOD)
    result, _, _ = conduct(tmp_path, again, kept=kept_in(record))
    assert again.asked == [FULL.id]
    assert result.exit_code == 0


def test_leaving_power_has_the_others_asked_first_and_then_the_powered_ones_in_their_order(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R15.id: [Later(), GOOD[R15.id]], IDLE.id: [LeavePower("hot"), "9.02"]})
    result, journal, _ = conduct(tmp_path, hand)
    assert hand.asked.index(TO_GROUND.id) < hand.asked.index(IDLE.id)
    at = hand.asked.index(IDLE.id)
    assert hand.asked[at:] == [IDLE.id, R15.id, IDLE.id, FULL.id]
    assert result.exit_code == 0
    kept = [one.check for one in read_record(journal.path).events if one.kind is EventKind.LATER]
    assert kept == [R15.id, IDLE.id, FULL.id]


def test_undo_where_power_was_stopped_brings_the_check_before_and_then_that_one(tmp_path: Path) -> None:
    hand = Hand({**GOOD, FULL.id: [Undo(), Again(), "8.98"]})
    result, _, _ = conduct(tmp_path, hand)
    assert hand.asked[-5:] == [IDLE.id, FULL.id, IDLE.id, FULL.id, FULL.id]
    assert result.exit_code == 0
