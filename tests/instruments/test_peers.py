"""Peers no one here wrote: simulated devices for the drivers, independent clients for the simulator.

Devices: `pyvisa-sim` with its shipped default devices, `sinstruments` with `gepace`, `cryocon` and
`scpi-protocol`. Clients: Debian's
`sigrok-cli` and `lxi-tools`. Each test runs where its peer is installed.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.errors import InstrumentError
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.connection import Connection, LinkSettings, connect
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.instruments.power_supply import Ceiling, Mode, PowerSupply
from benchcheck.instruments.reply import read_number
from benchcheck.instruments.settling import SettleRule
from tests.instruments.rig import running_rig

CLOCK = SystemClock()
BRIEF = {"reply_timeout_ms": 400, "identify_timeout_ms": 800, "quiet_ms": 20}
FOUR = {"set_v": ":VOLT:IMM:AMPL {v}", "get_v": ":VOLT:IMM:AMPL?", "number": "%.3f", "ovp_set": "", "ovp_get": ""}
NOTHING = dict.fromkeys(("out", "mode", "ovp_tripped", "ocp_tripped", "meas_v", "meas_i"), "")
SIMULATED: dict[str, Any] = {
    "queue": {"link": {**BRIEF, "error_query": ":SYST:ERR?", "event_status": ""}, "psu": {**FOUR, **NOTHING}},
    "register": {
        "link": {**BRIEF, "error_query": ""},
        "psu": {
            **FOUR,
            **NOTHING,
            "set_i": ":CURR:IMM:AMPL {v}",
            "get_i": ":CURR:IMM:AMPL?",
            "out": "OUTP?",
            "on": "OUTP 1",
            "off": "OUTP 0",
        },
    },
    "pressure": {"link": {**BRIEF, "header_echo": True}, "dmm": {"vdc": ["SOUR1:SLEW:MODE LIN", "SENS1?"]}},
    "thermometer": {"link": {**BRIEF, "error_query": "", "event_status": ""}, "dmm": {"temperature": "INP? A"}},
}
CATALOGUE = shipped_catalogue().extended(SIMULATED)

needs_pyvisa_sim = pytest.mark.skipif(
    importlib.util.find_spec("pyvisa_sim") is None, reason="pyvisa-sim not installed"
)
needs_sinstruments = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("sinstruments", "gepace", "cryocon", "scpi")),
    reason="sinstruments, gepace, cryocon or scpi-protocol not installed",
)
needs_sigrok = pytest.mark.skipif(shutil.which("sigrok-cli") is None, reason="sigrok-cli not installed")
needs_lxi = pytest.mark.skipif(shutil.which("lxi") is None, reason="lxi-tools not installed")


def joined(resource: str, dialect: str, role: str, library: str = "") -> Connection:
    return connect("peer", role, LinkSettings(resource, dialect, library), CATALOGUE, CLOCK)


@needs_pyvisa_sim
@pytest.mark.parametrize(
    "resource", ["GPIB::4::INSTR", "USB::0x1111::0x2222::0x4444::INSTR", "TCPIP::localhost:4444::INSTR"]
)
def test_a_device_with_an_error_queue_over_any_message_interface(resource: str) -> None:
    connection = joined(resource, "queue", "psu", "@sim")
    try:
        assert connection.identity == "SCPI,MOCK,VERSION_1.0"
        assert any("one command a message" in note for note in connection.notes)
        supply = PowerSupply(connection, Ceiling(6.0, 1.0))
        supply.set_voltage(2.5)
        assert supply.link.query(":VOLT:IMM:AMPL?", read_number) == 2.5
        with pytest.raises(InstrumentError, match=r"1, .*Command error"):
            supply.set_voltage(0.5)  # its minimum is 1 V
    finally:
        connection.close()


@needs_pyvisa_sim
@pytest.mark.parametrize("resource", ["GPIB::9::INSTR", "ASRL2::INSTR"])
def test_a_device_with_a_status_register_is_checked_by_reading_back(resource: str) -> None:
    catalogue = CATALOGUE
    if resource.startswith("ASRL"):
        link = {**SIMULATED["register"]["link"], "write_term": "\r\n"}
        catalogue = CATALOGUE.extended({"register": {**SIMULATED["register"], "link": link}})
    connection = connect("peer", "psu", LinkSettings(resource, "register", "@sim"), catalogue, CLOCK)
    try:
        supply = PowerSupply(connection, Ceiling(6.0, 6.0))
        supply.off()
        supply.set_current_limit(1.5)
        supply.set_voltage(3.0)
        supply.on()
        assert supply.is_on()
        supply.off()
        assert not supply.is_on()
        with pytest.raises(InstrumentError, match="reads back 3 V"):
            supply.set_voltage(0.5)
    finally:
        connection.close()


@pytest.fixture(scope="module")
def devices(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A pressure controller and a temperature monitor, served over TCP by their own makers' simulator."""
    ports = (_free_port(), _free_port())
    config = tmp_path_factory.mktemp("devices") / "devices.yml"
    entry = "- class: {}\n  package: {}.simulator\n  name: {}\n  transports:\n  - type: tcp\n    url: :{}\n"
    names = (("Pace", "gepace"), ("CryoCon", "cryocon"))
    parts = [entry.format(kind, name, name, port) for (kind, name), port in zip(names, ports, strict=True)]
    config.write_text("devices:\n" + "".join(parts))
    command = [sys.executable, "-m", "sinstruments", "-c", str(config)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
        yield tuple(f"TCPIP0::127.0.0.1::{port}::SOCKET" for port in ports)  # type: ignore[misc]
        server.terminate()


def _free_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def patiently(resource: str, dialect: str) -> Connection:
    """Connect to a server that is just being started."""
    for _ in range(20):
        try:
            return joined(resource, dialect, "dmm")
        except InstrumentError:
            CLOCK.sleep(0.2)
    return joined(resource, dialect, "dmm")


@needs_sinstruments
def test_a_pressure_controller_that_echoes_its_headers(devices: tuple[str, str]) -> None:
    connection = patiently(devices[0], "pressure")
    try:
        assert connection.identity.startswith("GE Druck,PACE5000")
        assert connection.link.query("SENS1?", read_number) == pytest.approx(35.0, abs=0.6)
    finally:
        connection.close()


@needs_sinstruments
def test_a_temperature_monitor_that_writes_overload_as_dots(devices: tuple[str, str]) -> None:
    """It answers a random choice of numbers, dots and dashes, and makes callers wait that ask too soon."""
    connection = patiently(devices[1], "thermometer")
    try:
        meter = Multimeter(connection)
        seen = {meter.measure(Function.TEMPERATURE, settle=None).indications[0].text for _ in range(20)}
        values = {text for text in seen if text[0].isdigit()}
        assert values
        assert values <= {"11.456", "12.456", "13.456", "14.456"}
        assert seen - values <= {".......", "-------"}
    finally:
        connection.close()


@needs_lxi
def test_lxi_tools_read_the_simulator() -> None:
    with running_rig() as rig:
        port = str(rig.meter_server.port)
        found = subprocess.run(
            ["lxi", "scpi", "-a", "127.0.0.1", "-r", "-p", port, "*IDN?"],
            capture_output=True,
            text=True,
            timeout=20,
            check=True,
        )
        assert rig.meter.identity in found.stdout


@needs_sigrok
def test_sigrok_reads_the_simulated_meter() -> None:
    with running_rig() as rig:
        rig.meter.identity = "HEWLETT-PACKARD,34401A,0,10-5-2"
        found = _sigrok(f"scpi-dmm:conn=tcp-raw/127.0.0.1/{rig.meter_server.port}", "--samples", "3")
        values = [line.split()[1:3] for line in found.splitlines() if line.startswith("P1:")]
        assert len(values) == 3
        assert all(float(value) == pytest.approx(5.0, rel=1e-3) for value, _ in values[1:])


@needs_sigrok
def test_sigrok_reads_the_simulated_supply() -> None:
    with running_rig() as rig:
        rig.supply.identity = "HEWLETT-PACKARD,6632B,0,A.02.05"
        supply = rig.power_supply(dialect="generic")
        supply.set_current_limit(0.5)
        supply.set_voltage(5.0)
        supply.on()
        CLOCK.sleep(0.1)
        assert supply.steady(SettleRule(hold_s=0.02)).mode is Mode.VOLTAGE
        supply.close()
        found = _sigrok(f"scpi-pps:conn=tcp-raw/127.0.0.1/{rig.supply_server.port}", "--samples", "2")
        assert any("5.000" in line for line in found.splitlines())


def _sigrok(device: str, *words: str) -> str:
    done = subprocess.run(
        ["sigrok-cli", "-d", device, *words], capture_output=True, text=True, timeout=40, cwd=Path("/"), check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout
