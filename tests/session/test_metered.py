"""A visit read by instruments over real sockets: what is kept, and that trouble is never a fail."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Origin
from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Score
from benchcheck.session.answers import Source
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from benchcheck.spec.board import Board
from tests.factories import board, check, voltage
from tests.session.rig import ScriptedHand, served_bench, source

R14 = check("R14.resistance")
R15 = check("R15.resistance")
REST = voltage("VSW.residual_voltage", Phase.RESIDUAL_VOLTAGE, -0.2, 0.2)
LOOK = check("C9.orientation", Function.VISUAL, Phase.VISUAL, answers=("as marked", "reversed"), limits=Limits())
ESR = check("C9.esr", Function.ESR, limits=Limits(None, 0.5))
TRUTH = {Function.OHMS: 4680.0, Function.DC_VOLTAGE: 0.01, Function.DIODE: 0.6}


class Silent:
    def scored(self, check: Check, score: Score, place: int, total: int) -> None: ...

    def undone(self, check: Check | None) -> None: ...


def conduct(folder: Path, bench: Bench, unit: Board, hand: ScriptedHand, **asked: Any) -> Report:
    path = folder / "bench.toml"
    path.write_text(bench.source)

    def made(read: Bench) -> Source:
        return source(read, hand)

    request = Request("7", str(path), records=folder / "records", **asked)
    return Conduct(request, Silent(), made).run(unit, tuple(one.id for one in unit.checks))


def scores(report: Report) -> dict[str, str]:
    return {one.check: str(one.verdict or one.outcome) for one in report.scores}


def test_a_meter_asked_for_several_readings_keeps_each_of_one_touch_down_as_a_repeat(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        text = served.text.replace("[meter.dmm]\n", "[meter.dmm]\nreadings = 3\n")
        assert text != served.text
        bench = load_bench(parse_document(text, "bench.toml"))
        at = {"meter.leads_shorted": 0.2, "meter.cell": 1.55, "meter.reference_resistor": 1e3, R14.id: 4680.0}
        hand = ScriptedHand(unit=served.unit, at=at)
        (tmp_path / "bench.toml").write_text(text)

        def made(read: Bench) -> Source:
            return source(bench, hand)

        request = Request("7", str(tmp_path / "bench.toml"), records=tmp_path / "records")
        report = Conduct(request, Silent(), made).run(board(R14), (R14.id,))
    kept = [one for one in read_record(report.record).readings if one.check == R14.id]
    assert [one.repeat for one in kept] == [1, 2, 3]
    assert hand.done.count(f"place {R14.id}") == 1
    assert scores(report)[R14.id] == "pass"


def test_readings_come_from_the_meter_and_keep_range_function_and_test_current(tmp_path: Path) -> None:
    at = {
        "meter.leads_shorted": 0.2,
        "meter.cell": 1.55,
        REST.id: 0.01,
        "meter.reference_resistor": 1e3,
        R14.id: 4680.0,
    }
    with served_bench(TRUTH) as served:
        hand = ScriptedHand({ESR.id: "0.21"}, unit=served.unit, at=at)
        report = conduct(tmp_path, served.bench(), board(LOOK, REST, R14, ESR), hand)
    assert scores(report) == {
        "meter.leads_shorted": "pass",
        "meter.diode": "pass",
        "meter.cell": "pass",
        LOOK.id: "pass",
        REST.id: "pass",
        R14.id: "pass",
        ESR.id: "pass",
    }
    record = read_record(report.record)
    (reading,) = (one for one in record.readings if one.check == R14.id)
    assert (reading.origin, reading.meter, reading.meter_range) == (Origin.METERED, "dmm", "10k")
    assert reading.note == "ohms, 100 uA"
    assert reading.display.value == pytest.approx(4680.0, rel=2e-4)
    assert reading.display.text.endswith(" kohm")
    assert [one.identity for one in record.head.instruments if one.name == "dmm"] == [
        "Fenwater Instruments,M55,100042,1.07"
    ]
    assert {one.origin for one in record.readings if one.check in (LOOK.id, ESR.id)} == {Origin.TYPED}


def test_overload_is_kept_as_overload(tmp_path: Path) -> None:
    with served_bench({Function.DC_VOLTAGE: 0.01}) as served:
        report = conduct(tmp_path, served.bench(), board(REST, R14), ScriptedHand())
    (reading,) = (one for one in read_record(report.record).readings if one.check == R14.id)
    assert (reading.display.state, reading.display.value) == (DisplayState.OVERLOAD, None)
    assert scores(report)[R14.id] == "fail"  # 4.8 kohm at most, and this is beyond every range


def test_a_meter_in_trouble_is_an_error_of_the_check_and_exit_code_four(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        meter = served.served.servers[0]

        class Cut(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == R14.id:
                    meter.faults = [Misbehaviour(Kind.MISSING, "MEAS|READ", times=-1)]

        report = conduct(tmp_path, served.bench(), board(REST, R14, R15), Cut())
    outcomes = {one.check: one.outcome for one in report.scores}
    assert (outcomes[REST.id], outcomes[R14.id], outcomes[R15.id]) == (
        Outcome.MEASURED,
        Outcome.ERROR,
        Outcome.ERROR,
    )
    assert report.exit_code == 4
    assert "no complete answer" in next(one.because for one in report.scores if one.check == R14.id)
    assert R14.id not in {one.check for one in read_record(report.record).readings}


@pytest.mark.parametrize(
    ("resource", "dialect", "error", "words"),
    [
        ("TCPIP0:127.0.0.1", "generic", BenchError, "is no VISA resource"),
        ("TCPIP0::127.0.0.1::1::SOCKET", "generic", InstrumentError, "does not answer"),
        ("", "generc", BenchError, 'there is no dialect "generc"'),
    ],
)
def test_what_cannot_be_reached_is_refused_before_anything_is_recorded(
    tmp_path: Path, resource: str, dialect: str, error: type[Exception], words: str
) -> None:
    with served_bench(TRUTH) as served:
        text = served.text
        there = served.served.servers[0].resource
        text = text.replace(f'"{there}", dialect = "generic"', f'"{resource or there}", dialect = "{dialect}"', 1)
        bench = load_bench(parse_document(text, "bench.toml"))
        with pytest.raises(error, match=words):
            conduct(tmp_path, bench, board(R14), ScriptedHand())
    assert not (tmp_path / "records").exists()


def test_a_meter_shows_how_its_own_checks_drift_over_visits_of_any_unit(tmp_path: Path) -> None:
    for _ in range(2):
        with served_bench(TRUTH) as served:
            report = conduct(tmp_path, served.bench(), board(R14), ScriptedHand())
    told = [one.value.text for one in read_record(report.record).all_events if one.value.kind is EventKind.INSTRUMENT]
    assert any(line.startswith(("dmm: 599.", "dmm: 600")) for line in told)
    assert any("as on the last visit" in line and "1 earlier visit and" in line for line in told)


def test_charge_that_is_found_is_discharged_by_the_hand_and_read_again(tmp_path: Path) -> None:
    with served_bench({**TRUTH, Function.DC_VOLTAGE: 3.0}) as served:

        class Careful(ScriptedHand):
            def discharge(self, check: Check) -> None:
                super().discharge(check)
                served.unit.values[Function.DC_VOLTAGE] = 0.005

        hand = Careful()
        report = conduct(tmp_path, served.bench(), board(REST, R14), hand)
    assert f"discharge {REST.id}" in hand.done
    assert scores(report)[REST.id] == "pass"


def test_trouble_names_no_address_in_the_record(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        meter = served.served.servers[0]

        class Gone(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == R14.id:
                    meter.faults = [Misbehaviour(Kind.REFUSES, times=-1, amount=30.0)]

        bench = load_bench(parse_document(served.text.replace('"500 ms"', '"200 ms"'), "bench.toml"))
        report = conduct(tmp_path, bench, board(REST, R14), Gone())
    assert next(one.outcome for one in report.scores if one.check == R14.id) is Outcome.ERROR
    text = report.record.read_text("utf-8")
    assert "127.0.0.1" not in text
    assert str(meter.port) not in text
    assert "::" not in text
