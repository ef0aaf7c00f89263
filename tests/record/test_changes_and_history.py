"""Visits compared: one meter's own errors cancel, two meters' do not, and the most significant comes first."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.metrology import Budget, Contribution, Correlation, Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.changes import Change, ChangeKind, changes_between
from benchcheck.record.history import Trend, history_of
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Instrument, Result, Stage
from benchcheck.record.store import Record, read_record, records_of
from benchcheck.record.visits import across_visits
from benchcheck.score.model import Outcome, Score
from tests.record.samples import HEAD

DMM = Instrument("dmm", "handheld-6000", "serial 0815", date(2027, 1, 31))
OTHER = replace(DMM, identity="serial 4711")
START = datetime(2026, 1, 31, 10, 15, tzinfo=UTC)


def measured(
    check: str, number: float, *, count: float = 10.0, verdict: Verdict = Verdict.PASS
) -> tuple[Reading, Score]:
    """A reading of a 6 kohm range with its accuracy of 0.8 % + 3, and its score."""
    accuracy = Contribution.from_limits("dmm.ohms.6k.accuracy", "accuracy", 0.008 * number + 3 * count)
    budget = Budget(number, "ohm", (accuracy, Contribution.from_limits(f"{check}.digits", "digits", count / 2)))
    interval = budget.coverage(0.9545)
    text = f"{number:g}"
    reading = Reading(check, Display(text, DisplayState.VALUE, number, count), "ohm", Origin.TYPED)
    score = Score(
        check, Outcome.MEASURED, "ohm", verdict, display=text, value=number, meter="dmm", budget=budget,
        expanded_uncertainty=interval.expanded_uncertainty, coverage_factor=interval.coverage_factor,
    )  # fmt: skip
    return reading, score


def shown(check: str, text: str, state: DisplayState, verdict: Verdict) -> tuple[Reading, Score]:
    reading = Reading(check, Display(text, state), "V", Origin.TYPED)
    return reading, Score(check, Outcome.MEASURED, "V", verdict, display=text)


def visit(
    records: Path, *taken: tuple[Reading, Score], meter: Instrument = DMM, days: float = 0.0, **head: object
) -> Record:
    clock = FakeClock(START + timedelta(days=days))
    whole: Head = replace(HEAD, instruments=(meter,), **head)  # type: ignore[arg-type]
    with Journal.create(records, whole, clock) as journal:
        journal.append_readings([reading for reading, _ in taken])
        journal.append_scores([score for _, score in taken])
        journal.append_result(Result(0))
    return read_record(journal.path)


def only(changes: tuple[Change, ...], check: str) -> Change:
    return next(change for change in changes if change.check == check)


def test_one_meter_sees_a_change_far_below_its_accuracy(tmp_path: Path) -> None:
    first = visit(tmp_path, measured("R14.resistance", 4680.0, count=1.0))
    second = visit(tmp_path, measured("R14.resistance", 4695.0, count=1.0), days=700)
    (change,) = changes_between(first, second).ranked
    assert change.kind is ChangeKind.VALUE
    assert change.difference == pytest.approx(15.0)
    assert change.one_meter
    # what remains: 0.8 % of the 15 ohm, one count of linearity, half a digit each time; 40 ohm cancelled
    assert change.expanded_uncertainty == pytest.approx(1.4, abs=0.2)
    assert change.significant


@pytest.mark.parametrize(
    "meter", [OTHER, replace(DMM, calibration_due=date(2028, 1, 31)), replace(DMM, model="bench-5.5")]
)
def test_two_meters_or_one_calibrated_in_between_do_not(tmp_path: Path, meter: Instrument) -> None:
    first = visit(tmp_path, measured("R14.resistance", 4680.0, count=1.0))
    second = visit(tmp_path, measured("R14.resistance", 4695.0, count=1.0), meter=meter, days=700)
    (change,) = changes_between(first, second).ranked
    assert change.kind is ChangeKind.SAME
    assert not change.one_meter
    assert change.expanded_uncertainty is not None
    assert change.expanded_uncertainty > 40.0


def test_the_most_significant_change_comes_first_and_a_change_of_shape_before_all(tmp_path: Path) -> None:
    ol, drop = DisplayState.OVERLOAD, DisplayState.TEXT
    first = visit(
        tmp_path,
        measured("R1.resistance", 1000.0),
        measured("R2.resistance", 1000.0),
        measured("R3.resistance", 1000.0),
        shown("D3.reverse", "OL", ol, Verdict.PASS),
        shown("R1.lot", "A1", drop, Verdict.PASS),
        shown("R2.lot", "A2", drop, Verdict.PASS),
        shown("C1.esr", "OL", ol, Verdict.FAIL),
    )
    second = visit(
        tmp_path,
        measured("R1.resistance", 1030.0),
        measured("R2.resistance", 1400.0),
        measured("R3.resistance", 1000.0, verdict=Verdict.CONDITIONAL_PASS),
        shown("D3.reverse", "0L", ol, Verdict.PASS),
        shown("R1.lot", "B7", drop, Verdict.PASS),
        shown("R2.lot", "a2", drop, Verdict.PASS),
        measured("C1.esr", 0.5),
    )
    changes = changes_between(first, second)
    kinds = [(change.check, change.kind) for change in changes.ranked]
    assert {kinds[0], kinds[1]} == {("R1.lot", ChangeKind.SHAPE), ("C1.esr", ChangeKind.SHAPE)}
    assert kinds[2:5] == [
        ("R2.resistance", ChangeKind.VALUE),
        ("R1.resistance", ChangeKind.VALUE),
        ("R3.resistance", ChangeKind.VERDICT),
    ]
    assert {check for check, kind in kinds[5:] if kind is ChangeKind.SAME} == {"D3.reverse", "R2.lot"}
    assert only(changes.ranked, "C1.esr").significance == math.inf


def test_without_budgets_the_expanded_uncertainties_stand_in(tmp_path: Path) -> None:
    reading, score = measured("R1.resistance", 1000.0)
    loose = replace(score, budget=None, expanded_uncertainty=30.0)
    later = replace(loose, value=1050.0, expanded_uncertainty=40.0)
    (change,) = changes_between(visit(tmp_path, (reading, loose)), visit(tmp_path, (reading, later))).ranked
    assert change.expanded_uncertainty == pytest.approx(50.0)
    assert change.significance == pytest.approx(1.0)
    bare = replace(later, expanded_uncertainty=None)
    (change,) = changes_between(visit(tmp_path, (reading, bare)), visit(tmp_path, (reading, bare))).ranked
    assert change.significance == 0.0


def test_what_only_one_visit_measured_and_what_limits_the_comparison_is_said(tmp_path: Path) -> None:
    nameless = Instrument("dmm", "handheld-6000")
    first = visit(tmp_path, measured("R1.resistance", 1.0), meter=nameless)
    second = visit(tmp_path, measured("R2.resistance", 1.0), meter=nameless, spec_digest="00" * 32)
    changes = changes_between(first, second)
    assert changes.ranked == ()
    assert (changes.only_earlier, changes.only_later) == (("R1.resistance",), ("R2.resistance",))
    assert "the spec was changed in between" in changes.remarks[0]
    assert "dmm has no serial number" in changes.remarks[1]
    recalibrated = replace(nameless, calibration_due=date(2031, 1, 31))
    for other in (recalibrated, replace(nameless, model="handheld-50000")):
        (remark,) = changes_between(first, visit(tmp_path, measured("R1.resistance", 1.0), meter=other)).remarks
        assert remark.startswith("dmm is another meter, or was calibrated in between"), "and not taken to be the same"
    third = visit(tmp_path, measured("R1.resistance", 1.0), unit="another", revision="C")
    remarks = changes_between(first, third).remarks
    assert 'the records are of two units, "PR-3 Nr. 42" and "another"' in remarks
    assert "board or revision differ" in remarks[1]


def test_ids_across_visits_keep_correlations_and_part_what_is_drawn_anew() -> None:
    parts = (
        Contribution.from_limits("dmm.leads", "leads", 0.1),
        Contribution.from_limits("R1.digits", "digits", 0.5),
    )
    budget = Budget(10.0, "ohm", parts, (Correlation("R1.digits", "dmm.leads", 0.5),))
    here, there = across_visits(budget, (DMM,), "aa"), across_visits(budget, (DMM,), "bb")
    shared = {one.id for one in here.contributions} & {one.id for one in there.contributions}
    assert shared == {"dmm|handheld-6000|serial 0815|2027-01-31:dmm.leads"}
    assert here.combined_standard_uncertainty == pytest.approx(budget.combined_standard_uncertainty)


# --- history


def years(tmp_path: Path, numbers: list[float], meters: list[Instrument] | None = None, count: float = 1.0) -> Path:
    for year, number in enumerate(numbers):
        meter = meters[year] if meters else DMM
        visit(tmp_path, measured("R14.resistance", number, count=count), meter=meter, days=365.25 * year)
    return tmp_path


def test_a_drift_seen_by_one_meter_has_a_trend_and_a_forecast(tmp_path: Path) -> None:
    history = history_of(records_of(years(tmp_path, [4680.0, 4691.0, 4699.0, 4710.0]), HEAD.unit))
    (series,) = history.series
    assert [point.score.value for point in series.points] == [4680.0, 4691.0, 4699.0, 4710.0]
    assert len(history.visits) == 4
    trend = series.trend
    assert trend is not None
    assert trend.slope_per_year == pytest.approx(9.8)
    assert trend.significant
    assert trend.at == START + timedelta(days=3 * 365.25 + 365.25)
    assert trend.forecast.expected == pytest.approx(4719.5)
    assert trend.leaves(None, 4725.0)
    assert not trend.leaves(4600.0, 4900.0)


def test_the_same_drift_seen_by_four_meters_is_none(tmp_path: Path) -> None:
    meters = [replace(DMM, identity=f"serial {number}") for number in range(4)]
    history = history_of(records_of(years(tmp_path, [4680.0, 4691.0, 4699.0, 4710.0], meters), HEAD.unit))
    trend = history.series[0].trend
    assert trend is not None
    assert trend.slope_per_year == pytest.approx(9.8)
    assert not trend.significant


def test_three_readings_on_a_line_are_no_proof_beyond_the_display(tmp_path: Path) -> None:
    """No scatter at all: one count of linearity on each is what keeps the slope honest."""
    history = history_of(records_of(years(tmp_path, [4680.0, 4680.0, 4681.0], count=1.0), HEAD.unit))
    trend = history.series[0].trend
    assert trend is not None
    assert not trend.significant
    flat = history_of(records_of(years(tmp_path / "flat", [4680.0] * 3), HEAD.unit)).series[0].trend
    assert flat is not None
    assert flat.slope_half_width > 0.5


def test_below_three_values_there_is_no_trend(tmp_path: Path) -> None:
    visit(
        tmp_path, measured("R14.resistance", 4680.0), shown("D3.reverse", "OL", DisplayState.OVERLOAD, Verdict.PASS)
    )
    visit(tmp_path, measured("R14.resistance", 4690.0), stage=Stage.RETURN, days=1)
    history = history_of(records_of(tmp_path, HEAD.unit))
    assert [series.check for series in history.series] == ["R14.resistance", "D3.reverse"]
    assert all(series.trend is None for series in history.series)
    assert history.series[0].verdicts == (Verdict.PASS, Verdict.PASS)
    at_once = years(tmp_path / "once", [1.0])
    for _ in range(3):
        visit(at_once, measured("R14.resistance", 2.0))
    assert history_of(records_of(at_once, HEAD.unit)).series[0].trend is None


def test_the_forecast_can_be_asked_for_any_day(tmp_path: Path) -> None:
    records = records_of(years(tmp_path, [4680.0, 4690.0, 4700.0]), HEAD.unit)
    at = START + timedelta(days=3652.5)
    trend = history_of(records, at=at).series[0].trend
    assert trend is not None
    assert trend.at == at
    assert trend.forecast.expected == pytest.approx(4780.0)
    assert trend.forecast.lower < 4780.0 < trend.forecast.upper


def test_without_budgets_a_trend_rests_on_the_expanded_uncertainties(tmp_path: Path) -> None:
    for year, number in enumerate([4680.0, 4690.0, 4700.0]):
        reading, score = measured("R14.resistance", number)
        visit(tmp_path, (reading, replace(score, budget=None)), days=365.25 * year)
    trend = history_of(records_of(tmp_path, HEAD.unit)).series[0].trend
    assert trend is not None
    assert not trend.significant, "nothing says that the meter's errors are shared"


SUMMER, WINTER = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))


def test_visits_within_the_hour_that_comes_twice_in_autumn_stand_in_their_true_order(tmp_path: Path) -> None:
    """On 25 October 2026 clocks in Central Europe go from 03:00 back to 02:00 (Directive 2000/84/EC)."""
    moments = (
        datetime(2026, 10, 25, 2, 40, tzinfo=SUMMER),
        datetime(2026, 10, 25, 2, 20, tzinfo=WINTER),
        datetime(2026, 10, 25, 2, 50, tzinfo=WINTER),
    )
    for moment in moments:
        with Journal.create(tmp_path, replace(HEAD, date=None, parents=()), FakeClock(moment)) as journal:
            journal.append_scores([measured("R14.resistance", 4700.0)[1]])
            journal.append_result(Result(0))
    found = history_of(records_of(tmp_path, HEAD.unit))
    dates = [record.head.date for record in found.visits]
    assert dates == list(moments)
    assert [f"{one:%H:%M}" for one in dates if one] == ["00:40", "01:20", "01:50"]
    assert sorted(record.path.name for record in found.visits) == [record.path.name for record in found.visits]
    (series,) = found.series
    assert series.trend is not None
    ahead = series.trend.at - moments[-1]
    assert ahead == timedelta(days=365.25)


def test_a_visit_across_the_change_of_the_clocks_keeps_its_readings_in_order_and_an_hour_apart(
    tmp_path: Path,
) -> None:
    clock = FakeClock(datetime(2026, 10, 25, 2, 59, tzinfo=SUMMER))
    with Journal.create(tmp_path, replace(HEAD, date=None), clock) as journal:
        for moment in (datetime(2026, 10, 25, 2, 59, 30, tzinfo=SUMMER), datetime(2026, 10, 25, 2, 0, tzinfo=WINTER)):
            clock.set_wall(moment)
            journal.append_reading(replace(measured("R14.resistance", 4700.0)[0], taken=moment))
            journal.append_event("note", text="on the way")
    record = read_record(journal.path)
    taken = [reading.taken for reading in record.readings]
    assert [f"{one:%H:%M:%S}" for one in taken if one] == ["00:59:30", "01:00:00"]
    noted = [event.at for event in record.events]
    assert [f"{one:%H:%M:%S}" for one in noted if one] == ["00:59:30", "01:00:00"]


STAGES = {"found": Stage.AS_FOUND, "left": Stage.AS_LEFT, "back": Stage.RETURN}


def course(records: Path, *seen: tuple[str, int, float]) -> Trend | None:
    """The trend of a resistance over visits of a stage, so many days after the first, each with its value."""
    for stage, days, ohms in seen:
        visit(records, measured("R14.resistance", ohms, count=1.0), days=days, stage=STAGES[stage], parents=())
    (series,) = history_of(records_of(records, HEAD.unit)).series
    return series.trend


def test_a_repair_is_no_drift(tmp_path: Path) -> None:
    after = (("left", 1, 4700.0), ("back", 700, 4702.0), ("back", 1400, 4701.0))
    whole = course(tmp_path / "whole", *after)
    repaired = course(tmp_path / "repaired", ("found", 0, 9100.0), *after)
    assert whole is not None
    assert repaired is not None
    assert (repaired.count, repaired.since, repaired.slope_per_year) == (3, whole.since, whole.slope_per_year)
    assert repaired.forecast == whole.forecast
    again = course(tmp_path / "again", ("found", 0, 9100.0), *after, ("left", 1401, 4400.0))
    assert again is None, "one value since the second repair"


def test_a_drift_over_visits_that_repaired_nothing_of_it_is_one(tmp_path: Path) -> None:
    drifting = [(stage, 365 * n, 4700.0 + 60 * n) for n, stage in enumerate(("left", "left", "back", "left"))]
    for n, last in ((0, ("back", 1461, 4941.0)), (1, ("left", 1461, 4940.0))):
        trend = course(tmp_path / str(n), ("found", 0, 4699.0), *drifting, ("found", 1460, 4940.0), last)
        assert trend is not None
        assert (trend.since, trend.count) == (START, 7)
        assert trend.slope_per_year == pytest.approx(60.0, rel=0.02)
