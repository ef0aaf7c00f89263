from __future__ import annotations

import importlib.resources
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.record.history import history_of
from benchcheck.record.journal import Journal
from benchcheck.record.record import Record, read_record
from benchcheck.report.course import horizon, moved_checks, shown_trend
from benchcheck.report.html import history_page, sheet_page
from benchcheck.score.model import Outcome, Score, Verdict
from tests.record.samples import HEAD, RESULT, SCORES, write_visit
from tests.report.hostile import NASTY, hostile_record
from tests.report.pages import assert_accessible, assert_inert, colour_pairs, contrast, each, texts


def visit(records_dir: Path, scores: tuple[Score, ...], year: int = 2026, **head: object) -> Record:
    clock = FakeClock(datetime(year, 1, 31, 10, 15, tzinfo=UTC))
    with Journal.create(records_dir, replace(HEAD, **head), clock) as journal:  # type: ignore[arg-type]
        journal.append_scores(scores)
        journal.append_result(RESULT)
    return read_record(journal.path)


def section(page: str, heading: str) -> str:
    """Return the text of the section under a heading."""
    found = [one for one in each(assert_accessible(page), "section") if texts(one).strip().startswith(heading)]
    assert len(found) == 1
    return " ".join(texts(found[0]).split())


def test_a_sheet_is_valid_accessible_and_needs_nothing_else(tmp_path: Path) -> None:
    tree = assert_accessible(sheet_page(read_record(write_visit(tmp_path))))
    assert_inert(tree)


def test_a_sheet_holds_what_a_technician_needs(tmp_path: Path) -> None:
    record = read_record(write_visit(tmp_path))
    words = " ".join(texts(assert_accessible(sheet_page(record))).split())
    for expected in (
        "PR-3 Nr. 42",
        "4.680 kΩ ± 0.024 kΩ",
        "4.653 kΩ to 4.747 kΩ",
        "ILAC-G8:09/2019 4.2.3",
        "serial 0815",
        "2027-01-31",
        "handheld-6000, 0.8 % + 3",
        'the "other" lead is under the shield',
        "Extra-low voltage only.",
        "a meter with more",
        record.last_seal,
    ):
        assert expected in words


def test_the_owner_reads_what_was_not_tested_and_what_to_watch(tmp_path: Path) -> None:
    near = replace(SCORES[0], check="R1.resistance", verdict=Verdict.CONDITIONAL_PASS)
    page = sheet_page(visit(tmp_path, (*SCORES, near)))
    assert "1 check (D3)" in section(page, "What was not tested")
    assert "D3.reverse" in section(page, "Left open, check by check")
    assert "no ESR meter" in section(page, "What was not tested")
    watched = section(page, "To be watched")
    assert "R1.resistance" in watched
    assert "C9.polarity[other]" in watched
    assert "R14.resistance" not in watched


def test_a_calibration_that_was_overdue_is_said(tmp_path: Path) -> None:
    assert "Calibration overdue" in section(sheet_page(visit(tmp_path, SCORES, 2028)), "To be watched")
    assert "overdue" not in section(sheet_page(visit(tmp_path, SCORES, 2026)), "To be watched")


def test_a_record_that_was_changed_says_so_on_its_sheet(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    path.write_bytes(path.read_bytes().replace(b'display = "8.97"', b'display = "8.99"'))
    page = sheet_page(read_record(path))
    assert "does not carry its seal" in section(page, "To be watched")
    assert "8.99" not in page


@pytest.mark.parametrize("verdict", list(Verdict))
def test_every_verdict_is_printed_in_words(tmp_path: Path, verdict: Verdict) -> None:
    page = sheet_page(visit(tmp_path, (replace(SCORES[0], verdict=verdict),)))
    table = next(one for one in each(assert_accessible(page), "table") if one.get("class") == "checks stack")
    assert str(verdict) in texts(table)


def test_every_text_keeps_a_contrast_of_four_and_a_half_to_one() -> None:
    css = (importlib.resources.files("benchcheck.report") / "templates" / "style.css").read_text(encoding="utf-8")
    pairs = colour_pairs(css)
    assert {f".v-{verdict.replace(' ', '-')}" for verdict in Verdict} <= {
        name for selector in pairs for name in selector.split(", ")
    }
    assert not {name: contrast(*pair) for name, pair in pairs.items() if contrast(*pair) < 4.5}


def test_hostile_strings_in_every_field_stay_text(tmp_path: Path) -> None:
    record = hostile_record(tmp_path)
    page = sheet_page(record)
    tree = assert_accessible(page)
    assert_inert(tree)
    shown = NASTY.replace("\x1b", "\ufffd")
    assert texts(tree).count(shown) >= 20
    assert "{{ 7*7 }}" in texts(tree)


def test_hostile_strings_stay_text_in_a_history(tmp_path: Path) -> None:
    assert_inert(assert_accessible(history_page(history_of((hostile_record(tmp_path),)))))


def test_a_note_of_megabytes_is_cut_and_says_so(tmp_path: Path) -> None:
    page = sheet_page(visit(tmp_path, (replace(SCORES[1], because="x" * 10_000_000),)))
    assert "10000000 characters" in page
    assert len(page) < 200_000


def test_labels_in_any_script_stand_as_they_are(tmp_path: Path) -> None:
    label = "מקלט Приёмник 受信機 №7"
    tree = assert_accessible(sheet_page(visit(tmp_path, SCORES, unit=label)))
    assert texts(each(tree, "h1")[0]) == label


def test_a_visit_with_nothing_in_it_still_prints(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        pass
    assert "no result yet" in texts(assert_accessible(sheet_page(read_record(journal.path))))


def test_a_drawing_marks_value_limits_and_guard_bands(tmp_path: Path) -> None:
    page = sheet_page(visit(tmp_path, SCORES[:1]))
    drawing = re.search(r'<svg class="check".*?</svg>', page, re.DOTALL)
    assert drawing is not None
    assert [drawing[0].count(f'class="{name}"') for name in ("limit", "guard", "spread", "value")] == [2, 2, 1, 1]


def test_a_history_page_plots_the_trend_and_says_it_in_words(tmp_path: Path) -> None:
    records = [
        visit(
            tmp_path,
            (replace(SCORES[0], value=4680.0 + 60.0 * step, budget=None, expanded_uncertainty=2.0),),
            2026 + step,
        )
        for step in range(4)
    ]
    page = history_page(history_of(records))
    tree = assert_accessible(page)
    assert_inert(tree)
    assert "Drift:" in texts(tree)
    assert "beyond a limit" in texts(tree)
    assert page.count('class="fitted"') == 1
    assert page.count('<circle class="value"') == 4


def test_visits_within_a_month_show_no_drift_over_years(tmp_path: Path) -> None:
    records = []
    for day in range(4):
        clock = FakeClock(datetime(2026, 1, 20 + day, 10, 15, tzinfo=UTC))
        with Journal.create(tmp_path, HEAD, clock) as journal:
            journal.append_scores((replace(SCORES[0], value=4680.0 + 2.0 * day, budget=None),))
            journal.append_result(RESULT)
        records.append(read_record(journal.path))
    history = history_of(records, at=horizon(records))
    assert history.series[0].trend is not None
    assert shown_trend(history.series[0]) is None
    assert moved_checks(history) == frozenset()
    assert "A trend needs three values over a month or more" in texts(assert_accessible(history_page(history)))


@pytest.mark.parametrize(("years", "ahead_days"), [(0, 30.0), (1, 365.0), (8, 365.25)])
def test_a_forecast_reaches_no_further_than_the_visits_reach_back(
    tmp_path: Path, years: int, ahead_days: float
) -> None:
    records = [visit(tmp_path, SCORES, 2026 + step * years) for step in range(2)]
    last = records[-1].head.date
    at = horizon(records)
    assert last is not None
    assert at is not None
    assert (at - last).total_seconds() / 86400 == pytest.approx(ahead_days)


def test_a_change_within_the_uncertainty_has_not_moved(tmp_path: Path) -> None:
    plain = replace(SCORES[0], budget=None)
    same = [visit(tmp_path / "a", (replace(plain, value=4680.0 + 30.0 * step),), 2026 + step) for step in range(2)]
    other = [visit(tmp_path / "b", (replace(plain, value=4680.0 + 40.0 * step),), 2026 + step) for step in range(2)]
    assert moved_checks(history_of(same)) == frozenset()  # U of the difference is 24.3 ohm times the root of two
    assert moved_checks(history_of(other)) == {"R14.resistance"}


def test_however_many_checks_failed_the_owners_page_stays_a_page(tmp_path: Path) -> None:
    failed = tuple(replace(SCORES[0], check=f"R{number}.resistance", verdict=Verdict.FAIL) for number in range(300))
    near = replace(SCORES[0], check="R999.resistance", verdict=Verdict.CONDITIONAL_PASS)
    watched = section(sheet_page(visit(tmp_path, (near, *failed))), "To be watched")
    assert "And further: 1 conditional pass, 288 fail" in watched
    assert "R0.resistance" in watched  # the worst first
    assert len(watched) < 3000


def test_the_owner_reads_parts_and_the_technician_every_open_check(tmp_path: Path) -> None:
    checks = [f"R{number}.resistance[{side}]" for number in range(20) for side in ("a.b", "c")]
    page = sheet_page(visit(tmp_path, tuple(replace(SCORES[1], check=check) for check in checks)))
    told = section(page, "What was not tested")
    assert "40 checks (R0, R1, R2, R3, R4, R5, R6, R7, R8, R9, R10, R11 and 8 more)" in told
    assert all(check in section(page, "Left open") for check in checks)


def test_a_reason_says_nothing_twice(tmp_path: Path) -> None:
    looked = Score("D3.orientation", Outcome.MEASURED, "yes_no", Verdict.FAIL, display="no")
    looked = replace(looked, because='seen: "no"; it should be "yes"')
    low = replace(
        SCORES[0], verdict=Verdict.FAIL, because="4.68 kohm lies 67 ohm above the upper limit 4.613 kohm; x"
    )
    page = sheet_page(visit(tmp_path, (looked, low)))
    watched = section(page, "To be watched")
    assert 'fail: no; it should be "yes" (D3.orientation)' in watched
    assert "4.680 kΩ ± 0.024 kΩ; lies 67 Ω above the upper limit 4.613 kΩ; x (R14.resistance)" in watched
    assert "seen:" not in page
    assert "ohm" not in watched


def test_long_notes_and_many_of_them_leave_the_owners_page_a_page(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    with Journal.resume(path, FakeClock()) as journal:
        for number in range(20):
            journal.append_event("note", text=f"{number}: " + "long " * 500)
    page = sheet_page(read_record(path))
    done = section(page, "What was done")
    assert len(done) < 3500
    assert "14 notes, all of them under what was noted on the way" in " ".join(done.split())
    assert "19: long" in section(page, "How it was measured")


@pytest.mark.parametrize(
    ("verdicts", "words"),
    [
        ((Verdict.PASS,), "The only check passed: 1 pass."),
        ((Verdict.PASS, Verdict.PASS), "All 2 checks passed: 2 pass."),
        ((Verdict.FAIL,), "1 of 1 check failed: 1 fail."),
        ((Verdict.PASS, Verdict.UNDECIDED), "Nothing failed; 1 of 2 checks stays open: 1 pass, 1 undecided."),
        ((), "Nothing was checked: no checks."),
    ],
)
def test_one_is_not_many(tmp_path: Path, verdicts: tuple[Verdict, ...], words: str) -> None:
    scores = tuple(replace(SCORES[0], check=f"R{n}.resistance", verdict=one) for n, one in enumerate(verdicts))
    page = sheet_page(visit(tmp_path, scores))
    assert words in page
    assert not re.search(r"\b1 (checks|visits|contributions)\b", page)
    assert not re.search(r"\b1 (checks|visits)\b", history_page(history_of([visit(tmp_path / "b", scores)])))


def test_a_checks_id_breaks_between_its_parts(tmp_path: Path) -> None:
    score = replace(SCORES[0], check="VSW.to_ground[red:<b>]")
    page = sheet_page(visit(tmp_path, (score,)))
    assert '<th scope="row">VSW.<wbr>to_<wbr>ground<wbr>[red:<wbr>&lt;b&gt;]</th>' in page


def test_a_text_that_turns_the_writing_round_turns_only_itself(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    with Journal.resume(path, FakeClock()) as journal:
        journal.append_event("note", "R14.resistance", "\u202eturned")
    tree = assert_accessible(sheet_page(read_record(path)))
    holders = [one for one in tree.iter() if "\u202e" in (one.text or "")]
    assert holders
    assert {str(one.tag).rpartition("}")[2] for one in holders} == {"bdi"}
