"""The bench file's words arrive at the drivers as they were written."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError
from benchcheck.instruments.connection import LinkSettings, connect
from benchcheck.instruments.from_bench import keeper_settings, link_settings, meter_ranges
from benchcheck.instruments.power_keeper import PowerKeeper
from tests.instruments.rig import catalogue, running_rig

TEXT = """\
benchcheck_bench = 1
[meter.dmm]
class = "bench-5.5"
[meter.dmm.link]
resource = "ASRL/dev/ttyUSB9::INSTR"
dialect = "generic"
baud_rate = 115200
timeout = "3 s"
[supply.psu]
link = { resource = "SUPPLY", dialect = "generic" }
channel = 1
ceiling = { voltage = "12 V", current = "1 A" }
[load.eload]
link = { resource = "LOAD", dialect = "generic" }
"""


def test_link_ranges_and_ceilings_arrive() -> None:
    bench = load_bench(parse_document(TEXT, "bench.toml"))
    meter = bench.meters["dmm"]
    assert meter.link is not None
    settings = link_settings(meter.link)
    assert (settings.resource, settings.dialect) == ("ASRL/dev/ttyUSB9::INSTR", "generic")
    assert settings.overrides == {"baud_rate": 115200, "timeout_s": 3.0}
    assert {one.function for one in meter_ranges(meter)} >= {Function.OHMS, Function.DC_VOLTAGE, Function.DIODE}
    kept = keeper_settings(bench, "psu", "eload")
    assert kept.supply is not None
    assert kept.load is not None
    assert (kept.supply.ceiling.voltage_volt, kept.load.ceiling.current_ampere) == (12.0, 1.0)


def test_names_and_links_the_bench_has_not_are_refused() -> None:
    bench = load_bench(parse_document(TEXT.split("[load")[0].replace("link = {", "# {"), "bench.toml"))
    with pytest.raises(BenchError, match='is not on this bench; did you mean "psu"'):
        keeper_settings(bench, "psuu")
    with pytest.raises(BenchError, match="add a link"):
        keeper_settings(bench, "psu")


def test_a_bench_file_drives_the_simulated_bench_through_the_keeper() -> None:
    with running_rig() as rig:
        text = TEXT.replace("SUPPLY", rig.supply_server.resource).replace("LOAD", rig.load_server.resource)
        bench = load_bench(parse_document(text, "bench.toml"))
        with PowerKeeper(keeper_settings(bench, "psu", "eload")) as keeper:
            keeper.supply.set_current_limit(0.2)
        assert rig.supply.limit_ampere == 0.2


def test_a_timeout_of_the_bench_file_is_kept() -> None:
    with running_rig() as rig:
        settings = LinkSettings(rig.meter_server.resource, "generic", overrides={"timeout_s": 0.7})
        connection = connect("meter.dmm", "dmm", settings, catalogue(), rig.clock)
        rig.connections.append(connection)
        assert connection.link.manners.reply_timeout_ms == 700.0
