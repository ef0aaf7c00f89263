from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchcheck.cli.diagnose import diagnose
from benchcheck.diagnosis import engine
from benchcheck.errors import ReadingsError, RecordError, UsageError
from benchcheck.shelf import DIRECTORY
from tests.diagnosis import boards

from .scratch import lay_out, records, verify

CARD = """\
check,reading
meter.leads_shorted,0.2
D1.forward_drop,OL
D1.reverse,0.58
between.ohms[VCC:GND],27k
"""


def ran(folder: Path, *arguments: str) -> Result:
    (folder / "spec.toml").write_text(boards.SPEC, encoding="utf-8")
    (folder / "bench.toml").write_text(boards.BENCH, encoding="utf-8")
    (folder / "card.csv").write_text(CARD, encoding="utf-8")
    return CliRunner().invoke(diagnose, list(arguments), standalone_mode=False)


def test_a_value_a_thousand_off_is_weighed_as_a_slip_and_not_refused(tmp_path: Path) -> None:
    files = [str(tmp_path / name) for name in ("spec.toml", "off.csv", "bench.toml")]
    Path(files[1]).write_text("check,reading\nmeter.leads_shorted,0.2\nR9.resistance,1.2\n", encoding="utf-8")
    result = ran(tmp_path, files[0], "--readings", files[1], "--bench", files[2])
    assert result.exception is None
    assert "typed-1000 R9.resistance" in result.stdout
    assert "read R9.resistance again" in result.stdout.replace("\n      ", " ")


def test_a_file_of_readings_is_diagnosed_and_kept_for_programs(tmp_path: Path) -> None:
    out = tmp_path / "out.json"
    files = [str(tmp_path / name) for name in ("spec.toml", "card.csv", "bench.toml")]
    result = ran(tmp_path, files[0], "--readings", files[1], "--bench", files[2], "--json", str(out))
    assert result.exception is None
    assert "D1 reversed" in result.stdout.splitlines()[1]
    found = json.loads(out.read_text(encoding="utf-8"))
    assert found["hypotheses"][0]["designator"] == "D1"
    assert found["hypotheses"][0]["fault"] == "reversed"


def test_a_dictionary_kept_by_one_run_serves_the_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DIRECTORY, str(tmp_path / "kept"))
    files = [str(tmp_path / name) for name in ("spec.toml", "card.csv", "bench.toml")]
    told = []
    for _ in range(2):  # each as a process of its own
        monkeypatch.setattr(engine, "_CACHE", {})
        told.append(ran(tmp_path, files[0], "--readings", files[1], "--bench", files[2]).stdout)
        monkeypatch.setattr(engine, "predict", _worked_out_again)
    assert told[0] == told[1]
    assert "D1 reversed" in told[0].splitlines()[1]


def _worked_out_again(*_: object) -> None:
    raise AssertionError("the dictionary was worked out again")


def test_a_spec_alone_has_no_readings(tmp_path: Path) -> None:
    result = ran(tmp_path, str(tmp_path / "spec.toml"))
    assert isinstance(result.exception, UsageError)
    assert "give --readings FILE" in str(result.exception)


@pytest.mark.parametrize("bench", [(), ("--bench", "bench.toml")])
def test_a_record_is_diagnosed_from_the_copies_kept_with_it(
    tmp_path: Path, bench: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    lay_out(tmp_path, {"D1.forward_drop": "OL", "D1.reverse": "0.61"})
    verify(tmp_path, "--only", "D1")
    monkeypatch.chdir(tmp_path)
    record = next(path for path in records(tmp_path) if path.suffix == ".toml")
    result = CliRunner().invoke(diagnose, [str(record), *bench], standalone_mode=False)
    assert result.exception is None
    assert "D1 reversed" in result.output


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (".", "is a directory"),
        ("nowhere.toml", "there is no such file"),
        ("card.csv", "write benchcheck diagnose SPEC --readings FILE"),
    ],
)
def test_what_is_neither_spec_nor_record_is_said_to_be_so(tmp_path: Path, source: str, words: str) -> None:
    result = ran(tmp_path, str(tmp_path / source))
    assert isinstance(result.exception, UsageError)
    assert words in str(result.exception)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("between.ohms[VCC:NOPE]", 'no part of the spec is on a net "NOPE"; its nets are BASE, BATT, '),
        ("between.ohms[vcc:VCC]", 'has both probes on one net, "vcc"'),
        ("between.dc_voltage[VCC:GND]", "is no function that is read between two nets here; there are ohms"),
    ],
)
def test_a_reading_between_nets_that_cannot_be_is_refused_by_line(tmp_path: Path, name: str, wrong: str) -> None:
    files = [str(tmp_path / name) for name in ("spec.toml", "off.csv", "bench.toml")]
    Path(files[1]).write_text(f"check,reading\nmeter.leads_shorted,0.2\n{name},1.2\n", encoding="utf-8")
    result = ran(tmp_path, files[0], "--readings", files[1], "--bench", files[2])
    assert isinstance(result.exception, ReadingsError)
    assert f"off.csv:3: {name}: " in str(result.exception)
    assert wrong in str(result.exception)


def test_no_line_is_wider_than_eighty_columns(tmp_path: Path) -> None:
    spec, card, bench = (str(tmp_path / name) for name in ("spec.toml", "card.csv", "bench.toml"))
    result = ran(tmp_path, spec, "--readings", card, "--bench", bench)
    assert max(map(len, result.output.splitlines())) <= 80


@pytest.fixture
def record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the record of a visit whose diode is the wrong way round, its folder being the working one."""
    lay_out(tmp_path, {"D1.forward_drop": "OL", "D1.reverse": "0.61"})
    verify(tmp_path, "--only", "D1")
    monkeypatch.chdir(tmp_path)
    return next(path for path in records(tmp_path) if path.suffix == ".toml").relative_to(tmp_path)


def of_record(*arguments: object) -> Result:
    return CliRunner().invoke(diagnose, list(map(str, arguments)), standalone_mode=False)


def changed(record: Path, old: str, new: str) -> None:
    text = record.read_text(encoding="utf-8")
    assert old in text
    record.write_text(text.replace(old, new), encoding="utf-8")


def test_of_a_record_that_was_changed_what_is_left_out_stands_first_and_in_the_results(record: Path) -> None:
    changed(record, "0.61", "0.16")
    result = of_record(record, "--json", "out.json")
    assert result.exception is None
    said = " ".join(result.stdout.split())
    first, second = json.loads(Path("out.json").read_text(encoding="utf-8"))["remarks"][:2]
    assert said.startswith(f"note: {first} note: {second} likely cause")
    assert "block 3 of 6 does not carry its seal" in first
    assert second.startswith("1 reading is left out of this answer, which rests on the 1 before the damage; put back")


def test_a_record_no_reading_of_which_is_proven_is_not_diagnosed(record: Path) -> None:
    changed(record, '"OL"', '"OK"')
    result = of_record(record)
    assert isinstance(result.exception, RecordError)
    assert "block 2 of 6 does not carry its seal" in str(result.exception)
    assert "no reading of it is proven: put back a copy of the record" in str(result.exception)


def test_a_record_out_of_its_folder_says_what_it_needs_where_it_was_looked_for_and_what_to_do(
    record: Path, tmp_path: Path
) -> None:
    moved = tmp_path / "elsewhere" / "desk" / record.name
    moved.parent.mkdir(parents=True)
    record.rename(moved)
    (tmp_path / "elsewhere" / "sources").mkdir()
    assert of_record(moved).exception is None  # found in ./records all the same
    result = of_record(moved, "--records", "archive")
    assert isinstance(result.exception, RecordError)
    said = str(result.exception)
    assert said.startswith(f"{moved}: needs the spec it was made with, ")
    assert f"not in {tmp_path / 'elsewhere' / 'sources'} nor in {tmp_path / 'archive' / 'sources'}; put " in said
    assert said.endswith("or name the folder of the records with --records")


def test_a_record_whose_bench_is_lost_may_be_given_another(record: Path) -> None:
    kept = next(path for path in Path("records/sources").iterdir() if "benchcheck_bench" in path.read_text("utf-8"))
    kept.unlink()
    result = of_record(record)
    assert isinstance(result.exception, RecordError)
    assert "needs the bench it was made with" in str(result.exception)
    assert str(result.exception).endswith("or a bench file with --bench")
    assert of_record(record, "--bench", "bench.toml").exception is None


def test_a_copy_of_the_spec_that_was_edited_is_not_taken_for_it(record: Path) -> None:
    kept = next(path for path in Path("records/sources").iterdir() if "Ellwick" in path.read_text("utf-8"))
    changed(kept, "Ellwick", "Elwick")
    result = of_record(record)
    assert isinstance(result.exception, RecordError)
    assert "does not have the digest" in str(result.exception)


def test_a_directory_is_refused_with_the_records_in_it_the_last_visit_told(record: Path, tmp_path: Path) -> None:
    verify(tmp_path, "--only", "D1")
    later = next(path for path in record.parent.iterdir() if path.name != record.name)
    Path("nothing").mkdir()
    of_unit, of_all, of_none = of_record(record.parent), of_record("records"), of_record("nothing")
    assert isinstance(of_unit.exception, UsageError)
    assert str(of_unit.exception).endswith(f": give one of {record}, {later} (the last visit)")
    assert str(of_all.exception).endswith(f": give a record out of the folder of a unit, {record.parent}")
    assert str(of_none.exception).endswith("; there is no record in it")
    assert "no record in it can be read" in str(of_record("records/sources").exception)


def test_a_directory_of_one_record_names_it_and_one_of_damaged_ones_says_what_is_wrong(record: Path) -> None:
    assert str(of_record(record.parent).exception).endswith(f": give {record}")
    record.write_text("no record\n", "utf-8")
    said = str(of_record(record.parent).exception)
    assert "; no record in it can be read" in said
    assert record.name in said.partition("can be read")[2]
