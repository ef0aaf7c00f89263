"""One run from request to report: what is read before anything is written, and what a resumed visit keeps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from benchcheck.bench.model import Bench
from benchcheck.builtin import load_spec
from benchcheck.clock import FakeClock
from benchcheck.errors import InputError, UsageError
from benchcheck.kinds.check import Check
from benchcheck.plugins.hookspecs import RecordWritten
from benchcheck.readings.typed import read_typed
from benchcheck.record.results import waivers_of
from benchcheck.record.store import read_record
from benchcheck.score.model import Score
from benchcheck.session.answers import Answer, Source, Step, Stop, Taken
from benchcheck.session.run import Conduct, Report, Request
from tests.cli.scratch import BENCH, GOOD, card, lay_out


class Silent:
    def scored(self, check: Check, score: Score, place: int, total: int) -> None: ...

    def undone(self, check: Check | None) -> None: ...


class Hand:
    """Gives the good readings, and stops before the check named."""

    def __init__(self, stop_before: str = "") -> None:
        self.stop_before = stop_before
        self.asked: list[str] = []

    def __call__(self, bench: Bench) -> Source:
        return self

    def answer(self, step: Step) -> Answer:
        if step.check.id == self.stop_before:
            return Stop()
        self.asked.append(step.check.id)
        return Taken((read_typed(step.check, GOOD[step.check.id]),))


def nobody(bench: Bench) -> Source:
    raise UsageError("nobody is here")


@pytest.fixture
def bench_side(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(lay_out(tmp_path))
    return tmp_path


def conduct(
    source: Callable[[Bench], Source] = nobody, notify: Callable[..., None] | None = None, **asked: Any
) -> Report:
    board = load_spec(Path("board.toml"))
    one = Conduct(Request("7", **asked), Silent(), source, clock=FakeClock())
    if notify:
        one.notify = notify
    return one.run(board, tuple(GOOD))


def test_a_file_of_readings_asks_nobody(bench_side: Path) -> None:
    report = conduct(readings=Path("card.csv"))
    assert report.exit_code == 0
    assert report.results()["exit_code"] == 0


def test_a_stopped_visit_goes_on_with_the_next_check(bench_side: Path) -> None:
    first, second = Hand("D1.reverse"), Hand()
    stopped = conduct(first)
    assert (stopped.exit_code, stopped.interrupted) == (130, True)
    report = conduct(second, resume=True)
    assert report.exit_code == 0
    assert report.record == stopped.record
    assert first.asked + second.asked == [one.check for one in read_record(report.record).readings]
    assert sorted(first.asked + second.asked) == sorted(GOOD)


def test_a_finished_visit_is_not_gone_on_with(bench_side: Path) -> None:
    conduct(readings=Path("card.csv"))
    with pytest.raises(UsageError, match="no unfinished visit"):
        conduct(Hand(), resume=True)


@pytest.mark.parametrize(
    ("asked", "told"),
    [({"stage": "return"}, "stage return"), ({"records": Path("elsewhere")}, "elsewhere holds no unfinished")],
)
def test_what_is_gone_on_with_fits_stage_and_place(bench_side: Path, asked: dict[str, Any], told: str) -> None:
    conduct(Hand("D1.reverse"))
    with pytest.raises(UsageError, match=told):
        conduct(Hand(), resume=True, **asked)


def test_a_file_may_complete_a_stopped_visit(bench_side: Path) -> None:
    stopped = conduct(Hand("D1.reverse"))
    report = conduct(resume=True, readings=Path("card.csv"))
    record = read_record(report.record)
    assert report.record == stopped.record
    assert report.exit_code == 0
    assert len(record.all_readings) == len(GOOD)


def test_a_file_that_contradicts_the_record_is_refused_with_its_lines_and_nothing_is_written(
    bench_side: Path,
) -> None:
    stopped = conduct(Hand("D1.reverse"))
    before = stopped.record.read_bytes()
    Path("card.csv").write_text(card({**GOOD, "VCC.residual_voltage": "0.011"}), "utf-8")
    with pytest.raises(InputError) as caught:
        conduct(resume=True, readings=Path("card.csv"))
    assert str(caught.value).startswith('card.csv:3: VCC.residual_voltage: is "0.004" in the record already')
    assert stopped.record.read_bytes() == before


def test_waivers_stand_across_a_resume_and_new_ones_are_noted(bench_side: Path) -> None:
    first = ("D1.reverse", "read out of circuit")
    second = ("D1.forward_drop", "the lead is broken off")
    stopped = conduct(Hand("D1.reverse"), waive=(first,))
    report = conduct(Hand(), resume=True, waive=(second,))
    waived = waivers_of(read_record(stopped.record))
    assert [(one.check, one.reason) for one in waived] == [first, second]
    assert report.checklist.waivers == waived


def test_the_day_until_which_to_keep_a_record_is_set_once(bench_side: Path) -> None:
    record = conduct(Hand("D1.reverse"), keep_until=date(2030, 1, 31)).record
    before = record.read_bytes()
    with pytest.raises(UsageError, match="says 2030-01-31; leave it out with --resume, or note the other day"):
        conduct(Hand(), resume=True, keep_until=date(2031, 1, 31))
    assert record.read_bytes() == before
    assert conduct(Hand(), resume=True, keep_until=date(2030, 1, 31)).record == record


def test_a_resumed_visit_keeps_the_bench_it_began_with(bench_side: Path) -> None:
    conduct(Hand("D1.reverse"))
    other = BENCH.replace("bench-6.5", "handheld-2000")
    Path("other.toml").write_text(other, "utf-8")
    with pytest.raises(UsageError, match="not the bench this visit was begun with"):
        conduct(Hand(), resume=True, bench="other.toml")
    Path("bench.toml").unlink()
    report = conduct(Hand("VCC.voltage[0A]"), resume=True)
    assert report.bench.source == BENCH
    Path("bench.toml").write_text(other, "utf-8")
    assert conduct(Hand(), resume=True).bench.source == BENCH


@pytest.mark.parametrize(
    "asked",
    [
        {"readings": Path("nowhere.csv")},
        {"bench": "nowhere.toml", "readings": Path("card.csv")},
        {"operator": "Ada Lovelace of London", "readings": Path("card.csv")},
        {"waive": (("D9.reverse", "no such part"),), "readings": Path("card.csv")},
        {"resume": True},
        {},
    ],
)
def test_what_cannot_be_used_is_refused_before_anything_is_written(bench_side: Path, asked: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        conduct(**asked)
    assert not Path("records").exists()


def test_notices_come_in_order_and_once_a_score(bench_side: Path) -> None:
    heard: list[tuple[str, Any]] = []
    report = conduct(readings=Path("card.csv"), notify=lambda hook, **told: heard.append((hook, *told.values())))
    names = [hook for hook, _ in heard]
    assert names == [
        "benchcheck_checklist_ready", *["benchcheck_check_scored"] * len(report.scores), "benchcheck_record_written",
    ]  # fmt: skip
    assert heard[-1][1] == RecordWritten(report.record, report.last_seal)


def test_the_head_says_rule_guard_band_and_coverage(bench_side: Path) -> None:
    head = read_record(conduct(readings=Path("card.csv"), operator="AL", keep_until=date(2030, 1, 31)).record).head
    assert head.keep_until == date(2030, 1, 31)
    assert (head.operator, head.guard_band, head.coverage) == ("AL", "w = 1 U", "95.45 %")
