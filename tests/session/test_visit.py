"""A visit: what is asked, what is kept, and that nothing accepted is ever lost or scored twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.checklist.order import Checklist, draw_up
from benchcheck.checklist.waivers import Waiver
from benchcheck.clock import FakeClock
from benchcheck.errors import MetrologyError
from benchcheck.kinds.check import Check, Formula, Limits, Phase
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Stage
from benchcheck.record.store import read_record
from benchcheck.score.judge import judge
from benchcheck.score.model import Outcome, Reason, Score, Verdict
from benchcheck.session.answers import Answer, Later, Skip, Step, Stop, Taken, Undo
from benchcheck.session.kept import Kept, kept_in
from benchcheck.session.visit import Visit
from benchcheck.session.visit_result import VisitResult
from tests.factories import bench, board, check, reading, voltage

RESIDUAL = voltage("VSW.residual_voltage", Phase.RESIDUAL_VOLTAGE, -0.2, 0.2)
R14 = check("R14.resistance")
R15 = check("R15.resistance")
TO_GROUND = check("VSW.to_ground[red:VSW]", phase=Phase.TO_GROUND, limits=Limits(150.0, None))
IDLE = voltage("VSW.voltage[0A]", Phase.RAILS, 8.64, 9.36)
FULL = voltage("VSW.voltage[120mA]", Phase.RAILS, 8.64, 9.36)
REGULATION = check(
    "VSW.load_regulation",
    Function.DERIVED,
    Phase.RAILS,
    limits=Limits(None, 0.02),
    sources=(IDLE.id, FULL.id),
    formula=Formula.LOAD_REGULATION,
)
BOARD = board(RESIDUAL, R14, R15, TO_GROUND, IDLE, FULL, REGULATION)
GOOD = {
    RESIDUAL.id: "0.01", R14.id: "4.68k", R15.id: "4.71k", TO_GROUND.id: "1.2k", IDLE.id: "9.02", FULL.id: "8.98"
}  # fmt: skip


class Hand:
    """Answers from a script: per check a list of texts or answers, the last one for ever."""

    def __init__(self, script: Mapping[str, str | Sequence[str | Answer]]) -> None:
        self.script: dict[str, list[str | Answer]] = {
            name: [said] if isinstance(said, str) else list(said) for name, said in script.items()
        }
        self.asked: list[str] = []

    def answer(self, step: Step) -> Answer:
        self.asked.append(step.check.id)
        said = self.script[step.check.id]
        one = said.pop(0) if len(said) > 1 else said[0]
        return Taken((reading(step.check, one),)) if isinstance(one, str) else one


class Watcher:
    def __init__(self) -> None:
        self.seen: list[tuple[str, str]] = []

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        self.seen.append((check.id, str(score.verdict or score.outcome)))

    def undone(self, check: Check | None) -> None:
        self.seen.append((check.id if check else "", "undone"))


def head() -> Head:
    return Head(unit="T-1 no. 7", board="Ellwick T-1", stage=Stage.AS_LEFT, spec_digest="0" * 64)


def conduct(
    folder: Path, hand: Hand | None, plan: Checklist | None = None, **given_fields: object
) -> tuple[VisitResult, Journal, Watcher]:
    journal = Journal.create(folder, head(), FakeClock())
    watcher = Watcher()
    visit = Visit(plan or draw_up(BOARD), bench("bench-5.5"), journal, watcher, hand, **given_fields)  # type: ignore[arg-type]
    result = visit.conduct()
    journal.close()
    return result, journal, watcher


def verdicts(result: VisitResult) -> dict[str, str]:
    return {score.check: str(score.verdict or score.outcome) for score in result.scores}


def test_a_good_unit_passes_in_the_order_of_the_checklist(tmp_path: Path) -> None:
    hand = Hand(dict(GOOD))
    plan = draw_up(board(RESIDUAL, TO_GROUND, IDLE, FULL, REGULATION))
    result, journal, _ = conduct(tmp_path, hand, plan)
    assert result.exit_code == 0
    assert hand.asked == [RESIDUAL.id, TO_GROUND.id, IDLE.id, FULL.id]
    assert set(verdicts(result).values()) == {"pass"}
    assert [one.check for one in read_record(journal.path).readings] == hand.asked


def test_a_reading_is_in_the_record_before_it_is_scored(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path, head(), FakeClock())

    class Peek(Watcher):
        def scored(self, check: Check, score: Score, place: int, total: int) -> None:
            assert check.id in {one.check for one in read_record(journal.path).readings}

    Visit(draw_up(board(RESIDUAL, R14)), bench(), journal, Peek(), Hand(dict(GOOD))).conduct()
    journal.close()


def test_residual_charge_is_asked_again_until_it_is_gone_and_ohms_wait(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: ["3.2", "0.8", "0.02"]})
    result, journal, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14)))
    assert hand.asked == [RESIDUAL.id] * 3 + [R14.id]
    assert verdicts(result)[RESIDUAL.id] == "pass"
    record = read_record(journal.path)
    assert [one.value.display.text for one in record.all_readings][:3] == ["3.2", "0.8", "0.02"]
    assert [one.display.text for one in record.readings][:1] == ["0.02"]


def test_ohms_are_blocked_while_charge_may_be_there(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: [Skip("no probe reaches it")]})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14)))
    assert hand.asked == [RESIDUAL.id]
    assert verdicts(result) == {RESIDUAL.id: "skipped", R14.id: "blocked"}
    assert result.exit_code == 3


def test_power_is_not_asked_for_while_a_rail_is_short_to_ground(tmp_path: Path) -> None:
    hand = Hand({**GOOD, TO_GROUND.id: "0.4"})
    result, _, _ = conduct(tmp_path, hand)
    assert {IDLE.id, FULL.id}.isdisjoint(hand.asked)
    told = {score.check: score for score in result.scores}
    assert told[IDLE.id].outcome is Outcome.BLOCKED
    assert TO_GROUND.id in told[IDLE.id].because
    assert result.exit_code == 1


def test_a_waiver_lets_power_be_asked_for(tmp_path: Path) -> None:
    hand = Hand({**GOOD, TO_GROUND.id: [Skip("no access")]})
    plan = draw_up(BOARD, waivers=(Waiver(TO_GROUND.id, "read on the other side of the coil"),))
    conduct(tmp_path, hand, plan)
    assert IDLE.id in hand.asked


def test_a_check_put_off_comes_after_the_others(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R14.id: [Later(), "4.68k"]})
    conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)))
    assert hand.asked == [RESIDUAL.id, R14.id, R15.id, R14.id]


def test_undo_asks_the_last_check_again_and_erases_nothing(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R14.id: ["4.12k", "4.68k"], R15.id: [Undo(), "4.71k"]})
    result, journal, watcher = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)))
    assert hand.asked == [RESIDUAL.id, R14.id, R15.id, R14.id, R15.id]
    assert (R14.id, "undone") in watcher.seen
    record = read_record(journal.path)
    assert [one.value.display.text for one in record.all_readings] == ["0.01", "4.12k", "4.68k", "4.71k"]
    assert [one.display.text for one in record.readings] == ["0.01", "4.68k", "4.71k"]
    assert [score.check for score in result.scores] == [RESIDUAL.id, R14.id, R15.id]


def test_undo_of_a_skip_asks_again(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R14.id: [Skip("slipped"), "4.68k"], R15.id: [Undo(), "4.71k"]})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)))
    assert "skipped" not in verdicts(result).values()


def test_undo_with_nothing_before_it_only_asks_again(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: [Undo(), Undo(), "0.01"]})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL)))
    assert result.exit_code == 0


def test_several_undos_go_back_several_steps(tmp_path: Path) -> None:
    script: dict[str, str | Sequence[str | Answer]] = {
        **GOOD,
        R15.id: [Undo(), "4.71k"],
        R14.id: ["4.68k", Undo(), "4.68k"],
        RESIDUAL.id: ["0.01", "0.02"],
    }
    result, journal, _ = conduct(tmp_path, Hand(script), draw_up(board(RESIDUAL, R14, R15)))
    assert result.exit_code in (0, 3)
    assert [one.display.text for one in read_record(journal.path).readings] == ["0.02", "4.68k", "4.71k"]


@pytest.mark.parametrize("how", ["answer", "ctrl-c"])
def test_a_stopped_visit_ends_with_130_and_keeps_what_was_accepted(tmp_path: Path, how: str) -> None:
    class Interrupting(Hand):
        def answer(self, step: Step) -> Answer:
            if step.check.id == R15.id and how == "ctrl-c":
                raise KeyboardInterrupt
            return super().answer(step)

    hand = Interrupting({**GOOD, R15.id: [Stop()]})
    result, journal, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)))
    assert (result.exit_code, result.interrupted) == (130, True)
    assert [one.check for one in read_record(journal.path).readings] == [RESIDUAL.id, R14.id]


def test_what_is_kept_already_is_not_asked_again(tmp_path: Path) -> None:
    hand = Hand(dict(GOOD))
    kept = Kept({RESIDUAL.id: (reading(RESIDUAL, "0.01"),), R14.id: (reading(R14, "4.68k"),)})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)), kept=kept)
    assert hand.asked == [R15.id]
    assert len(result.scores) == 3


def test_without_a_source_what_is_missing_is_skipped_and_nothing_is_blocked(tmp_path: Path) -> None:
    kept = Kept({IDLE.id: (reading(IDLE, "9.02"),)})
    result, _, _ = conduct(tmp_path, None, kept=kept)
    assert verdicts(result)[IDLE.id] == "pass"
    assert set(verdicts(result).values()) <= {"pass", "skipped"}


def test_a_derived_check_lacking_a_source_is_skipped_not_failed(tmp_path: Path) -> None:
    result, _, _ = conduct(tmp_path, None, kept=Kept({IDLE.id: (reading(IDLE, "9.02"),)}))
    (derived,) = (score for score in result.scores if score.check == REGULATION.id)
    assert derived.outcome is Outcome.SKIPPED
    assert FULL.id in derived.because


def test_the_visit_ends_after_as_many_failures_as_were_asked_for(tmp_path: Path) -> None:
    hand = Hand({**GOOD, R14.id: "9.9k", R15.id: "9.9k"})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)), stop_after=1)
    assert [score.check for score in result.scores] == [RESIDUAL.id, R14.id]


def test_ambient_and_leads_are_taken_from_the_reserved_readings(tmp_path: Path) -> None:
    leads = check("meter.leads_shorted", phase=Phase.SESSION, limits=Limits(None, 1.0))
    hand = Hand({**GOOD, leads.id: "0.3"})
    journal = Journal.create(tmp_path, head(), FakeClock())
    visit = Visit(draw_up(board(leads, RESIDUAL)), bench(), journal, Watcher(), hand)
    visit.conduct()
    journal.close()
    assert visit.session.leads_ohm == pytest.approx(0.3)


ANSWERS = st.sampled_from(["4.68k", "4.99k", "OL", Skip("cannot reach"), Undo(), Later()])


@settings(max_examples=60, deadline=None)
@given(st.lists(ANSWERS, max_size=25))
def test_whatever_is_answered_every_check_ends_with_one_score_and_the_record_agrees(
    tmp_path_factory: pytest.TempPathFactory, said: Iterable[str | Answer]
) -> None:
    checks = [check(f"R{number}.resistance") for number in range(1, 5)]
    stream = iter(said)

    class Random:
        def answer(self, step: Step) -> Answer:
            one = next(stream, "4.70k")
            return Taken((reading(step.check, one),)) if isinstance(one, str) else one

    folder = tmp_path_factory.mktemp("records")
    journal = Journal.create(folder, head(), FakeClock())
    visit = Visit(draw_up(board(*checks)), bench(), journal, Watcher(), Random())
    result = visit.conduct()
    journal.close()
    assert [score.check for score in result.scores] == [one.id for one in checks]
    standing = {one.check: one.display.text for one in read_record(journal.path).readings}
    measured = {score.check: score.display for score in result.scores if score.outcome is Outcome.MEASURED}
    assert standing == measured


def test_reasons_and_verdicts_are_words() -> None:
    assert str(Reason.ONE_SIDED) == "one-sided"
    assert str(Verdict.CONDITIONAL_FAIL) == "conditional fail"


def resumed(journal: Journal) -> Kept:
    return kept_in(read_record(journal.path))


def test_a_derived_check_waits_for_a_source_that_was_put_off(tmp_path: Path) -> None:
    hand = Hand({**GOOD, IDLE.id: [Later(), "9.02"]})
    result, _, _ = conduct(tmp_path, hand)
    assert hand.asked[-2:] == [FULL.id, IDLE.id]
    assert verdicts(result)[REGULATION.id] == "pass"
    assert len(result.scores) == len(BOARD.checks)


def test_ohms_wait_while_the_proof_that_charge_is_gone_is_put_off(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: [Later(), "3.2", Later(), "0.01"]})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14, R15)))
    assert hand.asked == [RESIDUAL.id] * 4 + [R14.id, R15.id]
    assert "blocked" not in verdicts(result).values()


def test_the_last_check_put_off_is_simply_asked_again(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: [Later(), Later(), "0.01"]})
    result, _, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL)))
    assert result.exit_code == 0


def test_charge_that_will_not_go_may_be_skipped_and_its_reading_stands(tmp_path: Path) -> None:
    hand = Hand({**GOOD, RESIDUAL.id: ["3.2", Skip("it keeps coming back")]})
    result, journal, _ = conduct(tmp_path, hand, draw_up(board(RESIDUAL, R14)))
    assert verdicts(result) == {RESIDUAL.id: "fail", R14.id: "blocked"}
    kept = resumed(journal)
    assert (kept.skips, set(kept.readings)) == ({RESIDUAL.id: "it keeps coming back"}, {RESIDUAL.id})


def test_undo_lifts_what_the_undone_answer_had_blocked(tmp_path: Path) -> None:
    plan = draw_up(board(RESIDUAL, R14, TO_GROUND, IDLE, FULL))
    script: dict[str, str | Sequence[str | Answer]] = {
        **GOOD, RESIDUAL.id: [Skip("no probe"), "0.01"], TO_GROUND.id: ["1.2k"]
    }  # fmt: skip
    seen: list[Check] = []

    class Regretting(Hand):
        def answer(self, step: Step) -> Answer:
            if step.check.id == IDLE.id and not seen:
                seen.append(step.check)
                return Undo()
            return super().answer(step)

    result, _, watcher = conduct(tmp_path, Regretting(script), replace(plan, waivers=(Waiver(TO_GROUND.id, "a b"),)))
    assert (RESIDUAL.id, "undone") in watcher.seen
    assert "blocked" not in verdicts(result).values()
    assert len(result.scores) == 5


def test_undo_after_a_resume_goes_back_in_the_order_things_were_accepted(tmp_path: Path) -> None:
    plan = draw_up(board(RESIDUAL, R14, R15))
    first = Hand({**GOOD, R14.id: [Later(), Stop()]})
    _, journal, _ = conduct(tmp_path, first, plan)
    going_on = Journal.resume(journal.path, FakeClock())
    second = Hand({**GOOD, R14.id: [Undo(), "4.68k"], R15.id: [Undo(), "4.71k"]})
    watcher = Watcher()
    visit = Visit(plan, bench("bench-5.5"), going_on, watcher, second, resumed(journal))
    result = visit.conduct()
    going_on.close()
    assert [name for name, told in watcher.seen if told == "undone"] == [R15.id, RESIDUAL.id]
    assert second.asked == [R14.id, R15.id, RESIDUAL.id, R15.id, R14.id]
    assert len(result.scores) == 3


@settings(max_examples=40, deadline=None)
@given(st.lists(st.one_of(ANSWERS, st.just(Stop())), max_size=20))
def test_however_often_a_visit_is_stopped_it_goes_on_where_it_was(
    tmp_path_factory: pytest.TempPathFactory, said: list[str | Answer]
) -> None:
    """A visit cut at every Stop and gone on with gives the same scores as one that was never cut."""

    def run(answers: list[str | Answer], cut: bool) -> tuple[dict[str, tuple[str, str]], int]:
        plan = draw_up(board(RESIDUAL, *(check(f"R{number}.resistance") for number in range(1, 4))))
        journal = Journal.create(tmp_path_factory.mktemp("records"), head(), FakeClock())
        stream, stops = iter(answers), 0

        class Scripted:
            def answer(self, step: Step) -> Answer:
                given = next(stream, "0.01" if step.check.id == RESIDUAL.id else "4.70k")
                if isinstance(given, Stop):
                    return given if cut else self.answer(step)
                if isinstance(given, str) and step.check.id == RESIDUAL.id:
                    given = {"4.68k": "0.02", "4.99k": "3.1"}.get(given, "0.01")
                return Taken((reading(step.check, given),)) if isinstance(given, str) else given

        while True:
            result = Visit(plan, bench(), journal, Watcher(), Scripted(), resumed(journal)).conduct()
            if not result.interrupted:
                journal.close()
                return {one.check: (str(one.verdict or one.outcome), one.display) for one in result.scores}, stops
            stops += 1
            journal.close()
            journal = Journal.resume(journal.path, FakeClock())

    whole, none = run(said, cut=False)
    pieces, stops = run(said, cut=True)
    assert pieces == whole
    assert none == 0
    assert stops <= said.count(Stop())


def test_a_reading_no_budget_can_be_made_for_decides_nothing_and_does_not_end_the_visit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(one: Check, *given: object, **named: object) -> Score:
        if one.id == R14.id:
            raise MetrologyError("a half-width below zero")
        return judge(one, *given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr("benchcheck.session.scoring.judge", fails)
    result, journal, _ = conduct(tmp_path, Hand(dict(GOOD)), draw_up(board(RESIDUAL, R14, R15)))
    score = next(score for score in result.scores if score.check == R14.id)
    assert (score.outcome, score.verdict) == (Outcome.MEASURED, Verdict.UNDECIDED)
    assert "a half-width below zero" in score.because
    assert len(result.scores) == 3
    assert R14.id in resumed(journal).readings
