"""Drivers against the simulated bench over real TCP: what they set is set, what they read is true, or they refuse."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.instruments.connection import LinkSettings, connect
from benchcheck.instruments.make_safe import make_safe
from benchcheck.instruments.power_supply import Ceiling, Mode, PowerSupply
from benchcheck.instruments.power_watch import OffState
from benchcheck.instruments.settling import SettleRule
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from tests.instruments.rig import BRISK, CEILING, TRUTH_OHM, Rig, catalogue, running_rig

QUICK = SettleRule(hold_s=0.03, timeout_s=1.0)


@pytest.fixture
def rig() -> Iterator[Rig]:
    with running_rig() as made:
        yield made


def powered(rig: Rig) -> PowerSupply:
    supply = rig.power_supply()
    supply.set_over_voltage(7.0)
    supply.set_current_limit(0.3)
    supply.set_voltage(6.0)
    supply.on()
    return supply


def test_a_series_reports_readings_range_test_current_and_function_that_applied(rig: Rig) -> None:
    series = rig.multimeter().measure(Function.OHMS, count=3, settle=QUICK)
    assert series.settled
    assert series.values == pytest.approx([TRUTH_OHM] * 3, rel=2e-4)
    assert (series.function, series.full_scale) == (Function.OHMS, 10e3)
    assert series.known_range is not None
    assert series.known_range.test_current_ampere == 1e-4


def test_a_fixed_range_is_used_or_refused(rig: Rig) -> None:
    meter = rig.multimeter()
    assert meter.measure(Function.OHMS, full_scale=100e3, settle=QUICK).full_scale == 100e3
    overloaded = meter.measure(Function.OHMS, full_scale=1e3, settle=QUICK)
    assert overloaded.overloaded
    assert overloaded.values == ()


def test_a_slow_climb_is_not_taken_for_settled() -> None:
    with running_rig() as rig:
        rig.meter.settling_s = 0.5
        series = rig.multimeter().measure(Function.OHMS, settle=SettleRule(hold_s=0.1, timeout_s=0.2))
    assert (series.settled, series.trend) == (False, "climbs")


def test_the_lead_null_is_taken_with_shorted_leads_only_and_travels_with_ohms(rig: Rig) -> None:
    meter = rig.multimeter()
    with pytest.raises(InstrumentError, match="leads are not shorted"):
        meter.null_leads()
    rig.bench.values[Function.OHMS] = 0.18
    null_ohm = meter.null_leads()
    assert null_ohm == pytest.approx(0.18, abs=0.005)
    assert meter.measure(Function.OHMS, settle=QUICK).lead_null_ohm == null_ohm
    assert meter.measure(Function.DIODE, settle=QUICK).lead_null_ohm is None


def test_a_function_changed_at_the_keys_spoils_the_series(rig: Rig) -> None:
    meter = rig.multimeter()
    meter.measure(Function.OHMS, settle=QUICK)
    rig.meter.manner.answer_text["SENS:FUNC?"] = '"VOLT"'
    rig.meter.manner.answer_text["FUNC?"] = '"VOLT"'
    with pytest.raises(InstrumentError, match="says that it measures VOLT, not ohms"):
        meter.measure(Function.OHMS, settle=QUICK)


def test_a_meter_restarted_amid_a_series_spoils_it_and_is_set_up_again_for_the_next(rig: Rig) -> None:
    meter = rig.multimeter()
    meter.measure(Function.OHMS, settle=QUICK)
    rig.meter_server.faults.append(Misbehaviour(Kind.RESTARTS, match="READ", skip=2))
    with pytest.raises(InstrumentError, match="switched off and on"):
        meter.measure(Function.OHMS, count=3, settle=QUICK)
    assert meter.measure(Function.OHMS, settle=QUICK).values == pytest.approx([TRUTH_OHM], rel=2e-4)


def test_a_function_the_meter_has_not_is_refused(rig: Rig) -> None:
    with pytest.raises(InstrumentError, match="has no function esr"):
        rig.multimeter().measure(Function.ESR)


def test_an_unknown_command_is_explained_by_the_error_queue(rig: Rig) -> None:
    meter = rig.multimeter()
    with pytest.raises(InstrumentError, match=r"-113, .*not understood"):
        meter.ask("MEAS:HUM?")


def test_settings_are_made_and_seen(rig: Rig) -> None:
    supply = powered(rig)
    found = supply.settings()
    assert (found.voltage_volt, found.limit_ampere, found.over_voltage_volt) == (6.0, 0.3, 7.0)
    assert (rig.supply.voltage_volt, rig.supply.limit_ampere) == (6.0, 0.3)
    point = supply.steady(SettleRule(hold_s=0.05, relative=0.01))
    assert point.voltage_volt == pytest.approx(6.0, rel=1e-6)
    assert point.current_ampere == pytest.approx(6.0 / 220.0, rel=1e-6)
    assert point.mode is Mode.VOLTAGE


def test_nothing_above_the_ceiling_is_ever_sent(rig: Rig) -> None:
    supply, load = rig.power_supply(), rig.electronic_load()
    before = len(rig.supply.log) + len(rig.load.log)
    for call, value in ((supply.set_voltage, 12.01), (supply.set_current_limit, 1.01), (load.set_current, 1.01)):
        with pytest.raises(BenchError, match="ceiling of this bench"):
            call(value)
    with pytest.raises(BenchError, match="ceiling of this bench"):
        supply.set_voltage(-1.0)
    assert len(rig.supply.log) + len(rig.load.log) == before


def test_an_unknown_supply_is_read_but_not_driven(rig: Rig) -> None:
    supply = rig.power_supply(dialect="")
    assert supply.measure().voltage_volt == pytest.approx(0.0, abs=1e-3)
    before = [message for message in rig.supply.log if "?" not in message.split(";")[0]]
    for call in (supply.on, supply.off, lambda: supply.set_voltage(1.0), lambda: supply.set_current_limit(0.1)):
        with pytest.raises(BenchError, match="read but not driven"):
            call()
    assert [message for message in rig.supply.log if "?" not in message.split(";")[0]] == before


def test_the_output_is_not_switched_on_before_limit_and_voltage_were_set_from_here(rig: Rig) -> None:
    supply = rig.power_supply()
    supply.set_voltage(6.0)
    with pytest.raises(InstrumentError, match="set them first"):
        supply.on()
    assert not rig.supply.output


def test_a_refused_setting_says_what_the_supply_said(rig: Rig) -> None:
    supply = powered(rig)
    with pytest.raises(InstrumentError, match=r"-222, .*did not happen"):
        supply.set_voltage(9.0)
    assert rig.supply.voltage_volt == 6.0


def test_a_setting_that_is_not_taken_is_noticed(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply_server.faults.append(Misbehaviour(Kind.SETTINGS_IGNORED, times=-1))
    with pytest.raises(InstrumentError, match="reads back 6 V"):
        supply.set_voltage(5.0)


def test_clearing_a_protection_leaves_the_output_off_even_where_clearing_restores_it(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply.manner.clear_restores = True
    rig.supply.over_voltage_volt = 1.0
    SystemClock().sleep(0.05)
    assert supply.tripped()
    rig.supply.over_voltage_volt = 7.0
    with pytest.raises(InstrumentError, match="it is off again"):
        supply.clear_protection()
    assert not rig.supply.output
    assert rig.supply.voltage_volt <= 0.5


def test_a_restarted_supply_is_an_error_until_it_is_acknowledged_and_needs_its_settings_again(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply.power_cycle()
    with pytest.raises(InstrumentError, match="switched off and on"):
        supply.measure()
    with pytest.raises(InstrumentError, match="switched off and on"):
        supply.set_voltage(6.0)
    supply.acknowledge_restart()
    with pytest.raises(InstrumentError, match="set them first"):
        supply.on()


def test_an_idle_disconnect_is_mended_before_the_next_question(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply_server.faults.append(Misbehaviour(Kind.CLOSES_AFTER))
    supply.measure()
    SystemClock().sleep(0.02)
    assert supply.measure().voltage_volt > 0.0
    assert rig.supply.output  # nothing in SCPI ties an output to a connection


def test_the_load_sinks_what_it_is_set_to(rig: Rig) -> None:
    supply, load = powered(rig), rig.electronic_load()
    load.set_constant_current()
    load.set_current(0.12)
    load.on()
    SystemClock().sleep(0.02)
    assert load.measure().current_ampere == pytest.approx(0.12, rel=1e-6)
    assert supply.measure().current_ampere == pytest.approx(0.12 + 6.0 / 220.0, rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "state"),
    [(None, OffState.OFF), (Kind.MISSING, OffState.UNKNOWN), (Kind.OFF_IGNORED, OffState.UNKNOWN)],
)
def test_making_safe_never_raises_and_never_says_off_of_what_is_on(
    rig: Rig, kind: Kind | None, state: OffState
) -> None:
    supply, load = powered(rig), rig.electronic_load()
    if kind is not None:
        rig.supply_server.faults.append(Misbehaviour(kind, times=-1))
    report = make_safe(supply, load, fall_s=1.0)
    assert report.state is state
    assert rig.supply.output is (kind is Kind.OFF_IGNORED)


def test_the_blind_command_reaches_a_supply_that_owes_an_answer(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply_server.faults.append(Misbehaviour(Kind.LATE, amount=0.4))
    supply.explains = False
    with pytest.raises(InstrumentError):
        supply.measure()
    assert supply.off_blind()
    SystemClock().sleep(0.6)
    assert not rig.supply.output


@pytest.mark.parametrize(
    ("resource", "text"),
    [("TCPIP0::127.0.0.1::SOCKET::9", "is no VISA resource"), ("nonsense", "is no VISA resource")],
)
def test_a_resource_that_does_not_parse_is_refused_with_an_example(resource: str, text: str) -> None:
    with pytest.raises(BenchError, match=text):
        connect("meter.dmm", "dmm", LinkSettings(resource, "generic"), catalogue(), SystemClock())


def test_a_refused_port_is_told_within_two_seconds() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, not listening: refuses
        port = taken.getsockname()[1]
        settings = LinkSettings(f"TCPIP0::127.0.0.1::{port}::SOCKET", "generic")
        began_s = SystemClock().monotonic_s()
        with pytest.raises(InstrumentError, match=r"does not answer .*check power, cable and the resource"):
            connect("meter.dmm", "dmm", settings, catalogue(), SystemClock())
        assert SystemClock().monotonic_s() - began_s < 2.0


def test_a_second_owner_in_another_process_is_kept_out(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchcheck.instruments.connection.LOCK_WAIT_S", 0.1)
    rig.multimeter()
    with pytest.raises(InstrumentError, match="another process on this machine"):
        rig.multimeter()  # a lock is per open file, so a second opening counts as another owner


def test_a_channel_the_supply_has_not_is_refused(rig: Rig) -> None:
    with pytest.raises(BenchError, match="2 is none of the supply's 1"):
        PowerSupply(rig.connect("supply.psu", "psu", rig.supply_server), CEILING, channel=2)


def test_an_instrument_that_takes_one_command_a_message_is_found_out_and_noted(rig: Rig) -> None:
    rig.supply_server.faults.append(Misbehaviour(Kind.HEADER_UNKNOWN, match=";", times=-1))
    supply = rig.power_supply()
    assert any("one command a message" in note for note in supply.notes)
    supply.set_current_limit(0.2)
    assert rig.supply.limit_ampere == 0.2


def test_what_a_supply_does_not_answer_is_noted_and_done_without(rig: Rig) -> None:
    rig.supply_server.faults.append(Misbehaviour(Kind.HEADER_UNKNOWN, match="STAT:QUES", times=-1))
    supply = rig.power_supply()
    assert not supply.can("mode")
    assert "does not answer STAT:QUES:COND?" in supply.notes
    assert supply.measure().mode is Mode.UNKNOWN


def test_errors_of_an_earlier_user_are_kept_at_connecting_and_not_blamed_on_the_next_command(rig: Rig) -> None:
    rig.supply.push_error(-222, "Data out of range")
    supply = PowerSupply(rig.connect("supply.psu", "psu", rig.supply_server), Ceiling(12.0, 1.0))
    assert [entry.code for entry in supply.errors_found] == [-222]
    supply.set_voltage(1.0)


def test_an_own_watchdog_is_armed_before_power_and_disarmed_after(rig: Rig) -> None:
    arm = "OUTP:PROT:WDOG:DEL 3;:OUTP:PROT:WDOG ON"
    watched = {"link": BRISK, "psu": {"watchdog": arm, "watchdog_off": "OUTP:PROT:WDOG OFF"}}
    settings = LinkSettings(rig.supply_server.resource, "watched")
    made = connect("supply.psu", "psu", settings, catalogue().extended({"watched": watched}), rig.clock)
    rig.connections.append(made)
    supply = PowerSupply(made, CEILING)
    supply.set_current_limit(0.3)
    supply.set_voltage(6.0)
    supply.on()
    supply.off()
    sent = [message.split(";*")[0] for message in rig.supply.log]
    arming = next(n for n, message in enumerate(sent) if message.startswith(arm))
    assert arming < next(n for n, message in enumerate(sent) if message.startswith("OUTP ON"))
    assert sent[-1].startswith("OUTP:PROT:WDOG OFF")


def test_a_slow_instrument_stands_still_too(rig: Rig) -> None:
    supply = powered(rig)
    rig.supply.manner.extra_delay_s["MEAS:VOLT?"] = 0.06
    assert supply.steady(SettleRule(hold_s=0.1, relative=0.01, timeout_s=2.0)).voltage_volt == pytest.approx(6.0)
