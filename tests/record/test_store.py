"""Reading records that are not what they should be: read what can be read, name what cannot, write nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.clock import FakeClock
from benchcheck.errors import RecordError, UsageError
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Result, Stage
from benchcheck.record.record import SIZE_LIMIT_BYTES
from benchcheck.record.seal import seal_line, seal_of
from benchcheck.record.shelf import in_order
from benchcheck.record.store import latest_open, parents_for, read_record, records_of, shelf_of
from tests.record.samples import HEAD, READINGS, RESULT, SCORES, SPEC_DIGEST, write_visit


def sealed_file(*bodies: str) -> bytes:
    """A file of blocks with right seals, whatever they say."""
    data, previous = b"", ""
    for body in bodies:
        previous = seal_of(previous, body.encode("utf-8"))
        data += (b"\n" if data else b"") + body.encode("utf-8") + seal_line(previous)
    return data


HEAD_TEXT = 'benchcheck_record = 1\nunit = "PR-3"\nstage = "as-left"\n'


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (
            b"",
            "is empty: a visit was stopped while its record was begun, and nothing had been accepted, or what it",
        ),
        (b"benchcheck_record = 0\n", "says that it is of format version 0, and the first is 1; put back a copy"),
        (
            b'benchcheck_record = 2\nseal = "sha3"\n',
            "of format version 2 and this benchcheck reads 1: not even its head",
        ),
        (b"\n \n", "is empty"),
        (b"\x00\x01\xff\xfe" * 20, 'is not a record of benchcheck: its first line is not "benchcheck_record = 1"'),
        (b"[board]\nmodel = 'x'\n", "is not a record of benchcheck"),
        (b"benchcheck_record = one\n", "is not a record of benchcheck"),
        (b'benchcheck_record = 1\nunit = "PR', "the head is cut short"),
        (sealed_file(HEAD_TEXT).replace(b"PR-3", b"PR-4"), "block 1, the head, does not carry its seal"),
        (sealed_file('benchcheck_record = 1\nstage = "as-left"\n'), "unit: is missing"),
        (sealed_file('benchcheck_record = 1\nunit = "x"\nstage = "as-felt"\n'), 'did you mean "as-left"'),
        (sealed_file("benchcheck_record = 1\nunit = = 3\n"), "broken TOML"),
    ],
)
def test_a_file_of_which_nothing_can_be_read_is_refused_in_words(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(RecordError) as refusal:
        read_record(path)
    assert words in str(refusal.value)
    assert f"{tmp_path.name}/x.toml" in str(refusal.value)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("name", "words"),
    [("missing.toml", "there is no such file; check the name"), ("a\x00b.toml", "cannot be read: ")],
)
def test_a_file_that_cannot_be_opened_is_refused(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        read_record(tmp_path / name)


def test_a_folder_is_no_record(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="is not a plain file; name a record"):
        read_record(tmp_path)


def test_of_a_future_version_only_the_head_is_shown_and_the_rest_is_named(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    reading = '[[reading]]\ncheck = "R1.x"\nstate = "value"\norigin = "typed"\nvalue = 3.0\n'
    path.write_bytes(sealed_file(HEAD_TEXT.replace("= 1", "= 2"), reading))
    record = read_record(path)
    assert record.head.unit == "PR-3"
    assert record.readings == ()
    assert "is of format version 2 and this benchcheck reads 1: only its head is shown" in str(record.problems[0])


def test_of_a_future_version_whose_head_says_other_things_the_version_is_named_first(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(sealed_file(HEAD_TEXT.replace("= 1", "= 2").replace('"as-left"', '"on loan"')))
    with pytest.raises(
        RecordError, match="is of format version 2 and this benchcheck reads 1: not even its head is read"
    ):
        read_record(path)


def test_a_sealed_block_that_makes_no_sense_here_is_named_and_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    reading = '[[reading]]\ncheck = "R1.x"\nstate = "value"\norigin = "typed"\nvalue = 3.0\n'
    bad = reading.replace("3.0", '"three"')
    binary = b'[[reading]]\nnote = "\xff"\n'
    data = sealed_file(
        HEAD_TEXT, "[[hologram]]\nx = 1\n", bad, reading, '[[event]]\nkind = "undo"\namends = ["00"]\n'
    )
    last = data.rstrip()[-65:-1].decode("ascii")
    data += b"\n" + binary + seal_line(seal_of(last, binary))
    path.write_bytes(data)
    record = read_record(path)
    assert [reading.display.value for reading in record.readings] == [3.0]
    assert record.sealed
    assert [str(problem).partition(": ")[2] for problem in record.problems] == [
        "hologram: block 2 is of a kind not known here; it is passed over",
        "value: is not a number",
        "block 6 is not UTF-8; it is passed over",
        "amends: names a block 00... that is not in this record",
    ]


def test_a_record_of_more_than_the_limit_is_read_up_to_there(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    with path.open("ab") as file:
        file.truncate(SIZE_LIMIT_BYTES + 36_000_000)
    record = read_record(path)
    assert record.readings == READINGS[:3]
    assert record.scores == SCORES
    assert not record.sealed
    assert "is longer than 64 MB; only what stands before that is read" in str(record.problems[-1])


def test_ten_megabytes_of_notes_are_read(tmp_path: Path) -> None:
    note = "the rain in the case, again\n" * 370_000
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_event("note", text=note)
    record = read_record(journal.path)
    assert len(note) > 10_000_000
    assert record.events[0].text == note


@given(st.binary(max_size=200))
@settings(max_examples=60)
def test_reading_never_raises_anything_but_a_record_error_and_never_writes(
    tmp_path_factory: pytest.TempPathFactory, noise: bytes
) -> None:
    path = tmp_path_factory.mktemp("unit") / "x.toml"
    content = sealed_file(HEAD_TEXT) + noise
    path.write_bytes(content)
    record = read_record(path)
    assert record.readings == ()
    assert path.read_bytes() == content
    assert [one.name for one in path.parent.iterdir()] == ["x.toml"]


def test_without_budgets_everything_else_is_the_same(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    assert read_record(path, with_budgets=False).scores == read_record(path).scores


def test_a_later_score_of_a_check_counts_in_the_place_of_the_first(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_scores(SCORES)
        later = replace(SCORES[0], expanded_uncertainty=99.0)
        journal.append_score(later)
    assert read_record(journal.path).scores == (later, *SCORES[1:])


def test_after_an_undo_only_scores_of_untouched_readings_and_newer_ones_count(tmp_path: Path) -> None:
    """What was derived, skipped or blocked before may rest on the reading that was taken back."""
    derived = replace(SCORES[0], check="Q1.drop_difference")
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_readings(READINGS[:2])  # R14.resistance, D3.reverse
        journal.append_scores((*SCORES, derived))
        assert {score.check for score in read_record(journal.path).scores} == {
            "R14.resistance", "D3.reverse", "C9.esr", "Q1.drop_difference",
        }  # fmt: skip
        undo = journal.append_event("undo", "R14.resistance")
        assert [score.check for score in read_record(journal.path).scores] == ["D3.reverse"]
        journal.append_score(derived)
        assert [score.check for score in read_record(journal.path).scores] == ["D3.reverse", "Q1.drop_difference"]
        journal.append_event("undo", amends=(undo,))
    assert len(read_record(journal.path).scores) == 4


def test_a_folder_that_cannot_be_read_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(path: object) -> list[str]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("os.listdir", refused)
    with pytest.raises(RecordError, match="the records cannot be read: Permission denied"):
        records_of(tmp_path, HEAD.unit)


# --- a unit's records


def test_a_unit_without_records_has_none(tmp_path: Path) -> None:
    assert records_of(tmp_path, "PR-3") == ()
    assert parents_for(tmp_path, "PR-3") == ()
    assert latest_open(tmp_path, "PR-3", SPEC_DIGEST) is None
    with pytest.raises(UsageError):
        records_of(tmp_path, "a\x00b")


def test_files_that_are_no_records_are_named_and_hide_none_of_the_others(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    (path.parent / "empty.toml").touch()
    (path.parent / "notes.txt").write_text("not looked at")
    (path.parent / f"{path.name}.torn").write_text("not looked at")
    shelf = shelf_of(tmp_path, HEAD.unit)
    assert [record.path for record in shelf.records] == [path]
    assert len(shelf.faults) == 1
    assert "empty.toml" in str(shelf.faults[0])


def fork(records: Path, clock: FakeClock, parents: tuple[str, ...], exit_code: int = 0) -> str:
    """Write a record with these parents and return the seal by which it is known."""
    with Journal.create(records, replace(HEAD, parents=parents), clock) as journal:
        return journal.append_result(Result(exit_code))


def test_a_fork_is_legal_and_the_next_record_closes_it(tmp_path: Path) -> None:
    clock = FakeClock()
    root = fork(tmp_path, clock, ())
    left, right = fork(tmp_path, clock, (root,)), fork(tmp_path, clock, (root,))
    assert set(parents_for(tmp_path, HEAD.unit)) == {left, right}
    joined = fork(tmp_path, clock, parents_for(tmp_path, HEAD.unit))
    assert parents_for(tmp_path, HEAD.unit) == (joined,)
    order = [record.identity for record in records_of(tmp_path, HEAD.unit)]
    assert order[0] == root
    assert set(order[1:3]) == {left, right}
    assert order[3] == joined


@given(st.permutations(range(5)))
@settings(max_examples=30, deadline=None)
def test_parents_come_first_whatever_the_clocks_said(
    tmp_path_factory: pytest.TempPathFactory, days: list[int]
) -> None:
    records, clock, chain = tmp_path_factory.mktemp("records"), FakeClock(), ()
    seals: list[str] = []
    for day in days:
        clock.set_wall(datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=day))
        seals.append(fork(records, clock, (seals[-1],) if seals else chain))
    assert [record.identity for record in records_of(records, HEAD.unit)] == seals


def test_parents_that_run_in_a_circle_do_not_hang_the_order(tmp_path: Path) -> None:
    one, two = (read_record(write_visit(tmp_path)) for _ in range(2))
    knot = replace(one, head=replace(one.head, parents=(two.identity,)))
    assert set(in_order([knot, two])) == {knot, two}
    itself = replace(one, head=replace(one.head, parents=(one.identity,)))
    assert in_order([itself]) == (itself,)


def test_resume_finds_the_newest_open_record_of_the_spec_and_stage(tmp_path: Path) -> None:
    clock = FakeClock()

    def begin(head: Head, exit_code: int | None) -> Path:
        clock.sleep(60)
        with Journal.create(tmp_path, head, clock) as journal:
            journal.append_reading(READINGS[0])
            if exit_code is not None:
                journal.append_result(replace(RESULT, exit_code=exit_code))
        return journal.path

    as_found = begin(replace(HEAD, stage=Stage.AS_FOUND), None)
    interrupted = begin(HEAD, 130)
    begin(HEAD, 0)
    begin(HEAD, 3)
    begin(replace(HEAD, spec_digest="00" * 32), None)
    found = latest_open(tmp_path, HEAD.unit, SPEC_DIGEST)
    assert found is not None
    assert found.path == interrupted
    earlier = latest_open(tmp_path, HEAD.unit, SPEC_DIGEST, stage=Stage.AS_FOUND)
    assert earlier is not None
    assert earlier.path == as_found


def test_an_edited_record_is_not_offered_for_resuming(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_readings(READINGS)
    data = journal.path.read_bytes()
    journal.path.write_bytes(data.replace(b"8.97", b"9.97"))
    assert latest_open(tmp_path, HEAD.unit, SPEC_DIGEST) is None
