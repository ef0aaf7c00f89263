"""A spec as pytest's test file: the same verdicts as `verify`, with pytest's own options around them."""

from __future__ import annotations

import json
import pathlib
import re
import socket

import pytest

from benchcheck.record.store import read_record, records_of
from tests.cli.scratch import GOOD, NAMES, SPEC, Ran, lay_out, records, run, run_pytest, verify

UNIT = ("--unit", "T-4 no. 7", "--readings", "card.csv")
MIXED = {**GOOD, "D1.forward_drop": "0.03", "R1.resistance": "4.52k", "VCC.voltage[50mA]": "7.99"}


def reported(ran: Ran) -> dict[str, str]:
    """Return what pytest -rA -v said of every check."""
    return dict(re.findall(r"^board\.toml::(\S+) (PASSED|FAILED|SKIPPED)", ran.out, re.MULTILINE))


def test_pytest_gives_every_check_the_verdict_that_verify_gives_it(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path, MIXED)
    assert verify(tmp_path, "--json", "out.json").code == 1
    ran = run_pytest(tmp_path, "-v", "board.toml", *UNIT)
    assert ran.code == 1
    words = {"pass": "PASSED", "conditional pass": "PASSED", "fail": "FAILED", "conditional fail": "FAILED"}
    checks = json.loads((tmp_path / "out.json").read_text("utf-8"))["checks"]
    assert reported(ran) == {check["check"]: words.get(check["verdict"], "SKIPPED") for check in checks}
    first, second = (read_record(path).scores for path in records(tmp_path))
    assert first == second


def test_a_failed_check_is_told_in_words_without_a_traceback(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path, MIXED), "board.toml", *UNIT)
    assert "fail: 0.03." in ran.out
    assert "Traceback" not in ran.out
    assert ".py" not in ran.out.partition("FAILURES")[2]


def test_k_selects_and_brings_along_what_a_powered_check_needs(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path), "-v", "-k", "VCC.voltage[50mA]", "board.toml", *UNIT)
    assert reported(ran) == {"VCC.voltage[50mA]": "PASSED"}
    (path,) = records(tmp_path)
    assert "isolation.resistance[BASE:VCC]" in {score.check for score in read_record(path).scores}


def test_one_check_is_named_by_its_node(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path), "-v", "board.toml::D1.reverse", *UNIT)
    assert reported(ran) == {"D1.reverse": "PASSED"}


def test_x_ends_the_visit_at_the_first_failure(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path, MIXED), "-v", "-x", "board.toml", *UNIT)
    assert ran.code == 1
    assert list(reported(ran).values()).count("FAILED") == 1
    (path,) = records(tmp_path)
    assert "VCC.voltage[0A]" not in {score.check for score in read_record(path).scores}


def test_junit_files_name_no_host_and_no_path(tmp_path: pathlib.Path) -> None:
    run_pytest(lay_out(tmp_path, MIXED), "--junitxml", "out.xml", "board.toml", *UNIT)
    text = (tmp_path / "out.xml").read_text("utf-8")
    assert 'name="D1.reverse"' in text
    assert "hostname" not in text
    assert socket.gethostname() not in text
    assert str(tmp_path) not in text


def test_junit_files_of_a_spec_elsewhere_name_no_path_either(tmp_path: pathlib.Path) -> None:
    (tmp_path / "specs").mkdir()
    (tmp_path / "here").mkdir()
    lay_out(tmp_path / "here", MIXED)
    (tmp_path / "specs" / "board.toml").write_text(SPEC, "utf-8")
    run_pytest(tmp_path / "here", "--junitxml", "out.xml", str(tmp_path / "specs" / "board.toml"), *UNIT)
    text = (tmp_path / "here" / "out.xml").read_text("utf-8")
    assert 'name="D1.reverse"' in text
    assert str(tmp_path) not in text


def test_the_visit_needs_no_terminal_plugin(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path, MIXED), "-p", "no:terminal", "board.toml", *UNIT)
    assert (ran.code, ran.err) == (1, "")


def test_several_processes_are_refused_in_words(tmp_path: pathlib.Path) -> None:
    pytest.importorskip("xdist")
    ran = run_pytest(lay_out(tmp_path), "-n", "2", "board.toml", *UNIT)
    assert ran.code != 0
    assert "run it without -n" in ran.out + ran.err
    assert "Traceback" not in ran.out + ran.err
    assert not (tmp_path / "records").exists()
    assert run_pytest(tmp_path, "-n", "0", "-k", "D1", "board.toml", *UNIT).code == 0


def test_collecting_only_lists_the_checks_and_begins_no_visit(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path), "--collect-only", "-q", "board.toml")
    assert ran.code == 0
    assert "board.toml::VCC.voltage[50mA]" in ran.out.splitlines()
    assert not (tmp_path / "records").exists()


def test_two_specs_in_one_run_are_refused(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "other.toml").write_text(SPEC, "utf-8")
    ran = run_pytest(tmp_path, "board.toml", "other.toml", *UNIT)
    assert ran.code == 4
    assert "2 specs are selected" in ran.err + ran.out
    assert not (tmp_path / "records").exists()


def test_a_run_without_a_unit_is_refused(tmp_path: pathlib.Path) -> None:
    ran = run_pytest(lay_out(tmp_path), "board.toml")
    assert ran.code == 4
    assert '--unit "LABEL"' in ran.err + ran.out
    assert not (tmp_path / "records").exists()


def test_specs_beside_other_peoples_tests_are_left_alone_until_a_unit_is_given(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "test_own.py").write_text("def test_own():\n    pass\n", "utf-8")
    without = run_pytest(tmp_path, "-v")
    assert without.code == 0
    assert "1 passed" in without.out
    given = run_pytest(tmp_path, "-v", "-k", "D1 or own", *UNIT)
    assert reported(given) == {"D1.forward_drop": "PASSED", "D1.reverse": "PASSED"}
    assert "3 passed" in given.out


@pytest.mark.parametrize("strict", [(), ("-W", "error")])
def test_a_conditional_pass_is_a_warning_that_no_filter_makes_a_failure(
    tmp_path: pathlib.Path, strict: tuple[str, ...]
) -> None:
    near = {**GOOD, "VCC.voltage[50mA]": "8.8199"}
    ran = run_pytest(lay_out(tmp_path, near), *strict, "-k", "VCC.voltage[50mA]", "board.toml", *UNIT)
    assert ran.code == 0, ran.out
    assert "1 passed" in ran.out
    assert "ConditionalPassWarning: conditional pass: 8.8199" in ran.out


def test_a_spec_with_faults_is_a_collection_error_that_shows_them_all(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    (tmp_path / "board.toml").write_text(SPEC.replace('"5 %"', '"5 volts"').replace("silicon", "silicium"), "utf-8")
    ran = run_pytest(tmp_path, "board.toml", *UNIT)
    assert ran.code == 2
    assert ran.out.count("5 volts") >= 2
    assert "silicium" in ran.out
    assert "Traceback" not in ran.out
    assert str(tmp_path) not in ran.out.partition("= ERRORS =")[2]


@pytest.mark.parametrize(
    "text", ["x = 1\n", "[tool]\nbenchcheck = 1\n", "", "# benchcheck = 1\n", "benchchecks = 1\n"]
)
def test_toml_files_that_are_no_specs_are_none_of_ours(tmp_path: pathlib.Path, text: str) -> None:
    lay_out(tmp_path)
    (tmp_path / "other.toml").write_text(text, "utf-8")
    ran = run_pytest(tmp_path, "--collect-only", "-q", ".", *UNIT)
    assert ran.code == 0
    assert "other.toml" not in ran.out
    assert "bench.toml::" not in ran.out


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--readings", "nowhere.csv"), "no such file"),
        (("--unit", "a\nb"), "control character"),
        (("--resume",), "no unfinished visit"),
        (("--waive", "D1.revrse", "no good reason"), "D1.reverse"),
    ],
)
def test_what_the_visit_cannot_use_is_a_usage_error(
    tmp_path: pathlib.Path, given: tuple[str, ...], told: str
) -> None:
    ran = run_pytest(lay_out(tmp_path), "board.toml", *UNIT, *given)
    assert ran.code == 4
    assert told in ran.out + ran.err
    assert "Traceback" not in ran.out + ran.err
    assert not (tmp_path / "records").exists()


def test_pytest_help_names_the_options_of_a_visit(tmp_path: pathlib.Path) -> None:
    assert "--unit=LABEL" in run_pytest(lay_out(tmp_path), "--help").out


def test_both_ways_in_leave_records_alike(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    run(tmp_path, "verify", "board.toml", *UNIT, "--only", NAMES)
    run_pytest(tmp_path, "board.toml", *UNIT, "-k", " or ".join(NAMES.split(",")))
    first, second = records_of(tmp_path / "records", "T-4 no. 7")
    assert first.head.spec_digest == second.head.spec_digest
    assert [(one.check, one.display) for one in first.readings] == [
        (one.check, one.display) for one in second.readings
    ]
    assert second.head.parents == (first.identity,)


def test_the_day_until_which_to_keep_the_record_goes_into_its_head(tmp_path: pathlib.Path) -> None:
    folder = lay_out(tmp_path)
    for wrong in ("31.1.2030", "2030-02-31", "20300131"):
        ran = run_pytest(folder, "board.toml", *UNIT, "--keep-until", wrong)
        assert ran.code == 4
        assert f'"{wrong}" is no day' in ran.said
    assert run_pytest(folder, "board.toml", *UNIT, "--keep-until", "2030-01-31").code in (0, 3)
    (path,) = records(folder)
    assert str(read_record(path).head.keep_until) == "2030-01-31"
