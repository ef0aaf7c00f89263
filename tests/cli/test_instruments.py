"""`benchcheck instruments`: everything is listed, what is wrong beside it, nothing is set and nothing looked for."""

from __future__ import annotations

from pathlib import Path

from benchcheck.bench.load import load_bench
from benchcheck.clock import SystemClock
from benchcheck.document import parse_document
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.session.roll_call import Present, roll_call
from tests.cli.scratch import Ran, run
from tests.session.rig import Served, served_bench


def words(done: Ran) -> str:
    return " ".join(done.out.split())


def test_a_simulated_bench_answers_and_its_meter_checks_itself(tmp_path: Path) -> None:
    done = run(tmp_path, "instruments", "--bench", "simulated", "--self-check")
    assert done.code == 0
    said = words(done)
    assert 'answers as "Fenwater Instruments,M55,100042,1.07"' in said
    assert "meter.esrmeter esr-meter" in said
    assert "no link: its display is read and typed" in said
    assert "pass meter.leads_shorted" in said
    assert "nothing earlier to compare it" in said


def test_one_that_does_not_answer_hides_no_other_and_is_exit_code_four(tmp_path: Path) -> None:
    with served_bench() as served:
        there = served.served.servers[1].resource
        (tmp_path / "bench.toml").write_text(served.text.replace(there, "TCPIP0::127.0.0.1::1::SOCKET"))
        served.meter.push_error(-222, "Data out of range")
        done = run(tmp_path, "instruments")
        assert not [message for message in map(str, served.load.log) if "?" not in message and "*" not in message]
    assert done.code == 4
    assert "TROUBLE: supply.psu: does not answer" in words(done)
    assert 'errors waiting; -222, "Data out of range"' in words(done)
    assert "L150" in words(done)


def called(served: Served, text: str) -> dict[str, Present]:
    strange = {"aldermoor": {"match": "Fenwater Instruments,M55", "psu": {"set_v": "VSET {v}"}}}
    known = shipped_catalogue().extended(strange)
    bench = load_bench(parse_document(text, "bench.toml"))
    return {one.table: one for one in roll_call(bench, known, SystemClock())}


def test_somebody_else_on_the_line_is_a_fault_of_the_bench_file() -> None:
    with served_bench() as served:
        found = called(served, served.text)["meter.dmm"]
    assert found.exit_code == 2
    assert "answers there, which is a supply, not a multimeter" in found.trouble


def test_a_resource_that_is_none_is_a_fault_of_the_bench_file() -> None:
    with served_bench() as served:
        there = served.served.servers[2].resource
        found = called(served, served.text.replace(there, "TCPIP0:nowhere"))["load.eload"]
    assert found.exit_code == 2
    assert "is no VISA resource" in found.trouble


def test_the_check_of_meters_needs_somebody_at_a_terminal(tmp_path: Path) -> None:
    with served_bench() as served:
        (tmp_path / "bench.toml").write_text(served.text)
        done = run(tmp_path, "instruments", "--self-check")
    assert done.code == 2
    assert "there is no terminal" in done.said
