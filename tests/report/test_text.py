from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.record.audit import check_records
from benchcheck.record.changes import changes_between
from benchcheck.record.history import history_of
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.record.record import Record, read_record
from benchcheck.report.html import history_page
from benchcheck.report.text import audit_lines, changes_lines, history_lines
from benchcheck.report.wording import counts_words, limits_words, one_line, tally, value_words, wrapped
from benchcheck.score.model import Outcome, Score, Verdict
from tests.record.samples import SCORES, write_visit
from tests.report.hostile import hostile_record


def test_what_a_record_holds_cannot_steer_a_terminal(tmp_path: Path) -> None:
    record = hostile_record(tmp_path)
    later = replace(record, scores=tuple(replace(score, verdict=Verdict.PASS) for score in record.scores))
    told = [
        *history_lines(history_of((record, later)), every=True),
        *changes_lines(changes_between(record, later)),
        *audit_lines(check_records(tmp_path)),
    ]
    assert len(told) > 20
    assert not [line for line in told if not line.isprintable()]


def test_problems_of_a_record_stand_in_its_history(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    path.write_bytes(path.read_bytes().replace(b'display = "8.97"', b'display = "8.99"'))
    told = " ".join(" ".join(history_lines(history_of((read_record(path),)))).split())
    assert "does not carry its seal" in told
    assert "no result yet" in told


def test_tries_that_no_reading_carries_stand_in_a_history(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    with Journal.resume(path, FakeClock()) as journal:
        for shown in ("8.1k", "OL"):
            journal.append_event(EventKind.TRY, "R99.resistance", shown)
    told = " ".join(" ".join(history_lines(history_of((read_record(path),)))).split())
    assert "tried and not accepted: R99.resistance: 8.1k, OL" in told


def test_an_audit_says_what_seals_cannot_show(tmp_path: Path) -> None:
    write_visit(tmp_path)
    told = " ".join(" ".join(audit_lines(check_records(tmp_path))).split())
    assert "compare the last seal printed on the sheet" in told
    assert "changed or missing: " in told  # the sample's spec is not beside it


@pytest.mark.parametrize(
    ("score", "limits", "value"),
    [
        (SCORES[0], "4.653 kohm to 4.747 kohm", "4.680 kohm +/- 0.024 kohm"),
        (replace(SCORES[0], lower=None), "at most 4.747 kohm", "4.680 kohm +/- 0.024 kohm"),
        (replace(SCORES[0], upper=None), "at least 4.653 kohm", "4.680 kohm +/- 0.024 kohm"),
        (SCORES[1], "", "OL"),
    ],
)
def test_values_and_limits_are_ascii_in_a_terminal(score: Score, limits: str, value: str) -> None:
    assert limits_words(score, ascii=True) == limits
    assert value_words(score, ascii=True) == value


def test_a_tally_counts_verdicts_and_outcomes_in_a_fixed_order() -> None:
    skipped = Score("C9.esr", Outcome.SKIPPED, "ohm")
    assert counts_words(tally((skipped, SCORES[1], SCORES[0], skipped))) == "1 pass, 1 undecided, 2 skipped"
    assert counts_words(()) == "no checks"


def test_long_texts_are_cut_and_say_how_long_they_are() -> None:
    assert one_line("x" * 10_000_000, 20) == f"{'x' * 20}... (10000000 characters)"
    assert all(len(line) <= 80 for line in wrapped("word " * 500, "  ", "    "))


def test_a_history_names_the_stage_of_a_value_a_clock_set_back_and_warns_only_of_what_is_to_come(
    tmp_path: Path,
) -> None:
    """The forecast of a value that is outside already "reaches beyond a limit" no more: it is there."""
    base = read_record(write_visit(tmp_path))
    start = base.head.date
    assert start is not None

    def visit(days: int, value: float) -> Record:
        score = replace(SCORES[0], value=value, budget=None, expanded_uncertainty=1.0)
        return replace(base, head=replace(base.head, date=start + timedelta(days=days)), scores=(score,))

    inside = history_of([visit(days, 4740.0 + days / 400) for days in (0, 400, 800, 1200)])
    assert "reaches beyond a limit" in " ".join(history_lines(inside, every=True))
    assert f"{base.head.stage}  " in "\n".join(history_lines(inside, every=True)).split("What moved")[1]
    assert "a clock was wrong" not in " ".join(history_lines(inside))
    outside = history_of([visit(days, 4840.0) for days in (0, 400, 1200, 800)])
    words = " ".join(" ".join(history_lines(outside, every=True)).split())
    assert "reaches beyond a limit" not in words
    assert "a clock was wrong" in words
    assert history_page(outside).count("a clock was wrong") == 1
