"""A powered visit over real sockets: in order, watched, and off on every way out, with the reason in the record."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.checklist.order import draw_up
from benchcheck.clock import SystemClock
from benchcheck.document import parse_document
from benchcheck.errors import BenchError, InstrumentError, OutputStateUnknown, SpecError, UsageError
from benchcheck.instruments.power_watch import Rule, Stop
from benchcheck.kinds.check import Check
from benchcheck.readings.reading import Origin, Session
from benchcheck.readings.typed import read_typed
from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome
from benchcheck.session.answers import Answer, Source, Step, Taken
from benchcheck.session.feed import Stopped
from benchcheck.session.power import Power, PowerEnded
from benchcheck.session.power_rules import wanted_for
from benchcheck.session.power_words import NO_ANSWER, STILL_OFF
from benchcheck.session.run import Conduct, Report, Request
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from benchcheck.simulation.world import OperatingPoint, PlainBench
from tests.session.powered import GOOD, SPEC, good_hand, spec_board
from tests.session.rig import ScriptedHand, Served, served_bench, source
from tests.session.test_metered import Silent, conduct, scores

TRUTH = {Function.OHMS: 150.0, Function.DC_VOLTAGE: 0.01, Function.DIODE: 0.6, Function.AC_VOLTAGE: 0.002}


def run(folder: Path, served: Served, hand: ScriptedHand | None = None, spec: str = SPEC) -> Report:
    return conduct(folder, served.bench(), spec_board(folder, spec), hand or good_hand(served))


def events(report: Report) -> list[str]:
    return [one.text for one in read_record(report.record).events if one.kind is EventKind.INSTRUMENT]


def switched_on(served: Served) -> int:
    return sum("OUTP ON" in message or "OUTP:STAT ON" in message for message in sent(served))


def sent(served: Served) -> list[str]:
    return [str(entry) for entry in served.supply.log]


def off(served: Served) -> bool:
    return not served.supply.output and not served.load.input


def test_a_good_unit_is_powered_loaded_at_every_voltage_and_switched_off(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        report = run(tmp_path, served)
        assert off(served)
        assert switched_on(served) == 1
    found = scores(report)
    assert {found[name] for name in found if name.startswith("V6.voltage")} == {"pass"}
    assert found["V6.load_regulation"] == "pass"
    assert found["BATT.idle_current"] == "pass"
    assert found["V6.ripple"] == "undecided"
    told = events(report)
    assert any(line.startswith("BATT on: 6.000 V, limit 300 mA, over-voltage 6.60 V; steady at") for line in told)
    assert "BATT changed to 6.4 V (fresh)" in told
    assert "BATT changed to 5 V (end of life)" in told
    assert told[-1] == "off (the end of the visit): output off"
    idle = next(one for one in read_record(report.record).readings if one.check == "BATT.idle_current")
    assert idle.meter == "psu"
    assert idle.display.value == pytest.approx(6.0 / 150.0, rel=0.05)
    names = [one.name for one in read_record(report.record).head.instruments if one.identity]
    assert names == ["dmm", "psu", "eload"]


def test_nothing_is_switched_unless_the_cells_are_confirmed_out(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        hand = good_hand(served)
        hand.says = False
        report = run(tmp_path, served, hand)
        assert switched_on(served) == 0
    assert "every cell out" in next(one.because for one in report.scores if one.check == "BATT.idle_current")
    assert report.exit_code == 3


@pytest.mark.parametrize("key", ["current_limit", "idle_current", "input_capacitance"])
def test_without_what_first_power_needs_nothing_is_switched(tmp_path: Path, key: str) -> None:
    spec = "\n".join(line for line in SPEC.splitlines() if not line.startswith(key))
    with served_bench(TRUTH) as served:
        report = run(tmp_path, served, spec=spec)
        assert switched_on(served) == 0
    blocked = [one for one in report.scores if one.outcome is Outcome.BLOCKED]
    assert blocked
    assert all(f"gives no {key}" in one.because for one in blocked)


def test_a_short_to_ground_blocks_power(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        hand = good_hand(served, **{"V6.to_ground[red:VX]": 3.0})
        report = run(tmp_path, served, hand)
        assert switched_on(served) == 0
    assert scores(report)["BATT.idle_current"] == "blocked"
    assert report.exit_code == 1


def test_a_spec_above_the_ceiling_is_refused_before_anything_is_recorded_or_opened(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served, pytest.raises(SpecError, match="above the bench's ceiling of 1 A"):
        run(tmp_path, served, spec=SPEC.replace("700 mA", "1.5 A"))
    assert sent(served) == []
    assert not (tmp_path / "records").exists()


def test_a_unit_that_holds_the_limit_fails_and_power_stays_off(tmp_path: Path) -> None:
    with served_bench(TRUTH, resistance_ohm=5.0) as served:
        report = run(tmp_path, served)
        assert off(served)
    found = scores(report)
    assert found["BATT.idle_current"] == "fail"
    assert {found[name] for name in found if name.startswith("V6.voltage")} == {"blocked"}
    assert any(line.startswith("stopped: at the current limit:") for line in events(report))
    assert switched_on(served) <= 1


def test_a_rail_above_its_maximum_fails_and_switches_off(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        report = run(tmp_path, served, good_hand(served, **{"V6.voltage[0A]": 7.2}))
        assert off(served)
    found = scores(report)
    assert (found["V6.voltage[0A]"], found["V6.voltage[100mA]"]) == ("fail", "blocked")
    assert any("V6 is 7.2" in line and line.startswith("stopped:") for line in events(report))


def test_a_supply_in_trouble_is_an_error_never_a_fail_and_power_is_off(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:

        class Pulled(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == "V6.voltage[100mA]":
                    served.served.servers[1].faults = [Misbehaviour(Kind.DEVICE_ERROR, "CURR", times=1)]

        report = run(tmp_path, served, Pulled(unit=served.unit, at=good_hand(served).at))
        assert off(served)
    found = scores(report)
    assert found["V6.voltage[0A]"] == "pass"
    assert found["V6.voltage[100mA]"] == "error"
    assert report.exit_code == 4


def test_an_output_that_does_not_go_off_is_exit_code_five_and_said_in_the_record(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:

        class Stuck(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == "V6.voltage[0A]":
                    served.served.servers[1].faults = [Misbehaviour(Kind.OFF_IGNORED, times=-1)]

        report = run(tmp_path, served, Stuck(unit=served.unit, at=good_hand(served).at))
        served.served.servers[1].faults = []
        served.supply.handle("OUTP OFF", 1e9)
    assert report.exit_code == 5
    assert "switch the supply off by hand" in report.alarm
    assert any("switch the supply off by hand" in line for line in events(report))
    result = read_record(report.record).result
    assert result is not None
    assert result.exit_code == 5


class Vanishing(ScriptedHand):
    """Supply, meter and load are gone when a check is to be measured."""

    served: Served
    at_check = "V6.voltage[100mA]"

    def place(self, check: Check) -> Answer | None:
        if check.id == self.at_check:
            self.served.served.__exit__(None, None, None)
        return super().place(check)


def vanishing(served: Served) -> Vanishing:
    hand = Vanishing(unit=served.unit, at=good_hand(served).at)
    hand.served = served
    return hand


def test_instruments_that_vanish_under_power_are_exit_code_five_and_nothing_is_asked_any_more(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        hand = vanishing(served)
        report = run(tmp_path, served, hand)
    assert report.exit_code == 5
    assert "switch the supply off by hand" in report.alarm
    assert hand.done[-1] == "place V6.voltage[100mA]"
    told = events(report)
    assert any("OUTPUT STATE UNKNOWN: switch the supply off by hand" in line for line in told)
    assert not any(line.startswith("off (") for line in told)


def test_an_unknown_output_state_found_while_tending_stays_and_is_told_at_once(tmp_path: Path) -> None:
    """As at the guided screen: whoever is asked meanwhile answers something, and it must not go on from there."""
    lines: list[str] = []
    with served_bench(TRUTH) as served:
        hand = good_hand(served)
        made = source(served.bench(), hand)
        made.told = lines.append
        board = spec_board(tmp_path)
        made.prepare(draw_up(board, tuple(one.id for one in board.checks)))
        assert made.power is not None
        rail = board.by_id["V6.voltage[0A]"]
        wanted = wanted_for(rail, board)
        assert wanted is not None
        made.power.bring(wanted)
        assert made.power.feed is not None
        process = made.power.feed.keeper._process
        served.served.__exit__(None, None, None)
        SystemClock().sleep(2.2)  # long enough for the next look, and for the lease: the keeper ends by itself
        made.tend()
        assert made.power.alarm
        assert lines[-1] == "output state unknown: switch the supply off by hand, now"
        again = made.power.alarm
        for _ in range(2):
            made.tend()
            assert made.power.close() == again
        for check in (rail, board.by_id["BATT.residual_voltage"]):
            with pytest.raises(OutputStateUnknown, match="by hand"):
                made.answer(Step(check, 1, 9, Session()))
        with pytest.raises(OutputStateUnknown):
            made.power.bring(wanted)
        made.power.again()
        assert made.end() == again
        process.kill()  # it would go on trying for a minute
        process.wait(5.0)
    assert not any(line.startswith("power off") for line in lines)


def test_a_key_while_no_answer_comes_ends_the_wait_and_is_answered(tmp_path: Path) -> None:
    lines: list[str] = []
    pressed = [False]
    with served_bench(TRUTH) as served:
        made = source(served.bench(), good_hand(served))
        made.told, made.stop_asked = lines.append, lambda: pressed[0]
        board = spec_board(tmp_path)
        made.prepare(draw_up(board, tuple(one.id for one in board.checks)))
        assert made.power is not None
        wanted = wanted_for(board.by_id["V6.voltage[0A]"], board)
        assert wanted is not None
        made.power.bring(wanted)
        pressed[0] = True
        with pytest.raises(Stopped, match="a key was pressed"):
            made.power._waited(1.6)
        made.power._waited(0.1)  # an answer came
        pressed[0] = False
        made.power._waited(1.6)
        made.power._waited(1.9)
        assert [line for line in lines if "any key" in line] == [NO_ANSWER] * 2
        made.power.off("the test ends")
        made.power._waited(1.6)
        assert lines[-1] == STILL_OFF
        pressed[0] = True
        made.power._waited(1.9)  # nothing more can be done than switching off
        assert made.end() == ""


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_under_power_ends_the_visit_in_good_order(tmp_path: Path, how: signal.Signals) -> None:
    before = signal.getsignal(how)
    with served_bench(TRUTH) as served:

        class Interrupting(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == "V6.voltage[100mA]":
                    signal.raise_signal(how)

        report = run(tmp_path, served, Interrupting(unit=served.unit, at=good_hand(served).at))
        assert off(served)
    assert (report.exit_code, report.interrupted) == (130, True)
    assert signal.getsignal(how) == before
    assert "V6.voltage[0A]" in {one.check for one in read_record(report.record).readings}


def test_an_exception_under_power_switches_off(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:

        class Clumsy(ScriptedHand):
            def place(self, check: Check) -> None:
                if check.id == "V6.voltage[100mA]":
                    raise RuntimeError("dropped it")
                super().place(check)

        with pytest.raises(RuntimeError, match="dropped it"):
            run(tmp_path, served, Clumsy(unit=served.unit, at=good_hand(served).at))
        assert off(served)


@pytest.mark.parametrize("drawing", [True, False])
def test_without_a_load_on_the_link_a_dummy_load_is_confirmed_and_seen(tmp_path: Path, drawing: bool) -> None:
    with served_bench(TRUTH) as served:

        class Dummy(ScriptedHand):
            def confirm(self, question: str) -> bool:
                if "dummy load" in question:
                    drawn = drawing and "dummy load draw" in question
                    served.load.handle(f"CURR 0.1;:INP {'ON' if drawn else 'OFF'}", SystemClock().monotonic_s())
                return super().confirm(question)

        hand = Dummy(unit=served.unit, at=good_hand(served).at)
        linked = f'link = {{ resource = "{served.served.servers[2].resource}", dialect = "generic" }}'
        text = served.text.replace(linked, "")

        bench = load_bench(parse_document(text, "bench.toml"))
        report = conduct(tmp_path, bench, spec_board(tmp_path), hand)
        assert not served.supply.output  # the dummy load itself stays where somebody put it
    assert scores(report)["V6.voltage[100mA]"] == ("pass" if drawing else "blocked")
    if not drawing:
        because = next(one.because for one in report.scores if one.check == "V6.voltage[100mA]")
        assert "makes BATT draw at least 100 mA more, and it drew 0 mA more" in because
    asked = [line for line in hand.done if "dummy load" in line]
    assert asked[:2] == [
        "confirm No load can be driven from here: does a dummy load draw 100 mA from V6?",
        "confirm Is the dummy load off again?",
    ]


def test_a_soak_logs_and_its_end_is_off(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        hand = good_hand(served)
        hand.seen = {"ambient": "23.4"}
        report = conduct(tmp_path, served.bench(), spec_board(tmp_path), hand, soak=0.005)
        assert off(served)
    told = events(report)
    looks = [line for line in told if line.startswith("soak ") and " s: 6.0" in line]
    assert len(looks) == 2
    assert all("V6 6.01" in line and "23.4 degC" in line for line in looks)
    assert any(line.startswith("soak of 0.0 min: 40.") for line in told)


def test_before_a_soak_switches_are_set_and_tips_clipped_on_with_the_power_as_it_is(tmp_path: Path) -> None:
    spec = SPEC.replace("[rail.V6]", '[part.S1]\nkind = "switch"\nnets = ["BATT", "VX"]\nrest = "open"\n[rail.V6]')
    spec = spec.replace('tolerance = "5 %"', 'tolerance = "5 %"\nswitches = { S1 = "closed" }')
    with served_bench(TRUTH) as served:
        hand = good_hand(served)
        hand.seen = {"ambient": "23.4"}
        report = conduct(tmp_path, served.bench(), spec_board(tmp_path, spec), hand, soak=0.002)
        assert off(served)
    asked = [line for line in hand.done if "Soak:" in line]
    assert len(asked) == 2
    assert asked[1].startswith("confirm Soak: is the unit left with S1 closed, dmm clipped on, red to VX")
    assert hand.done[hand.done.index(asked[1]) - 1] == "place V6.voltage[0A]"  # and only then the first look
    assert any(line.startswith("soak of 0.0 min") for line in events(report))


def test_a_soak_stops_by_the_rules_of_power(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:

        class Drifting(ScriptedHand):
            def read(self, check: Check, meter: str) -> str:
                self.at = {**self.at, "V6.voltage[0A]": 6.9}
                return "23"

        hand = Drifting(unit=served.unit, at=good_hand(served).at)
        report = conduct(tmp_path, served.bench(), spec_board(tmp_path), hand, soak=0.2)
        assert off(served)
    assert any(line.startswith("soak stopped after") and "V6 is 6.9" in line for line in events(report))


def test_a_soak_is_no_way_around_what_must_be_in_order_before_power(tmp_path: Path) -> None:
    """A shorted rail keeps the checks from power; a soak asked for with them must not bring it after all."""
    with served_bench(TRUTH) as served:
        hand = good_hand(served, **{"V6.to_ground[red:VX]": 0.4})
        report = conduct(tmp_path, served.bench(), spec_board(tmp_path), hand, soak=0.005)
        assert off(served)
        assert switched_on(served) == 0
    assert any(line.startswith("no soak: not in order: V6.to_ground[red:VX]") for line in events(report))
    assert not [line for line in hand.done if "Soak:" in line]


@pytest.mark.parametrize("asked", ["Soak: will you stay", "Soak: is the unit left", "every cell out"])
def test_a_no_to_what_a_soak_asks_is_no_soak_and_the_visit_has_its_result(tmp_path: Path, asked: str) -> None:
    with served_bench(TRUTH) as served:

        class Reluctant(ScriptedHand):
            def confirm(self, question: str) -> bool:
                return ScriptedHand.confirm(self, question) and asked not in question

        hand = Reluctant(unit=served.unit, at=good_hand(served).at)
        report = conduct(tmp_path, served.bench(), spec_board(tmp_path), hand, soak=0.002)
        assert off(served)
    assert any(line.startswith("no soak: ") for line in events(report)), events(report)
    assert report.scores
    assert not report.interrupted


OFF = 'off_current = { max = "40 uA" }\n[rail.V6]'


def test_an_off_current_is_read_in_series_and_the_jack_is_asked_both_ways(tmp_path: Path) -> None:
    with served_bench({**TRUTH, Function.DC_CURRENT: 21.6e-6}) as served:
        hand = good_hand(served)
        report = run(tmp_path, served, hand, SPEC.replace("[rail.V6]", OFF))
        assert off(served)
        on_and_off = [message for message in sent(served) if "OUTP O" in message]
    assert scores(report)["BATT.off_current"] == "pass"
    reading = next(one for one in read_record(report.record).readings if one.check == "BATT.off_current")
    assert reading.meter == "dmm"
    assert reading.display.value == pytest.approx(21.6e-6, rel=0.02)
    asked = [line for line in hand.done if line.startswith("confirm ") or line == "place BATT.off_current"]
    assert [line[:34] for line in asked[-4:]] == [
        "confirm Output off: put dmm in ser",
        "place BATT.off_current",
        "confirm Through the bridge: was th",
        "confirm Output off: is dmm out of ",
    ]
    assert "BACK IN THE VOLTS JACK" in asked[-1]
    assert any("OUTP ON" in message for message in on_and_off)
    told = events(report)
    rewired = next(place for place, line in enumerate(told) if line.startswith("off (a meter goes in series)"))
    assert any("on: 6.000 V" in line for line in told[rewired:])
    assert any(line.startswith("off (the series meter comes out): output off") for line in told[rewired:])


def test_a_small_idle_current_is_not_believed_of_the_supply(tmp_path: Path) -> None:
    with served_bench({**TRUTH, Function.DC_CURRENT: 3.0e-4}, resistance_ohm=20e3) as served:
        spec = SPEC.replace("60 mA", "400 uA").replace("300 mA", "100 mA")
        report = run(tmp_path, served, spec=spec)
        assert off(served)
    reading = next(one for one in read_record(report.record).readings if one.check == "BATT.idle_current")
    assert (reading.meter, reading.meter_range) == ("dmm", "1m")


def test_a_display_of_nothing_in_series_is_asked_about(tmp_path: Path) -> None:
    with served_bench({**TRUTH, Function.DC_CURRENT: 0.0}) as served:

        class Honest(ScriptedHand):
            def confirm(self, question: str) -> bool:
                return "shows nothing" not in question

        hand = Honest(unit=served.unit, at=good_hand(served).at)
        report = run(tmp_path, served, hand, SPEC.replace("[rail.V6]", OFF))
        assert off(served)
    score = next(one for one in report.scores if one.check == "BATT.off_current")
    assert score.outcome is Outcome.BLOCKED
    assert "blown fuse" in score.because


def test_a_key_switches_off(tmp_path: Path) -> None:
    pressed: list[str] = []
    with served_bench(TRUTH) as served:

        class Pressing(ScriptedHand):
            def place(self, check: Check) -> None:
                super().place(check)
                if check.id == "V6.voltage[0A]":
                    pressed.append("x")

        hand = Pressing(unit=served.unit, at=good_hand(served).at)
        path = tmp_path / "bench.toml"
        path.write_text(served.text)

        def made(read: Bench) -> Source:
            one = source(read, hand)
            one.stop_asked = lambda: bool(pressed)
            return one

        unit = spec_board(tmp_path)
        request = Request("7", str(path), records=tmp_path / "records")
        report = Conduct(request, Silent(), made).run(unit, tuple(one.id for one in unit.checks))
        assert off(served)
    assert any(line == "stopped: a key was pressed" for line in events(report))
    assert (report.exit_code, report.interrupted) == (130, True)
    assert read_record(report.record).open  # what was read is kept, --resume goes on


def test_a_no_ends_nothing_and_is_asked_again(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:

        class Hesitant(ScriptedHand):
            def confirm(self, question: str) -> bool:
                self.done.append(f"confirm {question}")
                return sum("every cell" in line for line in self.done) != 1

        hand = Hesitant(unit=served.unit, at=good_hand(served).at)
        report = run(tmp_path, served, hand)
        assert off(served)
    found = scores(report)
    assert (found["BATT.idle_current"], found["BATT.inrush_time"]) == ("blocked", "pass")
    assert found["V6.voltage[0A]"] == "pass"


def test_power_that_ends_while_a_question_stands_stays_off_whatever_is_answered(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        asked: list[str] = []

        class Away(ScriptedHand):
            def confirm(self, question: str) -> bool:
                asked.append(question)
                power.stop(Stop(Rule.KEY, "a key was pressed"))
                return True

        board = spec_board(tmp_path)
        power = Power(board, served.bench(), Away(), SystemClock(), lambda *_: None, lambda _: None)
        wanted = wanted_for(next(one for one in board.checks if one.id == "BATT.idle_current"), board)
        assert wanted is not None
        with pytest.raises(PowerEnded, match="a key was pressed"):
            power.bring(wanted)
        assert len(asked) == 1
        assert switched_on(served) == 0


def test_once_nothing_is_left_to_ask_cells_and_wiring_are_confirmed_anew_before_power_comes_again(
    tmp_path: Path,
) -> None:
    """At the end of a visit cells may be put back; an answer taken back then must not bring power by itself."""
    with served_bench(TRUTH) as served:
        board, hand = spec_board(tmp_path), good_hand(served)
        instruments = source(served.bench(), hand)
        power = Power(board, served.bench(), hand, SystemClock(), lambda *_: None, lambda _: None)
        instruments.power = power
        wanted = wanted_for(next(one for one in board.checks if one.id == "BATT.idle_current"), board)
        assert wanted is not None
        try:
            power.bring(wanted)
            instruments.rest("tips go on with the power off")
            power.bring(wanted)
            asked = sum(one.startswith("confirm") for one in hand.done)
            assert asked == 2
            instruments.rest()
            assert off(served)
            hand.says = False
            with pytest.raises(UsageError, match="not confirmed"):
                power.bring(wanted)
            assert off(served)
        finally:
            power.close()


def test_a_wandering_idle_current_is_several_readings_and_no_reason_to_switch_off(tmp_path: Path) -> None:
    class Restless(PlainBench):
        """Draws 200 mA more each second, and from 230 mA on begins anew: 20 mA in a tenth of a second, for ever."""

        since_s = float("inf")

        def supply_point(self, now_s: float) -> OperatingPoint:
            point = super().supply_point(now_s)
            self.since_s = min(self.since_s, now_s) if self._source.on else float("inf")
            extra = 0.2 * max(0.0, now_s - self.since_s) % 0.23
            return OperatingPoint(point.voltage_volt, point.current_ampere + extra, point.limited)

    with served_bench(TRUTH, kind=Restless) as served:
        report = run(tmp_path, served)
        assert off(served)
    readings = [one for one in read_record(report.record).readings if one.check == "BATT.idle_current"]
    assert [one.repeat for one in readings] == [1, 2, 3, 4, 5]
    assert scores(report)["V6.voltage[0A]"] == "pass"


class Watching:
    """A person at a screen that captures the reading itself while it asks; notes what the load drew then."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self.drawn: dict[str, float] = {}

    def answer(self, step: Step) -> Answer:
        return Taken((read_typed(step.check, "yes" if step.check.answers else "1"),))

    def placed(self, step: Step) -> Answer:
        check, load = step.check, self.served.load
        self.drawn[check.id] = load.current_ampere if load.input else 0.0
        return Taken((read_typed(check, f"{GOOD.get(check.id, 0.002):.6g}", meter="dmm", origin=Origin.METERED),))


def test_a_screen_that_captures_while_it_asks_finds_the_load_drawn_already(tmp_path: Path) -> None:
    with served_bench(TRUTH) as served:
        person, hand = Watching(served), good_hand(served)
        path = tmp_path / "bench.toml"
        path.write_text(served.text)

        def made(read: Bench) -> Source:
            one = source(read, hand)
            one.typed, one.announce = person, person.placed
            return one

        unit = spec_board(tmp_path)
        request = Request("7", str(path), records=tmp_path / "records")
        report = Conduct(request, Silent(), made).run(unit, tuple(one.id for one in unit.checks))
        assert off(served)
    assert person.drawn["V6.voltage[0A]"] == 0.0
    assert person.drawn["V6.voltage[100mA]"] == pytest.approx(0.1)
    assert person.drawn["V6.voltage[0A:fresh]"] == 0.0
    assert scores(report)["V6.load_regulation"] == "pass"


@pytest.mark.parametrize(
    ("old", "new", "error", "words"),
    [
        ("TCPIP0::127.0.0.1::{port}::SOCKET", "TCPIP0:127.0.0.1", BenchError, "supply.psu.link.*is no VISA resource"),
        (
            "TCPIP0::127.0.0.1::{port}::SOCKET",
            "TCPIP0::127.0.0.1::1::SOCKET",
            InstrumentError,
            "supply.psu: does not",
        ),
        ('::{port}::SOCKET", dialect = "generic"', '::{port}::SOCKET"', BenchError, "is of no family known here"),
    ],
)
def test_a_supply_that_cannot_be_driven_is_refused_before_anything_is_recorded(
    tmp_path: Path, old: str, new: str, error: type[Exception], words: str
) -> None:
    with served_bench(TRUTH) as served:
        port = served.served.servers[1].port
        text = served.text.replace(old.format(port=port), new.format(port=port))
        bench = load_bench(parse_document(text, "bench.toml"))
        with pytest.raises(error, match=words):
            conduct(tmp_path, bench, spec_board(tmp_path), good_hand(served))
        assert switched_on(served) == 0
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize(
    "change",
    [
        ("hazards = []", 'hazards = ["mains"]'),
        ("hazards = []", ""),
        ("[rail.V6]\n", '[part.B1]\nkind = "battery"\ncell = "lithium-ion"\nfixed = true\n[rail.V6]\n'),
        ('voltage = "6 V"\ntolerance', 'voltage = "6 V"\npeak_voltage = "60 V"\ntolerance'),
    ],
)
def test_hazards_voltages_and_fixed_cells_keep_power_off_for_good(tmp_path: Path, change: tuple[str, str]) -> None:
    with served_bench(TRUTH) as served:
        spec = SPEC.replace(*change)
        assert spec != SPEC
        report = run(tmp_path, served, spec=spec)
        assert switched_on(served) == 0
        assert sent(served) == []  # nobody even asked who is there
    powered = [
        one for one in report.scores if report.checklist.board.by_id.get(one.check) and "voltage[" in one.check
    ]
    assert all(one.outcome is Outcome.BLOCKED for one in powered)


TWO = (
    SPEC
    + """\
[supply.AUX]
nets = { plus = "AUX", minus = "GND" }
voltage = "5 V"
current_limit = "500 mA"
start_current = "300 mA"
idle_current = { max = "60 mA" }
input_capacitance = "470 uF"
to_ground = { min = "50 ohm" }
"""
)


@pytest.mark.parametrize("own", [False, True], ids=["one bench supply", "one for each"])
def test_a_unit_with_two_supplies_is_fed_one_at_a_time_and_rewired_with_power_off(tmp_path: Path, own: bool) -> None:
    spec = TWO.replace('tolerance = "5 %"', 'tolerance = "5 %"\nsupply = "BATT"')
    at = {"AUX.residual_voltage": 0.0, "AUX.to_ground[red:AUX]": 150.0, "AUX.to_ground[red:GND]": 150.0}
    with served_bench(TRUTH) as served, served_bench(TRUTH) as other:
        text = served.text
        if own:
            more = (
                f'[supply.AUX]\nlink = {{ resource = "{other.served.servers[1].resource}", dialect = "generic" }}\n'
            )
            text = text.replace("[load.eload]", more + 'ceiling = { voltage = "6 V", current = "1 A" }\n[load.eload]')
        hand = good_hand(served, **at)
        report = conduct(tmp_path, load_bench(parse_document(text, "bench.toml")), spec_board(tmp_path, spec), hand)
        assert off(served)
        assert off(other)
        assert switched_on(other) == int(own)
    found = scores(report)
    assert (found["BATT.idle_current"], found["AUX.idle_current"], found["V6.voltage[100mA]"]) == ("pass",) * 3
    wired = [line.split(" wired to ")[1].split(",")[0] for line in hand.done if " wired to " in line]
    assert wired == (["BATT", "AUX"] if own else ["BATT", "AUX", "BATT"])
