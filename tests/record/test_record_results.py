"""The result for programs: every key of the format, null where there is nothing, valid JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from benchcheck.clock import FakeClock
from benchcheck.record.journal import Journal
from benchcheck.record.results import check_result, results_json, waivers_of
from benchcheck.record.store import read_record
from tests.record.samples import HEAD, READINGS, SCORES, SPEC_DIGEST, write_visit

# The keys of `verify --json`, in the order of the project's format description.
TOP = ["format", "unit", "board", "stage", "spec_digest", "decision_rule", "waivers", "exit_code", "checks"]
CHECK = [
    "check", "outcome", "verdict", "display", "value", "quantity_unit", "expanded_uncertainty",
    "coverage_factor", "lower", "upper", "limit_origin", "guard_band", "conformance_probability", "polarity",
    "meter", "attempts", "reason",
]  # fmt: skip


def test_a_result_has_every_key_of_the_format(tmp_path: Path) -> None:
    path = write_visit(tmp_path)
    result = results_json(path)
    assert result == results_json(read_record(path))
    assert list(result) == TOP
    assert result["exit_code"] == 3
    assert result["spec_digest"] == SPEC_DIGEST
    checks = result["checks"]
    assert isinstance(checks, list)
    for check in checks:
        assert list(check)[: len(CHECK)] == CHECK
        assert list(check)[len(CHECK) :] == ["because", "change"]


def test_overload_has_no_value_and_says_ol() -> None:
    check = check_result(SCORES[1])
    assert (check["display"], check["value"], check["verdict"]) == ("OL", None, "undecided")
    assert check["reason"] == "compliance"
    assert check["because"] == "2 V of compliance show nothing above"


def test_a_check_that_was_not_measured_has_no_verdict() -> None:
    check = check_result(SCORES[2])
    assert (check["outcome"], check["verdict"], check["attempts"]) == ("skipped", None, 0)


def test_the_result_is_json_even_where_a_limit_is_infinite(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_score(replace(SCORES[0], upper=float("inf"), coverage_factor=float("nan")))
    check = json.loads(json.dumps(results_json(journal.path), allow_nan=False))["checks"][0]
    assert check["upper"] is None
    assert check["coverage_factor"] is None
    assert check["lower"] == 4653.0


def test_waivers_written_down_on_the_way_count_until_taken_back(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        kept = journal.append_event("waiver", "Q2.blocking", "gate lifted on purpose")
        gone = journal.append_event("waiver", "D3.reverse", "typed by mistake")
        journal.append_event("undo", amends=(gone,))
        journal.append_reading(READINGS[0])
    record = read_record(journal.path)
    assert kept
    assert [waiver.check for waiver in waivers_of(record)] == ["C9.polarity[other]", "Q2.blocking"]
    assert results_json(record)["exit_code"] is None
