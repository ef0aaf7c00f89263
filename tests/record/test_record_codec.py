"""What is written comes back, bit for bit, whatever the texts hold."""

from __future__ import annotations

import getpass
import platform
import struct
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.checklist.waivers import Waiver
from benchcheck.clock import FakeClock
from benchcheck.document import parse_document
from benchcheck.errors import RecordError
from benchcheck.metrology import Budget, Contribution, Distribution
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.codec import body_of, decode_reading, decode_score, reading_fields, score_fields, utc
from benchcheck.record.fields import Fields
from benchcheck.record.head import (
    decode_event,
    decode_head,
    decode_result,
    event_fields,
    head_fields,
    result_fields,
)
from benchcheck.record.journal import Journal
from benchcheck.record.model import Event, EventKind, Head, Instrument, Result, Stage
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Reason, Score, Verdict
from tests.record.samples import BUDGET, HEAD, READINGS, SCORES, value

HOSTILE = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        [
            'seal = "' + "0" * 64 + '"',
            '\nseal = "' + "0" * 64 + '"\n\n[[score]]\ncheck = "x"\n',
            '"""', "'''", "\\", "\\u0041", '"\\', "#", "]]", "a\x00b", "\r\n", "\x85\u2028\u2029", "\ufeff",
            "=HYPERLINK(0)", "<script>", "👩‍🔧🔌", "ربع الواط", "抵抗", "e\u0301", "\x7f\x1b[2J",
        ]
    ),
)  # fmt: skip
NUMBERS = st.floats(allow_nan=False)
MAYBE = st.none() | NUMBERS
TIMES = st.none() | st.datetimes(
    datetime(1970, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC) | st.just(timezone(timedelta(hours=-9)))
)
COUNTS = st.integers(0, 10**6)

displays = st.builds(Display, HOSTILE, st.sampled_from(DisplayState), MAYBE, MAYBE, st.booleans())
readings = st.builds(
    Reading,
    check=HOSTILE.filter(bool),
    display=displays,
    quantity_unit=HOSTILE,
    origin=st.sampled_from(Origin),
    polarity=st.sampled_from(["", "swapped"]),
    repeat=COUNTS,
    meter=HOSTILE,
    meter_range=HOSTILE,
    note=HOSTILE,
    line=COUNTS,
    taken=TIMES,
    retries=st.lists(HOSTILE, max_size=3).map(tuple),
)
FINITE = st.floats(-1e12, 1e12)
SIZES = st.floats(0.0, 1e12)
contributions = st.one_of(
    st.builds(
        Contribution.from_limits,
        HOSTILE.filter(bool),
        HOSTILE,
        SIZES,
        distribution=st.sampled_from([Distribution.RECTANGULAR, Distribution.TRIANGULAR, Distribution.U_SHAPED]),
        sensitivity=FINITE,
        origin=HOSTILE,
    ),
    st.builds(Contribution.trapezoidal, HOSTILE.filter(bool), HOSTILE, SIZES, st.floats(0, 1), sensitivity=FINITE),
    st.builds(
        Contribution.from_expanded,
        HOSTILE.filter(bool),
        HOSTILE,
        SIZES,
        level=st.floats(0.5, 0.99),
        degrees_of_freedom=st.floats(1.0, 50.0),
    ),
)
budgets = st.builds(
    Budget, FINITE, HOSTILE, st.lists(contributions, max_size=4, unique_by=lambda one: one.id).map(tuple)
)
scores = st.builds(
    Score,
    check=HOSTILE.filter(bool),
    outcome=st.sampled_from(Outcome),
    quantity_unit=HOSTILE,
    verdict=st.none() | st.sampled_from(Verdict),
    code=st.none() | st.sampled_from(Reason),
    display=HOSTILE,
    value=MAYBE,
    expanded_uncertainty=MAYBE,
    coverage_factor=MAYBE,
    lower=MAYBE,
    upper=MAYBE,
    limit_origin=HOSTILE,
    guard_band=MAYBE,
    conformance_probability=MAYBE,
    polarity=HOSTILE,
    meter=HOSTILE,
    attempts=COUNTS,
    because=HOSTILE,
    change=HOSTILE,
    budget=st.none() | budgets,
)
instruments = st.builds(Instrument, HOSTILE, HOSTILE, HOSTILE, st.none() | st.dates(date(1970, 1, 1)), HOSTILE)
pairs = st.lists(st.tuples(HOSTILE, HOSTILE), max_size=3).map(tuple)
heads = st.builds(
    Head,
    unit=HOSTILE.filter(bool),
    board=HOSTILE,
    stage=st.sampled_from(Stage),
    spec_digest=HOSTILE,
    revision=HOSTILE,
    bench_digest=HOSTILE,
    date=TIMES,
    operator=HOSTILE,
    ambient_c=MAYBE,
    decision_rule=HOSTILE,
    guard_band=HOSTILE,
    coverage=HOSTILE,
    instruments=st.lists(instruments, max_size=3).map(tuple),
    waivers=st.lists(st.builds(Waiver, HOSTILE, HOSTILE), max_size=2).map(tuple),
    cautions=st.lists(HOSTILE, max_size=3).map(tuple),
    versions=pairs,
    parents=st.lists(HOSTILE, max_size=2).map(tuple),
    keep_until=st.none() | st.dates(),
    id=HOSTILE,
)
events = st.builds(
    Event,
    st.sampled_from(EventKind),
    HOSTILE,
    HOSTILE,
    st.lists(HOSTILE, max_size=2).map(tuple),
    HOSTILE,
    TIMES,
)
results = st.builds(
    Result,
    st.integers(0, 255),
    st.dictionaries(HOSTILE, COUNTS, max_size=4).map(lambda counts: tuple(counts.items())),
    TIMES,
    HOSTILE,
)


def through_text(header: str, fields: dict[str, object]) -> Fields:
    """What a reader of the block's text finds."""
    body = body_of(header, fields).decode("utf-8")
    assert len(body.splitlines()) == body.count("\n"), "a key is one line to every program"
    data = parse_document(body, "x").data
    return Fields(data[header.strip("[]")][0] if header.startswith("[[") else data, "x")


@given(readings)
def test_a_reading_comes_back(reading: Reading) -> None:
    assert decode_reading(through_text("[[reading]]", reading_fields(reading))) == reading


@given(scores)
def test_a_score_comes_back(score: Score) -> None:
    back = decode_score(through_text("[[score]]", score_fields(score)))
    assert back == score
    assert back.budget == score.budget


@given(heads)
def test_a_head_comes_back(head: Head) -> None:
    assert decode_head(through_text("benchcheck_record = 1", head_fields(head))) == head


@given(events)
def test_an_event_comes_back(event: Event) -> None:
    assert decode_event(through_text("[[event]]", event_fields(event))) == event


@given(results)
def test_a_result_comes_back(result: Result) -> None:
    assert decode_result(through_text("[[result]]", result_fields(result))) == result


@given(st.binary(min_size=8, max_size=8))
def test_every_float_keeps_every_bit(bits: bytes) -> None:
    (number,) = struct.unpack("<d", bits)
    back = decode_reading(through_text("[[reading]]", reading_fields(value("R1.x", "x", number))))
    if number == number:
        assert struct.pack("<d", back.display.value) == bits
    else:
        assert back.display.value != back.display.value


@given(st.lists(readings, min_size=1, max_size=4), st.lists(scores, max_size=3), HOSTILE)
@settings(max_examples=40, deadline=None)
def test_a_whole_record_of_hostile_texts_comes_back_sealed(
    tmp_path_factory: pytest.TempPathFactory, taken: list[Reading], scored: list[Score], note: str
) -> None:
    folder = tmp_path_factory.mktemp("records")
    with Journal.create(folder, replace(HEAD, operator=note), FakeClock()) as journal:
        seals = journal.append_readings(taken)
        journal.append_scores(scored)
        journal.append_event("note", taken[0].check, note, amends=seals[:1])
        journal.append_result(Result(0))
    record = read_record(journal.path)
    assert record.sealed
    assert record.problems == ()
    assert record.readings == tuple(taken)
    assert tuple(entry.value for entry in record.all_scores) == tuple(scored)
    assert record.events[0].text == note
    assert record.head.operator == note


def test_times_are_kept_in_utc_whatever_zone_they_came_in() -> None:
    summer = datetime(2026, 7, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    winter = datetime(2026, 12, 1, 12, 0, tzinfo=timezone(timedelta(hours=1)))
    texts = [body_of("[[event]]", event_fields(Event(EventKind.NOTE, at=at))) for at in (summer, winter)]
    assert b"at = 2026-07-01T10:00:00+00:00\n" in texts[0]
    assert b"at = 2026-12-01T11:00:00+00:00\n" in texts[1]


def test_a_time_without_offset_is_refused() -> None:
    with pytest.raises(RecordError, match="has no offset from UTC; give it one"):
        utc(datetime(2026, 1, 31, 10, 15))


@pytest.mark.parametrize(
    ("key", "found", "words"),
    [
        ("check", 3, "check: is not a text"),
        ("value", "4680", "value: is not a number"),
        ("value", True, "value: is not a number"),
        ("state", "valu", 'state: "valu" is not known here; did you mean "value"?'),
        ("origin", "guessed", 'origin: "guessed" is not known here; known are typed, file, metered'),
        ("repeat", 1.5, "repeat: is not a whole number"),
        ("to_overload", 1, "to_overload: is not true or false"),
        ("taken", datetime(2026, 1, 31), "taken: is a time without its offset from UTC"),
        ("taken", "2026", "taken: is not a time"),
        ("retries", "8.1", "retries: is not a list"),
        ("retries", [8.1], "retries: is not a list of texts"),
    ],
)
def test_a_key_of_another_kind_is_named(key: str, found: object, words: str) -> None:
    fields = {name: one for name, one in reading_fields(READINGS[2]).items() if one is not None}
    with pytest.raises(RecordError, match=r"^x: ") as refusal:
        decode_reading(Fields({**fields, key: found}, "x"))
    assert str(refusal.value) == f"x: {words}"


def test_a_key_that_must_be_there_is_named() -> None:
    with pytest.raises(RecordError, match="x: check: is missing"):
        decode_reading(Fields({}, "x"))
    with pytest.raises(RecordError, match="x: calibration_due: is a time, not a date"):
        Fields({"calibration_due": datetime(2026, 1, 31, tzinfo=UTC)}, "x").day("calibration_due")
    with pytest.raises(RecordError, match="x: counts: is not a table"):
        Fields({"counts": []}, "x").table("counts")


def test_a_budget_keeps_its_correlations_and_its_combined_uncertainty() -> None:
    back = decode_score(through_text("[[score]]", score_fields(SCORES[0]))).budget
    assert back is not None
    assert back == BUDGET
    assert back.correlations == BUDGET.correlations
    assert back.combined_standard_uncertainty == BUDGET.combined_standard_uncertainty


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        ({"standard_uncertainty": -1.0}, "standard uncertainty -1.0: a finite number, 0 or more is needed"),
        ({"distribution": "square"}, 'distribution: "square" is not known here'),
        ({"id": 7}, "id: is not a text"),
    ],
)
def test_a_budget_that_makes_no_sense_is_named(spoil: dict[str, object], words: str) -> None:
    line = {"id": "dmm.accuracy", "standard_uncertainty": 1.0, **spoil}
    with pytest.raises(RecordError, match="budget") as refusal:
        decode_score(
            Fields({"check": "a", "outcome": "measured", "budget": {"value": 1.0, "contributions": [line]}}, "x")
        )
    assert words in str(refusal.value)
    with pytest.raises(RecordError, match="value: is missing"):
        decode_score(Fields({"check": "a", "outcome": "measured", "budget": {}}, "x"))


def test_unknown_keys_are_passed_over() -> None:
    fields = {name: one for name, one in reading_fields(READINGS[0]).items() if one not in (None, "", [])}
    assert decode_reading(Fields({**fields, "colour_of_probe": "mauve"}, "x")) == READINGS[0]


def test_a_record_names_no_host_address_or_path(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_readings(READINGS)
    text = journal.path.read_text(encoding="utf-8")
    for private in (platform.node(), str(tmp_path), str(Path.home()), "::"):
        assert private not in text or len(private) < 3
    assert f'"{getpass.getuser()}"' not in text
