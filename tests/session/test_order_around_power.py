"""What is put off until after power, or taken back past it: charge is measured again before ohms."""

from __future__ import annotations

from pathlib import Path

from benchcheck.bench.functions import Function
from benchcheck.checklist.order import draw_up
from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Limits, Phase
from benchcheck.record.journal import Journal
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome
from benchcheck.session.answers import Later, Prefer, Skip, Stop, Undo
from benchcheck.session.kept import kept_in
from benchcheck.session.visit import Visit
from tests.factories import bench, board, check, voltage
from tests.session.test_visit import GOOD, IDLE, R14, R15, RESIDUAL, TO_GROUND, Hand, Watcher, conduct

BOARD = board(RESIDUAL, R14, R15, TO_GROUND, IDLE)


def test_charge_is_measured_again_before_ohms_that_were_put_off_until_after_power(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R15.id: [Later("wet"), Later("still wet"), "4.71k"], R14.id: [Later("hot"), "4.68k"]})
    _, journal, _ = conduct(tmp_path, hand, draw_up(BOARD))
    before = [RESIDUAL.id, R14.id, R15.id, TO_GROUND.id, IDLE.id]
    assert hand.asked == [*before, RESIDUAL.id, R14.id, R15.id, R15.id], "once for both"
    record = read_record(journal.path)
    assert len([one for one in record.all_readings if one.value.check == RESIDUAL.id]) == 2
    assert [one.text for one in record.events if one.check == RESIDUAL.id] == ["read again: power has been on since"]


def test_charge_that_power_left_keeps_ohms_from_being_asked_for(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R15.id: [Later("wet"), "4.71k"], RESIDUAL.id: ["0.01", "3.1", Skip("no resistor at hand")]})
    result, _, _ = conduct(tmp_path, hand, draw_up(BOARD))
    outcome = {score.check: score.outcome for score in result.scores}
    assert outcome[R15.id] is Outcome.BLOCKED


def test_charge_is_measured_first_where_a_visit_goes_on_after_power(tmp_path: Path) -> None:
    _, journal, _ = conduct(tmp_path, Hand({**GOOD, R15.id: [Later(), Stop()]}), draw_up(BOARD))
    hand = Hand(GOOD)
    again = Journal.resume(journal.path, FakeClock())
    kept = kept_in(read_record(journal.path))
    Visit(draw_up(BOARD), bench("bench-5.5"), again, Watcher(), hand, kept).conduct()
    assert hand.asked == [RESIDUAL.id, R15.id]


def test_an_answer_taken_back_past_power_has_charge_measured_first(tmp_path: Path) -> None:
    second = voltage("VDD.voltage", Phase.RAILS, 4.6, 5.4)
    hand = Hand({**GOOD, second.id: [Undo(), "5.0"]})
    conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, TO_GROUND, IDLE, second)))
    back = [IDLE.id, second.id]
    assert hand.asked == [RESIDUAL.id, R14.id, TO_GROUND.id, *back, IDLE.id, second.id]
    hand = Hand({**GOOD, second.id: [Undo(), "5.0"], IDLE.id: ["9.0", Undo(), "9.0"]})
    conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, TO_GROUND, IDLE, second)))
    assert hand.asked[3:] == [*back, IDLE.id, RESIDUAL.id, TO_GROUND.id, IDLE.id, second.id]


def test_a_check_brought_forward_brings_the_proof_that_charge_is_gone_with_it(tmp_path: Path) -> None:
    look = check("C9.orientation", Function.VISUAL, Phase.VISUAL, limits=Limits(), answers=("yes", "no"))
    hand = Hand({**GOOD, look.id: [Prefer(R15.id), "yes"]})
    conduct(tmp_path, hand, draw_up(board(look, RESIDUAL, R14, R15, TO_GROUND, IDLE)))
    assert hand.asked == [look.id, RESIDUAL.id, R15.id, look.id, R14.id, TO_GROUND.id, IDLE.id]
