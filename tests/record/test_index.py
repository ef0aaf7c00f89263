"""The index answers as the files do, follows them when they change, and can be thrown away.

`BENCHCHECK_TEST_POSTGRES` may hold the URL of an empty PostgreSQL database; then every test runs on it too.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy

from benchcheck.clock import FakeClock
from benchcheck.errors import RecordError
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.folders import INDEX_NAME
from benchcheck.record.index import Index
from benchcheck.record.journal import Journal
from benchcheck.record.sources import keep_source
from benchcheck.record.store import records_of
from tests.record.samples import HEAD, READINGS, RESULT, SCORES, write_visit

POSTGRES = os.environ.get("BENCHCHECK_TEST_POSTGRES", "")
Make = Callable[..., Index]


@pytest.fixture(params=["sqlite", *(["postgresql"] if POSTGRES else [])])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Make]:
    """Makes indexes in one database, empty at first."""
    if request.param == "postgresql":
        engine = sqlalchemy.create_engine(POSTGRES)
        everything = sqlalchemy.MetaData()
        everything.reflect(engine)
        everything.drop_all(engine)
        engine.dispose()
    place: str | Path = POSTGRES if request.param == "postgresql" else tmp_path / "the.sqlite"
    made: list[Index] = []

    def make_one(shelf: str = "") -> Index:
        made.append(Index(place, shelf=shelf))
        return made[-1]

    yield make_one
    for index in made:
        index.close()


@pytest.fixture
def records(tmp_path: Path) -> Path:
    return tmp_path / "records"


def visits(records: Path, *days: float) -> list[Path]:
    clock, paths = FakeClock(), []
    for day in days:
        clock.set_wall(datetime(2026, 1, 31, 10, 15, tzinfo=UTC) + timedelta(days=day))
        paths.append(write_visit(records, clock=clock))
    return paths


def test_the_index_knows_what_the_files_hold(make: Make, records: Path) -> None:
    visits(records, 0, 3)
    index = make()
    told: list[tuple[int, int]] = []
    update = index.update(records, progress=lambda done, total: told.append((done, total)))
    assert (update.read, update.unchanged, update.removed, update.faults) == (2, 0, 0, ())
    assert told == [(1, 1)]
    found, files = index.history("PR-3 nr. 42"), records_of(records, HEAD.unit)
    assert [visit.identity for visit in found] == [record.identity for record in files]
    for visit, record in zip(found, files, strict=True):
        assert (visit.unit, visit.board, visit.revision) == (HEAD.unit, HEAD.board, HEAD.revision)
        assert (visit.date, visit.stage, visit.exit_code) == (record.head.date, "as-left", 3)
        assert (visit.last_seal, visit.blocks, visit.sealed) == (record.last_seal, record.blocks, True)
        assert visit.parents == record.head.parents
        assert (visit.folder, visit.file) == (record.path.parent.name, record.path.name)
        assert [(p.check, p.outcome, p.verdict, p.display, p.value) for p in visit.points] == [
            (s.check, str(s.outcome), s.verdict and str(s.verdict), s.display, s.value) for s in record.scores
        ]
        assert [(p.expanded_uncertainty, p.lower, p.upper, p.meter) for p in visit.points] == [
            (s.expanded_uncertainty, s.lower, s.upper, s.meter) for s in record.scores
        ]
    assert index.count() == 2
    assert index.history("nobody") == ()


def test_the_order_is_that_of_parents_and_not_of_clocks(make: Make, records: Path) -> None:
    paths = visits(records, 0, -400, 30, -2)
    index = make()
    index.update(records)
    assert [visit.file for visit in index.history(HEAD.unit)] == [path.name for path in paths]


def test_only_what_changed_is_read_again(make: Make, records: Path) -> None:
    first, second = visits(records, 0, 1)
    index = make()
    index.update(records)
    assert index.update(records).unchanged == 2
    with Journal.resume(first, FakeClock()) as journal:
        journal.append_score(replace(SCORES[0], value=4700.0))
        journal.append_result(replace(RESULT, exit_code=0))
    second.unlink()
    third = visits(records, 2)[0]
    update = index.update(records)
    assert (update.read, update.unchanged, update.removed) == (2, 0, 1)
    found = index.history(HEAD.unit)
    assert [visit.file for visit in found] == [first.name, third.name]
    assert found[0].exit_code == 0
    assert found[0].points[0].value == 4700.0


def test_a_folder_that_is_gone_leaves_the_index(make: Make, records: Path) -> None:
    (path,) = visits(records, 0)
    index = make()
    index.update(records)
    shutil.rmtree(path.parent)
    assert index.update(records).removed == 1
    assert index.count() == 0


def test_one_unit_can_be_refreshed_alone(make: Make, records: Path) -> None:
    visits(records, 0)
    write_visit(records, replace(HEAD, unit="another"))
    index = make()
    assert index.refresh(records, HEAD.unit).read == 1
    assert index.count() == 1


def test_unreadable_files_are_named_and_hold_nothing_up(make: Make, records: Path) -> None:
    (path,) = visits(records, 0)
    (path.parent / "empty.toml").touch()
    path.with_name("20270101T000000Z-00000000.toml").write_bytes(path.read_bytes().replace(b"8.97", b"9.97"))
    index = make()
    update = index.update(records)
    assert update.read == 2
    assert "is empty" in str(update.faults[0])
    changed = [visit for visit in index.history(HEAD.unit) if not visit.sealed]
    assert changed == [], "of copies of one record the longest proven one is shown"
    path.unlink()
    index.update(records)
    (changed_one,) = index.history(HEAD.unit)
    assert not changed_one.sealed
    assert "does not carry its seal" in changed_one.problems


def test_units_with_a_lot_are_found(make: Make, records: Path) -> None:
    spec = (
        'benchcheck = 1\n[part.C9]\nfitted = { lot = "K7-Ä", maker = "Brindle" }\n'
        '[part.C10]\nlot = "old 3"\nfitted = { maker = "Brindle" }\n[part.R1]\nvalue = "1k"\n'
    )
    digest = keep_source(records, spec)

    def lot(check: str, text: str, state: DisplayState) -> Reading:
        return Reading(check, Display(text, state), "yes/no", Origin.TYPED)

    answers = {
        "as stated": [lot("C9.lot", "yes", DisplayState.YES)],
        "not so": [lot("C9.lot", "no", DisplayState.NO)],
        "another": [lot("C9.lot", "M2", DisplayState.TEXT)],
        "unseen": [],
    }
    for unit, readings in answers.items():
        with Journal.create(records, replace(HEAD, unit=unit, spec_digest=digest), FakeClock()) as journal:
            journal.append_readings(readings)
    index = make()
    index.update(records)
    assert [(visit.unit, name) for visit, name in index.with_lot(" k7-ä ")] == [("as stated", "C9"), ("unseen", "C9")]
    assert [(visit.unit, name) for visit, name in index.with_lot("m2")] == [("another", "C9")]
    assert len(index.with_lot("OLD 3")) == 4
    assert index.with_lot("nothing") == ()


@pytest.mark.parametrize("spec", ["", "[part]\nC9 = 3\n", 'part = "x"\n', "= broken", '[part.C9]\nfitted = "K7"\n'])
def test_a_spec_that_makes_no_sense_names_no_lot(make: Make, records: Path, spec: str) -> None:
    write_visit(records, replace(HEAD, spec_digest=keep_source(records, spec)))
    index = make()
    assert index.update(records).read == 1
    assert index.with_lot("K7") == ()


def test_visits_with_a_meter_found_bad_later_are_found(make: Make, records: Path) -> None:
    paths = visits(records, 0, 10, 20)
    index = make()
    index.update(records)
    start = datetime(2026, 2, 1, tzinfo=UTC)
    assert [visit.file for visit in index.with_meter("dmm")] == [path.name for path in paths]
    assert [visit.file for visit in index.with_meter("serial 0815", since=start)] == [path.name for path in paths[1:]]
    until = start + timedelta(days=12)
    assert [visit.file for visit in index.with_meter("dmm", since=start, until=until)] == [paths[1].name]
    assert index.with_meter("serial 4711") == ()
    assert index.with_meter("DMM") == index.with_meter("Serial 0815") == index.with_meter("dmm")


def test_a_meter_that_only_lay_on_the_bench_measured_nothing(make: Make, records: Path) -> None:
    write_visit(records)
    index = make()
    index.update(records)
    assert len(index.with_meter("dmm")) == 1
    assert index.with_meter("esrmeter") == (), "its one check was skipped"
    with Journal.create(records, replace(HEAD, unit="begun"), FakeClock()) as journal:
        journal.append_readings(READINGS)
    index.update(records)
    assert [visit.unit for visit in index.with_meter("esrmeter")] == ["begun"], "not known yet: it may still be used"


def test_two_benches_share_a_database_and_copies_count_once(make: Make, records: Path) -> None:
    other = records.with_name("other bench")
    visits(records, 0)
    shutil.copytree(records, other)
    visits(other, 5)
    left, right = make("left"), make("right")
    left.update(records)
    right.update(other)
    left.update(records)
    assert left.count() == 3
    assert [visit.shelf for visit in left.history(HEAD.unit)] in (["left", "right"], ["right", "right"])


def test_hostile_texts_are_kept_as_texts(make: Make, records: Path) -> None:
    label = "'; DROP TABLE visits; --"
    with Journal.create(records, replace(HEAD, unit=label, board="a\x00b"), FakeClock()) as journal:
        journal.append_score(replace(SCORES[0], display='"\x00\u2028👩‍🔧', value=float("inf")))
    index = make()
    index.update(records)
    (visit,) = index.history(label)
    assert (visit.unit, visit.board) == (label, "a\ufffdb")
    assert visit.points[0].display == '"\ufffd\u2028👩‍🔧'


def test_an_index_of_another_version_is_made_anew(make: Make, records: Path) -> None:
    visits(records, 0)
    index = make()
    index.update(records)
    with index._engine.begin() as connection:
        connection.execute(sqlalchemy.text("UPDATE benchcheck_index SET schema_version = 0"))
    assert make().count() == 0
    assert make().update(records).read == 1


def test_the_index_file_belongs_to_its_owner_alone_and_is_no_unit(records: Path) -> None:
    visits(records, 0)
    with Index.beside(records) as index:
        index.update(records)
        index.update(records)
        assert index.count() == 1
    assert stat.S_IMODE((records / INDEX_NAME).stat().st_mode) == 0o600


def test_a_database_that_cannot_be_used_is_said_in_words(tmp_path: Path, records: Path) -> None:
    (tmp_path / "not.sqlite").write_bytes(b"this is no database at all" * 50)
    with pytest.raises(RecordError, match=r"the database cannot be used: file is not a database; delete it"):
        Index(tmp_path / "not.sqlite")
    with pytest.raises(RecordError, match="the index cannot be opened: Is a directory"):
        Index(tmp_path)
    with pytest.raises(RecordError, match="the database cannot be used"):
        Index("nonsense")
    with Index(tmp_path / "new.sqlite") as index, pytest.raises(RecordError, match="the records cannot be read"):
        index.update(records)


def test_what_stands_in_the_readings_alone_is_not_mixed_up_with_scores(make: Make, records: Path) -> None:
    with Journal.create(records, HEAD, FakeClock()) as journal:
        journal.append_readings(READINGS)
    index = make()
    index.update(records)
    (visit,) = index.history(HEAD.unit)
    assert visit.points == ()
    assert visit.exit_code is None
