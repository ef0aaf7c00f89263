"""Powered checks left for later and asked again: what is asked then, and where a visit goes on."""

from __future__ import annotations

from pathlib import Path

from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from benchcheck.session.answers import Again, Hindered, Later, LeavePower, Stop, Undo
from benchcheck.session.kept import kept_in
from tests.session.test_visit import FULL, GOOD, IDLE, R15, RESIDUAL, TO_GROUND, Hand, conduct


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


def test_again_after_a_fault_has_charge_and_shorts_read_again_first_and_keeps_what_they_were(tmp_path: Path) -> None:
    afresh = (RESIDUAL.id, TO_GROUND.id)
    hand = Hand({**GOOD, FULL.id: [Again("U2 was short, replaced", afresh), "8.98"]})
    result, journal, _ = conduct(tmp_path, hand)
    at = hand.asked.index(FULL.id)
    assert hand.asked[at:] == [FULL.id, RESIDUAL.id, TO_GROUND.id, FULL.id]
    assert result.exit_code == 0
    record = read_record(journal.path)
    assert [one.check for one in record.events if one.kind is EventKind.UNDO] == [TO_GROUND.id, RESIDUAL.id]
    assert len([one for one in record.all_readings if one.value.check == TO_GROUND.id]) == 2


def test_a_short_that_is_still_there_keeps_power_off_after_again(tmp_path: Path) -> None:
    hand = Hand({**GOOD, TO_GROUND.id: ["1.2k", "0.4"], FULL.id: [Again("cleaned", (TO_GROUND.id,)), "8.98"]})
    result, _, _ = conduct(tmp_path, hand)
    assert hand.asked.count(FULL.id) == 1
    (blocked,) = (one for one in result.scores if one.check == FULL.id)
    assert f"not in order: {TO_GROUND.id}" in blocked.because


def test_what_was_blocked_by_the_stop_is_asked_after_again(tmp_path: Path) -> None:
    hand = Hand(
        {
            **GOOD,
            IDLE.id: [Hindered("power was switched off: short"), "9.02"],
            FULL.id: [Again("x", (TO_GROUND.id,)), "8.98"],
        }
    )
    result, _, _ = conduct(tmp_path, hand)
    assert hand.asked[-4:] == [FULL.id, TO_GROUND.id, IDLE.id, FULL.id]
    assert result.exit_code == 0


def test_taking_back_after_again_passes_over_what_was_read_twice(tmp_path: Path) -> None:
    hand = Hand({**GOOD, FULL.id: [Again("x", (RESIDUAL.id, TO_GROUND.id)), Undo(), Undo(), Undo(), "8.98"]})
    result, _, _ = conduct(tmp_path, hand)
    assert result.exit_code == 0
    assert hand.asked.count(TO_GROUND.id) > 2


def test_a_visit_resumed_after_again_asks_what_was_to_be_read_again(tmp_path: Path) -> None:
    hand = Hand({**GOOD, TO_GROUND.id: ["1.2k", Stop()], FULL.id: [Again("x", (RESIDUAL.id, TO_GROUND.id)), "8.98"]})
    _, journal, _ = conduct(tmp_path, hand)
    again = Hand(GOOD)
    result, _, _ = conduct(tmp_path, again, kept=kept_in(read_record(journal.path)))
    assert again.asked == [RESIDUAL.id, TO_GROUND.id, FULL.id]  # charge is proved gone again before ohms
    assert result.exit_code == 0
