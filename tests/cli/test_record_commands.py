"""history, changes, records, limits-from and sheet, each as a process of its own on an invented board."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import pathlib
import re
import shutil

import pytest

from benchcheck.clock import FakeClock
from benchcheck.record.journal import Journal
from benchcheck.record.shelf import in_order
from benchcheck.record.store import read_record
from tests.cli.scratch import GOOD, card, lay_out, records, run, verify

UNIT = "T-4 no. 7"
DRIFTED = {**GOOD, "VCC.voltage[50mA]": "7.6", "D1.reverse": "0.7"}
COMMANDS = (
    ["history"],
    ["changes"],
    ["sheet"],
    ["limits-from"],
    *(["records", one] for one in ("check", "export", "index", "amend", "contact")),
)


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> pathlib.Path:
    """Two visits of one unit; the second reads differently on two checks."""
    folder = lay_out(tmp_path_factory.mktemp("visits"))
    assert verify(folder, "--stage", "as-left").code in (0, 3)
    (folder / "card.csv").write_text(card(DRIFTED), encoding="utf-8")
    assert verify(folder, "--stage", "return").code == 1
    return folder


@pytest.fixture
def folder(template: pathlib.Path, tmp_path: pathlib.Path) -> pathlib.Path:
    return shutil.copytree(template, tmp_path / "shop")


def kept(folder: pathlib.Path) -> list[str]:
    """The records oldest first: two of one second are told apart by which names the other as its parent."""
    found = in_order(read_record(path) for path in records(folder) if path.suffix == ".toml")
    return [str(record.path) for record in found]


def assert_plain(text: str) -> None:
    """ASCII in eighty columns; a name of a file stands alone where it is longer."""
    assert text.isascii()
    assert not [line for line in text.splitlines() if len(line) > 80 and " " in line.strip()[4:]]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_every_help_has_an_example_in_eighty_columns(tmp_path: pathlib.Path, command: list[str]) -> None:
    ran = run(tmp_path, *command, "--help")
    assert ran.code == 0
    assert re.search(rf"Examples?:\n\s+benchcheck {' '.join(command)} ", ran.out + " ") or "Example" in ran.out
    assert f"benchcheck {' '.join(command)}" in ran.out.partition("Example")[2]
    assert_plain(ran.out)


def test_history_tells_visits_and_what_moved(folder: pathlib.Path) -> None:
    ran = run(folder, "history", UNIT)
    assert ran.code == 0
    assert_plain(ran.out)
    assert "as-left" in ran.out
    assert "return" in ran.out
    moved = ran.out.partition("What moved")[2]
    assert "VCC.voltage[50mA]" in moved
    assert "D1.reverse" in moved
    assert "VCC.voltage[0A]" not in moved
    assert "VCC.voltage[0A]" in run(folder, "history", UNIT, "--all").out


def test_history_writes_a_page(folder: pathlib.Path) -> None:
    assert run(folder, "history", UNIT, "--html", "history.html").code == 0
    page = (folder / "history.html").read_text(encoding="utf-8")
    assert "VCC.voltage[50mA]" in page
    assert "<svg" in page


def test_history_of_a_unit_nobody_met_names_the_nearest(folder: pathlib.Path) -> None:
    ran = run(folder, "history", "T-4 no 7")
    assert ran.code == 2
    assert 'did you mean "t-4 no. 7"' in ran.said


def test_history_finds_the_units_of_a_meter(folder: pathlib.Path) -> None:
    assert "meter dmm: 1 unit, 2 visits" in run(folder, "history", "--meter", "dmm").out
    assert "meter other: 0 units, 0 visits" in run(folder, "history", "--meter", "other").out
    assert "meter dmm: 0 units" in run(folder, "history", "T-4 no. 8", "--meter", "dmm").out


def test_history_finds_the_units_of_a_lot(folder: pathlib.Path) -> None:
    spec = folder / "board.toml"
    spec.write_text(
        spec.read_text(encoding="utf-8").replace('value = "4k7"\n', 'value = "4k7"\nlot = "2531A"\n'),
        encoding="utf-8",
    )
    assert run(folder, "verify", "board.toml", "--unit", "other", "--readings", "card.csv").code == 1
    ran = run(folder, "history", "--lot", "2531a")
    assert "other, in R1" in ran.out
    assert "lot 2531a: 1 unit, 1 visit" in ran.out


def test_changes_ranks_what_changed(folder: pathlib.Path) -> None:
    earlier, later = kept(folder)
    ran = run(folder, "changes", earlier, later)
    assert ran.code == 0
    assert_plain(ran.out)
    assert ran.out.index("D1.reverse: shows another kind of thing") < ran.out.index("VCC.voltage[50mA]: changed by")
    assert "-750 mV" in ran.out
    assert re.search(r"D1\.reverse.*\n +OL +pass\n +", ran.out)


def test_changes_names_every_record_it_cannot_read(folder: pathlib.Path) -> None:
    ran = run(folder, "changes", "nothing.toml", "board.toml")
    assert ran.code == 2
    assert "nothing.toml: there is no such file; check the name" in ran.said
    assert "board.toml:1: is not a record of benchcheck" in ran.said


def test_records_check_ends_with_one_where_something_was_changed(folder: pathlib.Path) -> None:
    ran = run(folder, "records", "check")
    assert ran.code == 0
    assert_plain(ran.out)
    assert "1 unit, 2 records" in ran.out
    assert "compare the last seal printed on the sheet" in " ".join(ran.out.split())
    path = pathlib.Path(kept(folder)[0])
    path.write_bytes(path.read_bytes().replace(b'display = "8.41"', b'display = "8.42"'))
    changed = path.read_bytes()
    ran = run(folder, "records", "check")
    assert ran.code == 1
    assert "changed or missing: t-4%20no.%207/" in ran.out
    assert path.read_bytes() == changed


def test_records_export_gives_the_same_rows_in_every_format(folder: pathlib.Path) -> None:
    ran = run(folder, "records", "export")
    assert ran.code == 0
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert run(folder, "records", "export", "--format", "json-lines", "-o", "rows.jsonl").code == 0
    lines = [json.loads(line) for line in (folder / "rows.jsonl").read_text(encoding="utf-8").splitlines()]
    assert len(rows) == len(lines) > 20
    assert [row["check"] for row in rows] == [line["check"] for line in lines]
    assert not list(folder.glob(".*.part"))


def test_records_export_refuses_what_it_cannot_write(folder: pathlib.Path) -> None:
    assert "name a file for it with -o" in run(folder, "records", "export", "--format", "parquet").said
    ran = run(folder, "records", "export", "-o", "nowhere/rows.csv")
    assert ran.code == 2
    assert "there is no directory nowhere" in ran.said


def test_records_index_can_be_built_again_at_any_time(folder: pathlib.Path) -> None:
    assert "2 records read, 0 unchanged, 0 gone; the index holds 2" in run(folder, "records", "index").out
    assert "0 records read, 2 unchanged" in run(folder, "records", "index").out
    (folder / "records" / "index.sqlite").unlink()
    assert "2 records read" in run(folder, "records", "index").out
    assert "2 records read" in run(folder, "records", "index", "--index", "elsewhere.sqlite").out


def test_limits_from_writes_a_spec_that_is_one_and_keeps_the_old(folder: pathlib.Path) -> None:
    before = (folder / "board.toml").read_bytes()
    ran = run(folder, "limits-from", kept(folder)[0], "--spec", "board.toml", "-o", "new.toml")
    assert ran.code == 0
    assert_plain(ran.out)
    assert "new.toml: " in ran.out
    assert (folder / "board.toml").read_bytes() == before
    text = (folder / "new.toml").read_text(encoding="utf-8")
    assert "# learned: mean" in text
    assert "known-good unit" in text
    assert run(folder, "check-spec", "new.toml", "--brief").code == 0


def test_limits_from_takes_a_unit_folder(folder: pathlib.Path) -> None:
    unit = pathlib.Path(kept(folder)[0]).parent
    assert run(folder, "limits-from", str(unit), "--spec", "board.toml", "-o", "new.toml").code == 0


def test_limits_from_refuses_to_replace_what_it_reads_and_unknown_channels(folder: pathlib.Path) -> None:
    record = kept(folder)[0]
    for target in ("board.toml", record):
        ran = run(folder, "limits-from", record, "--spec", "board.toml", "-o", target)
        assert ran.code == 2
        assert "is one of the files read here; choose another name" in ran.said
    ran = run(folder, "limits-from", record, "--spec", "board.toml", "-o", "n.toml", "--channel", "R1", "R22")
    assert ran.code == 2
    assert "--channel: R22: the board has no such part" in ran.said


def test_sheet_writes_one_page_and_refuses_to_replace_the_record(folder: pathlib.Path) -> None:
    record = kept(folder)[1]
    ran = run(folder, "sheet", record, "-o", "sheet.html")
    assert ran.code == 0
    assert_plain(ran.out)
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert UNIT in page
    refused = run(folder, "sheet", record, "-o", record)
    assert refused.code == 2
    assert "choose another name" in refused.said


def test_a_folder_that_is_not_there_is_named(tmp_path: pathlib.Path) -> None:
    for command in (
        ["history", "x"],
        ["history", "--meter", "x"],
        *(["records", one] for one in ("check", "export", "index")),
    ):
        ran = run(tmp_path, *command)
        assert ran.code == 2, command
        assert "records" in ran.said
    assert list(tmp_path.iterdir()) == []


def test_an_amendment_is_added_and_nothing_that_stood_there_changes(folder: pathlib.Path) -> None:
    record = pathlib.Path(kept(folder)[0])
    before = record.read_bytes()
    ran = run(folder, "records", "amend", str(record), "read twice", "--check", "VCC.voltage[0A]", "--operator", "AB")
    assert ran.code == 0
    assert record.read_bytes().startswith(before)
    assert run(folder, "records", "check").code == 0
    assert "amendment VCC.voltage[0A]: read twice" in " ".join(run(folder, "history", UNIT).out.split())
    assert run(folder, "sheet", str(record), "-o", "sheet.html").code == 0
    assert "read twice" in (folder / "sheet.html").read_text(encoding="utf-8")
    refused = run(folder, "records", "amend", str(record), "x", "--check", "VCC.voltage[0B]")
    assert refused.code == 2
    assert 'did you mean "VCC.voltage[0A]"' in refused.said


def test_a_contact_is_kept_apart_and_can_be_erased(folder: pathlib.Path) -> None:
    before = [pathlib.Path(path).read_bytes() for path in kept(folder)]
    assert run(folder, "records", "contact", UNIT, "--name", "A. Person", "--reach", "555-0100").code == 0
    assert run(folder, "records", "contact", UNIT, "--complaint", "hums").code == 0
    assert run(folder, "records", "contact", UNIT).out == "name: A. Person\nreach: 555-0100\ncomplaint: hums\n"
    assert run(folder, "records", "check").code == 0
    assert run(folder, "records", "contact", UNIT, "--erase", "--name", "x").code == 2
    assert run(folder, "records", "contact", UNIT, "--erase").out == "erased\n"
    assert run(folder, "records", "contact", UNIT).out == "nothing is kept\n"
    assert not [path for path in (folder / "records").rglob("*") if path.is_file() and b"Person" in path.read_bytes()]
    assert [pathlib.Path(path).read_bytes() for path in kept(folder)] == before


def test_photos_stand_on_the_sheet_where_their_folder_is_named(folder: pathlib.Path) -> None:
    record = pathlib.Path(kept(folder)[0])
    data = b"GIF89a\1\0\1\0\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\1\0\1\0\0\2\2D\1\0;"
    with Journal.resume(record, FakeClock()) as journal:
        journal.append_event("photo", "D1.reverse", f"board.gif {hashlib.sha256(data).hexdigest()}")
    (folder / "camera").mkdir()
    (folder / "camera" / "board.gif").write_bytes(data)
    shown = {}
    for name, more in (("without", []), ("with", ["--photos", "camera"])):
        assert run(folder, "sheet", str(record), "-o", f"{name}.html", *more).code == 0
        shown[name] = "<img" in (folder / f"{name}.html").read_text(encoding="utf-8")
    assert shown == {"without": False, "with": True}
    for more, told in ((["--photos", "camara"], "is no folder"), (["--photos", ".", "--as", "results"], "leave one")):
        refused = run(folder, "sheet", str(record), "-o", "no.html", *more)
        assert refused.code == 2
        assert told in refused.said
    assert not (folder / "no.html").exists()
