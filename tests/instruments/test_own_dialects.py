"""Dialects of the user's own beside a bench file: commands for meter, supply and load, lines for a handheld."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.bench.load import load_bench
from benchcheck.bench.meter import Link
from benchcheck.clock import SystemClock
from benchcheck.errors import BenchError
from benchcheck.instruments.connection import connect
from benchcheck.instruments.from_bench import is_stream, link_settings, streaming_meter
from benchcheck.instruments.keeper_wire import KeeperSettings, PoweredInstrument, decode, encode, settings_from
from benchcheck.instruments.own_dialects import line_protocol
from benchcheck.instruments.power_keeper import PowerKeeper
from benchcheck.instruments.power_watch import OffState
from tests.instruments.rig import CEILING, catalogue, running_rig

BENCH = """\
benchcheck_bench = 1
[meter.hand]
class = "handheld-6000"
link = { resource = "ASRL/dev/ttyUSB0::INSTR", dialect = "tern", dialect_file = "mine.toml" }
"""
TERN = """\
[tern.lines]
pattern = '(?P<function>[A-Z]{3}) (?P<value>\\S+) ?(?P<unit>\\S*)'
overload = ["----"]
functions = { "RES" = "ohms", "DCV" = "dc_voltage" }
serial = { baud_rate = 2400, parity = "odd" }
[quick.link]
reply_timeout_ms = 500
"""


def linked(folder: Path, text: str, dialect: str = "tern") -> Link:
    (folder / "mine.toml").write_text(text)
    (folder / "bench.toml").write_text(BENCH.replace('"tern"', f'"{dialect}"'))
    link = load_bench(folder / "bench.toml").meters["hand"].link
    assert link is not None
    return link


def test_a_line_protocol_is_found_beside_the_bench_file(tmp_path: Path) -> None:
    link = linked(tmp_path, TERN)
    protocol = line_protocol(link)
    assert protocol is not None
    assert (protocol.overload, protocol.serial.baud_rate, protocol.serial.parity) == (("----",), 2400, "odd")
    assert is_stream(link)
    assert not is_stream(linked(tmp_path, TERN, "quick"))
    assert set(link_settings(link).own) == {"quick"}


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[tern.lines]\npatern = 'x'", 2, 'did you mean "pattern"'),
        ("[tern.lines]\npattern = '('", 2, "is not a regular expression"),
        ("[tern.lines]\npattern = '(?P<value>x)'", 2, 'has no group "unit"'),
        ('[tern.lines]\noverload = "OL"', 2, "is not a list of words"),
        ("[tern.lines]\nsilence_ms = -1", 2, "is not a time"),
        ('[tern.lines]\nencoding = "utf-77"', 2, "is not an encoding"),
        ("[tern.lines.serial]\nbaudrate = 9600", 2, 'did you mean "baud_rate"'),
        ('[tern.lines.serial]\nbaud_rate = "fast"', 2, "does not do; the usual is 9600"),
        ('[tern.lines.functions]\nRES = "omhs"', 2, 'did you mean "ohms"'),
        ("[tern]\nlines = 3", 2, "is no table"),
        ("[tern.lines]\n[tern.dmm]\nvdc = 'V?'", 2, "does not go with lines"),
        ("[turn.lines]", 0, 'there are turn; did you mean "turn"'),
        ("[tern", 1, ""),
    ],
)
def test_what_is_wrong_with_it_is_told_with_its_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    with pytest.raises(BenchError) as caught:
        is_stream(linked(tmp_path, text))
    (fault,) = str(caught.value).splitlines()
    assert said in fault
    assert fault.startswith(str(tmp_path / "mine.toml") + (f":{line}:" if line else ":"))


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    link = linked(tmp_path, "")
    (tmp_path / "mine.toml").unlink()
    with pytest.raises(BenchError, match=r"mine\.toml"):
        streaming_meter("meter.hand", link, SystemClock())


def test_faults_of_commands_are_told_too(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match=r'mine\.toml:2: tern\.psu\.set_w: .*did you mean "set_'):
        link_settings(linked(tmp_path, "[tern.psu]\nset_w = 'VSET {v}'"))


def test_a_supply_is_driven_in_a_dialect_of_the_users_own_by_the_keeper_too(tmp_path: Path) -> None:
    with running_rig() as rig:
        (tmp_path / "mine.toml").write_text('[terse.psu]\nset_v = "SOUR:VOLT {v}"\nget_v = "SOUR:VOLT?"\n')
        link = Link(rig.supply_server.resource, "terse", dialect_file=str(tmp_path / "mine.toml"))
        settings = KeeperSettings(PoweredInstrument("supply.psu", link_settings(link), CEILING))
        assert settings_from(decode(encode({"supply": settings.supply, "load": None, "dialects": {}}))) == settings
        connection = connect("supply.psu", "psu", link_settings(link), catalogue(), SystemClock())
        assert connection.dialect.psu.set_v == "SOUR:VOLT {v}"
        connection.close()
        keeper = PowerKeeper(settings)
        keeper.supply.set_voltage(3.0)
        assert any("SOUR:VOLT 3" in message for message in rig.supply.log)
        assert keeper.close().state is OffState.OFF
