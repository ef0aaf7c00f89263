"""`benchcheck verify` as a process of its own: what it says, what it keeps, what it ends with."""

from __future__ import annotations

import json
import pathlib
import subprocess
import sys

import pytest

from benchcheck.record.store import read_record
from tests.cli.scratch import GOOD, NAMES, Ran, card, clean_environment, lay_out, records, run, verify


def test_all_passed_ends_with_0_and_the_record_says_so(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--only", NAMES)
    assert ran.code == 0, ran.out + ran.err
    (path,) = records(tmp_path)
    record = read_record(path)
    assert record.result is not None
    assert record.result.exit_code == 0
    assert record.sealed
    assert record.last_seal in ran.out
    assert {one.check for one in record.readings} == set(GOOD)


def test_a_failure_ends_with_1_and_is_named_again_at_the_end(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path, {**GOOD, "D1.forward_drop": "0.03"}), "--only", NAMES)
    assert ran.code == 1
    assert "failed: D1.forward_drop" in ran.out


def test_what_was_not_read_ends_with_3(tmp_path: pathlib.Path) -> None:
    some = {check: shown for check, shown in GOOD.items() if check != "D1.reverse"}
    ran = verify(lay_out(tmp_path, some), "--only", NAMES)
    assert ran.code == 3
    assert "D1.reverse" in ran.out


def test_only_narrows_to_what_is_named_and_what_that_needs(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--only", "D1", "--json", "out.json")
    assert ran.code == 0
    told = json.loads((tmp_path / "out.json").read_text("utf-8"))
    assert [check["check"] for check in told["checks"]] == ["D1.forward_drop", "D1.reverse"]


def test_json_holds_the_documented_keys_and_what_the_screen_said(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--only", NAMES, "--json", "out.json", "--stage", "as-found")
    told = json.loads((tmp_path / "out.json").read_text("utf-8"))
    assert set(told) == {
        "format", "unit", "board", "stage", "spec_digest", "decision_rule", "waivers", "exit_code", "checks",
    }  # fmt: skip
    assert (told["unit"], told["stage"], told["exit_code"]) == ("T-4 no. 7", "as-found", ran.code)
    overload = next(check for check in told["checks"] if check["check"] == "D1.reverse")
    assert (overload["value"], overload["display"], overload["verdict"]) == (None, "OL", "pass")
    for check in told["checks"]:
        assert f"{check['verdict']:<16} {check['check']} " in ran.out


def test_explain_lays_one_budget_open(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--only", NAMES, "--explain", "D1.forward_drop")
    budget = ran.out.partition("how it was decided")[2]
    assert "combined standard uncertainty" in budget
    wrong = verify(tmp_path, "--explain", "D1.foward_drop")
    assert wrong.code == 2
    assert 'did you mean "D1.forward_drop"?' in wrong.said


@pytest.mark.parametrize(
    "asked",
    [
        ("--only", "between.ohms[OUT:GND]"), ("--explain", "between.ohms[OUT:GND]"),
        ("--waive", "between.ohms[OUT:GND]", "read out of circuit last week"),
    ],
)  # fmt: skip
def test_a_reading_between_nets_is_no_check_of_a_visit_and_is_said_to_be_none(
    tmp_path: pathlib.Path, asked: tuple[str, ...]
) -> None:
    refused = verify(lay_out(tmp_path), *asked)
    assert refused.code == 2
    assert "is a reading for benchcheck diagnose, which no visit scores; check-spec lists" in " ".join(
        refused.said.split()
    )


def test_a_waiver_is_kept_with_its_reason_and_a_thin_one_is_refused(tmp_path: pathlib.Path) -> None:
    waived = ["--waive", "D1.reverse", "read out of circuit last week"]
    assert verify(lay_out(tmp_path), "--only", NAMES, *waived).code == 0
    (path,) = records(tmp_path)
    (waiver,) = read_record(path).head.waivers
    assert (waiver.check, waiver.reason) == ("D1.reverse", "read out of circuit last week")
    assert verify(tmp_path, "--waive", "D1.reverse", "because").code == 2


def test_resume_without_anything_to_go_on_with_says_so(tmp_path: pathlib.Path) -> None:
    ran = verify(lay_out(tmp_path), "--resume")
    assert ran.code == 2
    assert "no unfinished visit" in ran.err
    assert not (tmp_path / "records").exists()


def test_without_a_terminal_and_without_readings_the_way_out_is_named(tmp_path: pathlib.Path) -> None:
    ran = run(lay_out(tmp_path), "verify", "board.toml", "--unit", "7")
    assert ran.code == 2
    assert "--readings FILE" in ran.said
    assert not (tmp_path / "records").exists()


def plain(ran: Ran) -> None:
    assert "\x1b" not in ran.out + ran.err
    for line in (ran.out + ran.err).splitlines():
        assert len(line) <= 80 or " " not in line.strip(), line


def test_pipes_get_plain_lines_of_at_most_80_columns(tmp_path: pathlib.Path) -> None:
    folder = lay_out(tmp_path, {**GOOD, "R1.resistance": "4.52k", "D1.forward_drop": "0.03"})
    for environment in ({}, {"NO_COLOR": "1"}, {"TERM": "xterm-256color"}, {"COLUMNS": "300"}):
        plain(verify(folder, **environment))


def test_signs_that_move_the_cursor_do_not_reach_the_screen(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    label = ["--unit", "seven\u202eneves"]
    ran = run(tmp_path, "verify", "board.toml", *label, "--readings", "card.csv", "--only", NAMES)
    assert ran.code == 0
    assert "\u202e" not in ran.out
    assert "seven\\u202eneves" in ran.out


def test_a_reader_who_leaves_does_not_end_the_visit(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    command = [sys.executable, "-m", "benchcheck", "verify", "board.toml", "--unit", "7", "--readings", "card.csv"]
    with subprocess.Popen(
        [*command, "--only", NAMES], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env=clean_environment(PYTHONUNBUFFERED="1"),
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        complaint = process.stderr.read()
        assert process.wait(60) == 0
    assert complaint == b""
    (path,) = records(tmp_path)
    record = read_record(path)
    assert record.result is not None
    assert len(record.scores) == len(GOOD) + 1


def test_options_meant_for_other_pytest_runs_do_not_reach_a_visit(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "conftest.py").write_text("raise SystemExit('not mine')\n", "utf-8")
    ran = verify(tmp_path, "--only", NAMES, PYTEST_ADDOPTS="-k nothing --no-such-option", PYTEST_PLUGINS="nowhere")
    assert ran.code == 0, ran.err


BAD_CALLS = {
    "no spec file": (["verify", "nowhere.toml", "--unit", "7"], ["nowhere.toml", "no such file"]),
    "a folder": (["verify", ".", "--unit", "7"], ["is a directory"]),
    "no unit": (["verify", "board.toml"], ["Missing option '--unit'"]),
    "no bench": (["verify", "board.toml", "--unit", "7", "--bench", "b.toml"], ["b.toml", "no such file"]),
    "unknown part": (["verify", "board.toml", "--unit", "7", "--only", "D9"], ["there are D1"]),
    "unknown stage": (["verify", "board.toml", "--unit", "7", "--stage", "found"], ["as-found"]),
    "unknown waiver": (["verify", "board.toml", "--unit", "7", "--waive", "D1.revrse", "a b"], ['"D1.reverse"?']),
    "no initials": (["verify", "board.toml", "--unit", "7", "--operator", "Ada " * 9], ["at most 12"]),
    "no day": (["verify", "board.toml", "--unit", "7", "--keep-until", "31.1.2030"], ["does not match", "%Y-%m-%d"]),
    "json nowhere": (["verify", "board.toml", "--unit", "7", "--json", "no/out.json"], ["directory does not exist"]),
    "json over a spec": (["verify", "board.toml", "--unit", "7", "--json", "./board.toml"], ["choose another name"]),
    "unknown command": (["verfy"], ['did you mean "verify"?']),
    "unknown option": (["verify", "board.toml", "--unit", "7", "--reading", "x"], ["--readings"]),
}


@pytest.mark.parametrize("case", BAD_CALLS)
def test_a_bad_call_is_told_what_is_allowed_and_leaves_nothing_behind(tmp_path: pathlib.Path, case: str) -> None:
    arguments, told = BAD_CALLS[case]
    ran = run(lay_out(tmp_path), *arguments)
    assert ran.code == 2, ran.out + ran.err
    assert all(words in ran.said for words in told), ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "records").exists()


BAD_CARDS: dict[str, tuple[bytes, str]] = {
    "unknown check": (b"check,reading\nD1.forward,0.6\n", "D1.forward_drop"),
    "twice": (b"check,reading\nD1.reverse,OL\nD1.reverse,0.5\n", "line 2"),
    "a thousand off": (b"check,reading\nVCC.voltage[0A],8410\n", "8.41 V meant?"),
    "empty": (b"", "empty"),
    "blanks": (b" \n\n", "empty"),
    "binary": (b"\x7fELF\0\0\0", "binary"),
    "not UTF-8": (b"check,reading\nD1.reverse,\xff\n", "UTF-8"),
    "UTF-16": ("check,reading\n".encode("utf-16"), "UTF-16"),
    "100 MB": (b"", "MB"),
    "no header": (b"D1.reverse,OL\n", "first line"),
}


@pytest.mark.parametrize("case", BAD_CARDS)
def test_a_bad_file_of_readings_leaves_nothing_behind(tmp_path: pathlib.Path, case: str) -> None:
    content, told = BAD_CARDS[case]
    path = lay_out(tmp_path) / "card.csv"
    path.write_bytes(content)
    if case == "100 MB":
        with path.open("wb") as file:
            file.truncate(100_000_000)
    ran = verify(tmp_path)
    assert ran.code == 2
    assert "card.csv" in ran.said
    assert told in ran.said
    assert not (tmp_path / "records").exists()
    plain(ran)


def test_a_byte_order_mark_is_no_fault(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "card.csv").write_bytes(b"\xef\xbb\xbf" + card(GOOD).encode())
    assert verify(tmp_path, "--only", NAMES).code == 0


@pytest.mark.parametrize("label", ["", "x" * 300, "a\nb", "a\tb", "\x7f", "µ" * 80])
def test_a_label_that_names_no_folder_is_refused(tmp_path: pathlib.Path, label: str) -> None:
    lay_out(tmp_path)
    ran = run(tmp_path, "verify", "board.toml", "--unit", label, "--readings", "card.csv")
    assert ran.code == 2
    assert "--unit" in ran.err
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize("label", ["../../x", "CON", ".", "sources", "a/b", "C:\\x"])
def test_no_label_leads_out_of_the_folder_of_records(tmp_path: pathlib.Path, label: str) -> None:
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    lay_out(inner)
    ran = run(inner, "verify", "board.toml", "--unit", label, "--readings", "card.csv", "--only", NAMES)
    assert ran.code == 0, ran.err
    (path,) = records(inner)
    assert path.parent.parent == inner / "records"
    assert read_record(path).head.unit == label
    assert [one.name for one in tmp_path.iterdir()] == ["a"]


def test_every_fault_of_a_spec_is_told_at_once(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    spec = (tmp_path / "board.toml").read_text("utf-8")
    (tmp_path / "board.toml").write_text(spec.replace('"5 %"', '"5 volts"').replace("silicon", "silicium"), "utf-8")
    ran = verify(tmp_path)
    assert ran.code == 2
    assert ran.err.count("5 volts") >= 2
    assert "silicium" in ran.err
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize("command", ["", "verify", "capability", "check-spec", "schema"])
def test_help_fits_the_screen_and_shows_an_example(tmp_path: pathlib.Path, command: str) -> None:
    ran = run(tmp_path, *command.split(), "--help", COLUMNS="200")
    assert ran.code == 0
    assert "Example" in ran.out
    plain(ran)


def test_help_loads_none_of_the_heavy_libraries(tmp_path: pathlib.Path) -> None:
    program = (
        "import sys, runpy\nsys.argv = ['benchcheck', '--help']\n"
        "try:\n runpy.run_module('benchcheck', run_name='__main__')\nexcept SystemExit:\n pass\n"
        "heavy = {'numpy', 'scipy', 'pint', 'pyvisa', 'pytest', 'sqlalchemy', 'rich'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    ran = subprocess.run([sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
