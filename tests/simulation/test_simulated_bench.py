"""The whole bench over real sockets through pyvisa-py: what the instruments show is what the unit is."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from dataclasses import replace

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.clock import FakeClock, SystemClock
from benchcheck.document import parse_document
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.connection import connect
from benchcheck.instruments.from_bench import link_settings, meter_ranges
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.instruments.power_supply import Ceiling, PowerSupply
from benchcheck.instruments.settling import SettleRule
from benchcheck.simulation.hand import excitation_of
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from benchcheck.simulation.simulated_bench import SimulatedBench, fragment_of, front_ranges
from benchcheck.simulation.supply_front import ReadBack
from tests.simulation.units import demo

QUICK = SettleRule(hold_s=0.02, relative=0.001)


@pytest.fixture(scope="module")
def served() -> Iterator[SimulatedBench]:
    with SimulatedBench(demo(), seed=11, pace=1e4) as bench:
        yield bench


@pytest.fixture
def meter(served: SimulatedBench) -> Iterator[Multimeter]:
    described = served.bench.meters["dmm"]
    assert described.link is not None
    made = connect("dmm", "dmm", link_settings(described.link), shipped_catalogue(), SystemClock())
    yield Multimeter(made, meter_ranges(described))
    made.close()


@pytest.fixture
def supply(served: SimulatedBench) -> Iterator[PowerSupply]:
    described = served.bench.supplies["psu"]
    assert described.link is not None
    made = connect("psu", "psu", link_settings(described.link), shipped_catalogue(), SystemClock())
    yield PowerSupply(made, Ceiling(12.0, 1.0))
    made.close()


@pytest.mark.parametrize(
    "name", ["R13.resistance", "D3.forward_drop", "C9.capacitance", "U1.pin[fb:ground]", "F1.resistance"]
)
def test_a_reading_lies_within_the_specification_the_score_will_use(
    served: SimulatedBench, meter: Multimeter, name: str
) -> None:
    check = demo().by_id[name]
    served.hand.place(check)
    series = meter.measure(check.function, settle=QUICK)
    assert series.settled
    each = served.bench.range_for(check.function, series.values[0])
    assert each is not None
    assert series.full_scale in (None, pytest.approx(each.full_scale))  # diode mode does not say its range
    true = served.unit.settled(check, excitation_of(each))
    assert abs(series.values[0] - true) <= each.half_width(true) + 0.002 * abs(true)


def test_overload_is_a_state_and_the_probes_in_the_air_are_open(served: SimulatedBench, meter: Multimeter) -> None:
    served.hand.lift()
    assert meter.measure(Function.OHMS, settle=QUICK).overloaded
    assert meter.measure(Function.DC_VOLTAGE, settle=QUICK).values[0] == pytest.approx(0.0, abs=1e-3)


def test_a_bigger_capacitor_is_seen_to_charge() -> None:
    clock = FakeClock()
    with (
        SimulatedBench(demo(), seed=11, pace=1.0, clock=clock) as slow,
        socket.create_connection(("127.0.0.1", slow.servers[0].port), timeout=5.0) as client,
    ):
        slow.hand.place(demo().by_id["C9.leakage_screen"])
        shown = [float(ask(client, "MEAS:RES?"))]
        for _ in range(40):
            clock.sleep(5.0)
            shown.append(float(ask(client, "READ?")))
    assert shown == sorted(shown)
    assert shown[2] < 0.5 * shown[-1]
    assert shown[-1] == pytest.approx(shown[-2], rel=1e-3)


def test_the_supply_starts_the_unit_and_its_rails_are_there(
    served: SimulatedBench, meter: Multimeter, supply: PowerSupply
) -> None:
    supply.off()
    supply.set_over_voltage(7.0)
    supply.set_current_limit(0.3)
    supply.set_voltage(6.0)
    supply.on()
    point = supply.steady()
    assert point.voltage_volt == pytest.approx(6.0, abs=0.01)
    assert 0.0 < point.current_ampere < 0.06
    served.hand.place(demo().by_id["VSW.voltage[0A]"])
    assert meter.measure(Function.DC_VOLTAGE, settle=QUICK).values[0] == pytest.approx(9.0, rel=0.04)
    supply.off()
    served.hand.discharge()
    assert meter.measure(Function.DC_VOLTAGE, settle=QUICK).values[0] == pytest.approx(0.0, abs=1e-3)


def ask(client: socket.socket, message: str) -> str:
    client.sendall(message.encode() + b"\n")
    data = b""
    while not data.endswith(b"\n"):
        piece = client.recv(4096)
        if not piece:
            break
        data += piece
    return data.decode().strip()


def test_constant_current_shows_in_the_status_and_errors_in_the_queue() -> None:
    with (
        SimulatedBench(demo(), ["C1 short"], seed=2) as bench,
        socket.create_connection(("127.0.0.1", bench.servers[1].port), timeout=3.0) as client,
    ):
        shown = float(ask(client, "CURR 0.3;:VOLT 6;:OUTP ON;:MEAS:CURR?"))
        assert abs(shown - 0.3) <= 0.002 * 0.3 + 10e-3  # what the bench says of a read-back, class `readback`
        assert int(ask(client, "STAT:QUES:COND?")) & 1
        assert float(ask(client, "MEAS:VOLT?")) < 0.5
        assert ask(client, "SYST:ERR?") == '0,"No error"'
        assert ask(client, "VOLT 99;:SYST:ERR?").startswith("-222")


def test_over_voltage_latches_until_it_is_cleared() -> None:
    clock = FakeClock()
    with (
        SimulatedBench(demo(), seed=2, clock=clock) as bench,
        socket.create_connection(("127.0.0.1", bench.servers[1].port), timeout=3.0) as client,
    ):
        assert ask(client, "CURR 0.7;:VOLT 6;:OUTP ON;:OUTP?") == "1"
        clock.sleep(1.0)
        assert float(ask(client, "MEAS:VOLT?")) == pytest.approx(6.0, abs=0.016)
        ask(client, "VOLT 4;:VOLT:PROT 5;:OUTP?")  # the unit's input still holds 6 V
        assert ask(client, "VOLT:PROT:TRIP?;:OUTP?") == "1;0"
        assert ask(client, "OUTP ON;:SYST:ERR?").startswith("-221")
        assert ask(client, "OUTP:PROT:CLE;:VOLT:PROT:TRIP?;:OUTP?") == "0;0"


@pytest.mark.parametrize(
    "fault",
    [
        Misbehaviour(Kind.MISSING),
        Misbehaviour(Kind.GARBLED),
        Misbehaviour(Kind.NUMBER_BEFORE, match="MEAS"),
        Misbehaviour(Kind.CLOSES_AMID),
        Misbehaviour(Kind.RESTARTS, match="MEAS"),
    ],
    ids=lambda fault: fault.kind.name,
)
def test_misbehaviour_is_switched_on_per_bench_and_no_wrong_number_gets_through(fault: Misbehaviour) -> None:
    check = demo().by_id["R14.resistance"]
    with SimulatedBench(demo(), seed=11) as bench:
        described = bench.bench.meters["dmm"]
        assert described.link is not None
        bench.hand.place(check)
        made = connect("dmm", "dmm", link_settings(described.link), shipped_catalogue(), SystemClock())
        meter = Multimeter(made, meter_ranges(described))
        # brisk only from here on: getting to know an honest meter may take as long as a busy machine needs
        brisk = replace(made.link.manners, reply_timeout_ms=150, reading_timeout_ms=400, quiet_ms=20)
        made.link.set_manners(brisk)
        bench.servers[0].faults.append(fault)
        try:
            series = meter.measure(Function.OHMS, settle=QUICK)
            shown = series.values if series.settled else ()  # what does not stand still is nobody's reading
        except InstrumentError:
            shown = ()
        finally:
            made.close()
        assert [value for value in shown if value != pytest.approx(3900.0, rel=0.02)] == []
        assert fault.struck


def test_misbehaviour_can_be_given_from_the_start() -> None:
    with (
        SimulatedBench(demo(), misbehaviour=[("supply", Misbehaviour(Kind.CRLF, times=-1))]) as bench,
        socket.create_connection(("127.0.0.1", bench.servers[1].port), timeout=3.0) as client,
    ):
        client.sendall(b"*OPC?\n")
        assert client.recv(100) == b"1\r\n"


def test_only_what_is_served_is_linked_and_nothing_real() -> None:
    text = (
        "benchcheck_bench = 1\n"
        '[meter.dmm]\nclass = "handheld-6000"\n'
        '[meter.other]\nclass = "bench-6.5"\nlink = { resource = "TCPIP0::192.0.2.7::5025::SOCKET" }\n'
        '[supply.psu]\nceiling = { voltage = "12 V", current = "1 A" }\n'
        'link = { resource = "TCPIP0::192.0.2.8::5025::SOCKET", dialect = "generic" }\n'
    )
    own: Bench = load_bench(parse_document(text, "bench.toml", error=BenchError))
    with SimulatedBench(demo(), bench=own) as bench:
        other, psu = bench.bench.meters["other"], bench.bench.supplies["psu"]
        assert other.link is None
        assert psu.link is not None
        assert "127.0.0.1" in psu.link.resource
        assert fragment_of(bench.names, bench.resources, own=True).count("link =") == 2
        assert len(front_ranges(own.meters["dmm"])) == len(own.meters["dmm"].ranges)


def test_the_fragment_to_paste_is_a_bench_file() -> None:
    with SimulatedBench(demo()) as bench:
        found = load_bench(parse_document(fragment_of(bench.names, bench.resources), "b.toml", error=BenchError))
        assert {"dmm": bench.resources[0]} == {n: m.link.resource for n, m in found.meters.items() if m.link}
        assert found.supplies["psu"].ceiling.voltage_v == 12.0


@pytest.mark.parametrize(
    ("function", "fraction", "counts"), [(Function.DC_VOLTAGE, 0.001, 10e-3), (Function.DC_CURRENT, 0.002, 10e-3)]
)
def test_a_read_back_errs_within_its_specification_and_always_alike(
    function: Function, fraction: float, counts: float
) -> None:
    """The limits are those the class `readback` states: 0.1 % + 10 mV, 0.2 % + 10 mA."""
    supply = default_bench().supplies["psu"].readback
    made = [ReadBack(front_ranges(supply), seed, "psu") for seed in range(60)]
    for value in (0.0, 0.0451, 0.7, 2.345, 9.0):
        errors = [one.shown(function, value) - value for one in made]
        assert max(map(abs, errors)) <= fraction * value + counts + 1e-9
        assert max(errors) - min(errors) > 0.8 * counts
        assert [one.shown(function, value) - value for one in made] == errors
    assert ReadBack().shown(function, 0.0451) == 0.0451
