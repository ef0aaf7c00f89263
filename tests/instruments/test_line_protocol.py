"""A handheld that streams lines: fresh lines only, one broken line passed over, wrong switch position told.

Line forms are those of text protocols in common use (common practice, no source).
"""

from __future__ import annotations

import os
import pty
import threading
import tty
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.clock import FakeClock, SystemClock
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.line_protocol import LineProtocol, StreamingMeter, build_line_protocol, read_line
from benchcheck.instruments.reply import IndicationState
from benchcheck.instruments.settling import SettleRule
from benchcheck.instruments.visa import visa_opener
from tests.instruments.fakes import FakeTransport

GENERIC = LineProtocol()
WORDS = build_line_protocol("words", {"functions": {"DC": "dc_voltage", "RES": "ohms", "DIO": "diode"}})


@pytest.mark.parametrize(
    ("line", "value", "unit"),
    [
        ("4.680 kOhm", 4680.0, "ohm"),
        ("RES 4.680kΩ", 4680.0, "ohm"),
        ("+0.5321 V", 0.5321, "V"),
        ("DC -532.1 mV", -0.5321, "V"),
        ("220.1 uF", 220.1e-6, "F"),
        ("23.4 °C", 23.4, "degC"),
        ("1.23E-3 A", 1.23e-3, "A"),
    ],
)
def test_a_line_gives_value_and_unit_in_si(line: str, value: float, unit: str) -> None:
    found = read_line(line, GENERIC, 0.0)
    assert found.indication.value == pytest.approx(value, rel=1e-12)
    assert found.quantity_unit == unit


@pytest.mark.parametrize("line", ["OL MOhm", "0L kΩ", "-OL V", "O.L Ohm", "RES OL MOhm"])
def test_overload_is_a_state(line: str) -> None:
    assert read_line(line, GENERIC, 0.0).indication.state is IndicationState.OVERLOAD


@pytest.mark.parametrize("line", ["", "4.68 kW", "4.6q8 kOhm", "hello", "4,68 kOhm", "4.68 4.68 V"])
def test_what_is_no_reading_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_line(line, GENERIC, 0.0)


@given(st.text(max_size=30))
def test_any_line_is_a_reading_or_refused(line: str) -> None:
    try:
        found = read_line(line, GENERIC, 0.0)
    except ValueError:
        return
    assert found.indication.value is not None or found.indication.state is IndicationState.OVERLOAD


def test_faults_of_a_protocol_are_told_together() -> None:
    data = {"patern": "x", "pattern": "(?P<value>.*)", "functions": {"RES": "omhs"}}
    with pytest.raises(BenchError) as caught:
        build_line_protocol("mine", data)
    text = str(caught.value)
    assert 'did you mean "pattern"' in text
    assert 'has no group "unit"' in text
    assert 'did you mean "ohms"' in text


def streaming(lines: list[str], protocol: LineProtocol = GENERIC, step_s: float = 0.2) -> StreamingMeter:
    """A meter that says its lines every `step_s`, the first of them before anybody asked."""
    clock = FakeClock()
    transport = FakeTransport(clock, lambda _: [])
    transport.queue = [(n * step_s, line.encode() + b"\r\n") for n, line in enumerate(lines)]
    return StreamingMeter("meter.hand", lambda: transport, protocol, clock)


def test_lines_from_before_the_question_do_not_count() -> None:
    meter = streaming(["9.999 V", "9.999 V"] + ["5.001 V"] * 8)
    assert meter.measure("V").indication.value == 5.001


def test_a_broken_line_is_passed_over_and_a_changed_digit_does_not_settle() -> None:
    meter = streaming(["5.001 V"] * 3 + ["5.q01 V", "9.001 V"] + ["5.001 V"] * 8)
    assert meter.measure("V").indication.value == 5.001


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        (["5.001 V"] * 9, "is set to measure V, not ohm"),
        (["@@@"] * 40, "sends nothing readable"),
        ([], "says nothing"),
        ([f"{1 + n / 10} kOhm" for n in range(60)], "does not stand still"),
    ],
)
def test_what_cannot_be_a_reading_is_an_error(lines: list[str], text: str) -> None:
    with pytest.raises(InstrumentError, match=text):
        streaming(lines).measure("ohm", settle=SettleRule(hold_s=0.5, timeout_s=6.0))


def test_the_function_the_meter_says_must_be_the_one_wanted() -> None:
    meter = streaming(["DIO 0.532 V"] * 9, WORDS)
    with pytest.raises(InstrumentError, match="is set to diode, not dc_voltage"):
        meter.measure("V", Function.DC_VOLTAGE)
    assert streaming(["DIO 0.532 V"] * 9, WORDS).measure("V", Function.DIODE).function is Function.DIODE


@pytest.fixture
def serial_line() -> Iterator[str]:
    pytest.importorskip("serial")
    master, slave = pty.openpty()
    tty.setraw(slave)
    going = threading.Event()
    clock = SystemClock()

    def talk() -> None:
        while not going.is_set():
            os.write(master, b"DC 5.001 V\r\n")
            clock.sleep(0.02)

    thread = threading.Thread(target=talk)
    thread.start()
    yield os.ttyname(slave)
    going.set()
    thread.join()
    os.close(slave)
    os.close(master)


def test_a_handheld_on_a_serial_line_is_read_through_visa(serial_line: str) -> None:
    opener = visa_opener("meter.hand", f"ASRL{serial_line}::INSTR", LinkManners())
    meter = StreamingMeter("meter.hand", opener, WORDS, SystemClock())
    try:
        found = meter.measure("V", Function.DC_VOLTAGE, SettleRule(hold_s=0.1, timeout_s=3.0))
    finally:
        meter.close()
    assert found.indication.value == 5.001
