"""Format version 1 is frozen: every later version reads this file, byte for byte as it was written in 0.1.0."""

from __future__ import annotations

import hashlib
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

from benchcheck.clock import FakeClock
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind, Instrument, Stage
from benchcheck.record.results import results_json, waivers_of
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Reason, Verdict

GOLDEN = Path(__file__).parent / "golden" / "version-1.toml"
WORDS = GOLDEN.with_name("version-1-words.toml")
FROZEN_WORDS = "cfc9e8d2ce40f3a1bdc585beefbe11c5d390f4eac969ac6b29dab74fc5f96ba3"
FROZEN = "8d1e1d7bf047c9bc652f6c73c543d43976b2cf6d27f3c24636d10bd13906ab63"


def test_the_files_themselves_are_what_was_frozen() -> None:
    assert hashlib.sha256(GOLDEN.read_bytes()).hexdigest() == FROZEN
    assert hashlib.sha256(WORDS.read_bytes()).hexdigest() == FROZEN_WORDS


def test_the_head_of_version_1_reads_as_it_was_written() -> None:
    record = read_record(GOLDEN)
    head = record.head
    assert record.sealed
    assert record.problems == ()
    assert record.blocks == 22
    assert record.last_seal == "607609afd9f8ecc5f84186a8833996b244254db88f3e4392dc81b1d4ff98664a"
    assert record.identity == "0e0d7277ae18d9e88d27364f6c1239258731e79a51cb1f8f4f0ef8afa227844c"
    assert (head.unit, head.board, head.revision) == ("Gerät №\u00a042 (修理)", "Marrowby PR-3 pocket receiver", "B")
    assert (head.stage, head.date) == (Stage.AS_LEFT, datetime(2026, 1, 31, 10, 15, tzinfo=UTC))
    assert (head.operator, head.ambient_c) == ("AB", 22.5)
    assert (head.spec_digest, head.bench_digest) == ("5a" * 32, "b7" * 32)
    assert (head.decision_rule, head.guard_band, head.coverage) == ("ILAC-G8:09/2019 4.2.3", "1 U", "95.45 %")
    assert head.instruments == (
        Instrument("dmm", "handheld-6000", "serial 0815", date(2027, 1, 31), "leads 0.2 ohm"),
        Instrument("esrmeter", "esr-meter"),
    )
    assert head.cautions == ("Extra-low voltage only.",)
    assert head.versions == (("benchcheck", "0.1.0"),)
    assert (head.id, head.keep_until) == ("0a1b2c3d", date(2030, 1, 31))
    assert head.parents == ("1f" * 32, "2e" * 32)


def test_the_readings_of_version_1_read_as_they_were_written() -> None:
    record = read_record(GOLDEN)
    taken = datetime(2026, 1, 31, 10, 16, 3, 250000, UTC)
    r14 = Display("4.68k", DisplayState.VALUE, 4680.0, 36.5625)
    vsw = Display("8.97", DisplayState.VALUE, 8.97, 0.070078125)
    hot = 'hot "already"\n\tand so on'
    c9 = Display("climbs to 2.1M", DisplayState.CLIMBS, 2.1e6, 1e5)
    c8 = Display("climbs to OL", DisplayState.CLIMBS, to_overload=True)
    lot = Display('"; DROP \\ \x07 👩‍🔧\u2028', DisplayState.TEXT)
    assert record.readings == (
        Reading("R14.resistance", r14, "ohm", Origin.TYPED, taken=taken),
        Reading("D3.reverse", Display("OL", DisplayState.OVERLOAD), "V", Origin.FILE, meter="dmm", line=7),
        Reading("VSW.voltage[120mA]", vsw, "V", Origin.TYPED, note=hot, retries=("8.1", "0L")),
        Reading("C9.leakage_screen", c9, "ohm", Origin.METERED, meter="dmm"),
        Reading("C8.leakage_screen", c8, "ohm", Origin.TYPED),
        Reading("R14.lot", lot, "text", Origin.TYPED),
    )
    undone = record.all_readings[3].value
    assert (undone.check, undone.display.value, undone.polarity) == ("Q2.body_diode", 0.1 + 0.2, "swapped")
    assert (undone.repeat, undone.meter_range) == (2, "2 V")


def test_the_scores_and_budgets_of_version_1_read_as_they_were_written() -> None:
    record = read_record(GOLDEN)
    r14, d3, c9 = record.scores
    assert (r14.check, r14.outcome, r14.verdict) == ("R14.resistance", Outcome.MEASURED, Verdict.CONDITIONAL_PASS)
    assert (r14.value, r14.expanded_uncertainty, r14.coverage_factor) == (4679.8, 24.3, 1.65)
    assert (r14.lower, r14.upper, r14.limit_origin) == (4653.0, 4747.0, "the spec")
    assert (r14.guard_band, r14.conformance_probability, r14.meter, r14.attempts) == (24.3, 0.998, "dmm", 1)
    assert (d3.verdict, d3.code, d3.display) == (Verdict.UNDECIDED, Reason.COMPLIANCE, "OL")
    assert (d3.because, d3.change) == ("2 V of compliance show nothing above", "a meter with more")
    assert (c9.outcome, c9.verdict, c9.because) == (Outcome.SKIPPED, None, "no ESR meter")
    budget = record.all_scores[0].value.budget
    assert budget is not None
    assert [one.standard_uncertainty for one in budget.contributions] == [
        23.44042092909881, 0.03333333333333333, 0.881917103688197, 10.229369482035537,
    ]  # fmt: skip
    assert [tuple(one) for one in budget.correlations] == [("dmm.leads", "R13.tolerance", 0.25)]


def test_the_events_and_results_of_version_1_read_as_they_were_written() -> None:
    record = read_record(GOLDEN)
    assert [event.kind for event in record.events] == [
        EventKind.UNDO, EventKind.SKIP, EventKind.LATER, EventKind.WAIVER, EventKind.NOTE, EventKind.PHOTO,
        EventKind.RESUMED, EventKind.AMENDMENT,
    ]  # fmt: skip
    amendment = record.events[-1]
    assert (amendment.text, amendment.operator) == ("the label said R41", "CD")
    assert [waiver.check for waiver in waivers_of(record)] == ["C9.polarity[other]", "Q2.blocking"]
    assert [result.exit_code for result in record.results] == [130, 3]
    assert record.results[1].counts == (("pass", 1), ("undecided", 1), ("skipped", 1))
    assert results_json(record)["exit_code"] == 3


def test_a_record_of_version_1_can_be_gone_on_with(tmp_path: Path) -> None:
    path = tmp_path / GOLDEN.name
    shutil.copy(GOLDEN, path)
    with Journal.resume(path, FakeClock()) as journal:
        journal.append_event("undo", "R14.resistance")
    assert read_record(path).sealed
    assert path.read_bytes().startswith(GOLDEN.read_bytes())


def test_every_word_of_version_1_is_still_read() -> None:
    """A word added since needs no line here; one of these that is no longer known breaks what a bench has kept."""
    record = read_record(WORDS)
    assert record.sealed
    assert record.problems == ()
    assert record.head.unit == "PR-3 nr. 43 \u03a9 \u0448"
    readings = [entry.value for entry in record.all_readings]
    assert {str(one.display.state) for one in readings} == {
        "value", "overload", "climbs", "falls", "jumps", "beep", "no beep", "yes", "no", "text", "not reachable",
        "not present",
    }  # fmt: skip
    assert {str(one.origin) for one in readings} == {"typed", "file", "metered"}
    scores = [entry.value for entry in record.all_scores]
    assert {str(one.outcome) for one in scores} == {"measured", "skipped", "blocked", "error"}
    assert {str(one.verdict) for one in scores if one.verdict} == {
        "pass", "conditional pass", "conditional fail", "fail", "undecided",
    }  # fmt: skip
    reasons = {"meter", "circuit", "compliance", "one-sided", "method", "contact"}
    assert {str(one.code) for one in scores if one.code} == reasons
    assert [str(event.kind) for event in record.events] == [
        "undo", "skip", "later", "waiver", "note", "photo", "resumed", "amendment", "instrument",
    ]  # fmt: skip
    assert {"as-found", "as-left", "return"} <= set(Stage)


def test_every_distribution_of_version_1_is_still_read() -> None:
    budget = read_record(WORDS).all_scores[-1].value.budget
    assert budget is not None
    assert {part.label for part in budget.contributions} == {str(part.distribution) for part in budget.contributions}
    assert {"normal", "rectangular", "triangular", "trapezoidal"} <= {part.label for part in budget.contributions}
