"""What power needs and what a small current can show, as rules without instruments."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.shipped import meter_class
from benchcheck.document import parse_document
from benchcheck.errors import SpecError
from benchcheck.instruments.power_sequence import plan_power
from benchcheck.instruments.power_supply import Ceiling
from benchcheck.instruments.power_watch import Rule
from benchcheck.kinds.check import Limits, Phase
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.session.fed_readings import inrush_reading
from benchcheck.session.feed import SwitchedOn
from benchcheck.session.off_current import burden_volt, limit_problem, series_range, shows_nothing
from benchcheck.session.power_rules import refuse_above_ceiling, request_for, stop_for, supply_of_bench, wanted_for
from tests.factories import bench, check, reading, voltage
from tests.session.powered import SPEC, spec_board

CAPS = """\
[part.S1]
kind = "switch"
nets = ["BATT", "BSW"]
rest = "closed"
[part.C1]
kind = "electrolytic"
value = "470 uF"
rated_voltage = "16 V"
nets = { plus = "BSW", minus = "GND" }
[part.U2]
kind = "regulator"
voltage = "6 V"
nets = { input = "BATT", output = "VX", ground = "GND" }
dropout = { min = "0.2 V" }
load = "80 mA"
"""
OFF = 'off_current = { max = "40 uA", switches = { S1 = "open" } }\n'


def test_the_request_holds_what_the_spec_says_and_the_plan_starts_at_the_start_current(tmp_path: Path) -> None:
    unit = spec_board(tmp_path)
    wanted = wanted_for(unit.by_id["V6.voltage[100mA:fresh]"], unit)
    assert wanted is not None
    assert (wanted.voltage_volt, wanted.at, wanted.load_place, wanted.load_ampere) == (6.4, "fresh", "V6", 0.1)
    plan = plan_power(request_for(wanted, unit), Ceiling(12.0, 1.0))
    assert (plan.limit_ampere, plan.voltage_volt) == (0.3, 6.4)
    full = plan_power(request_for(wanted, unit, full_limit=True), Ceiling(12.0, 1.0))
    assert full.limit_ampere == 0.7


def test_dropout_is_read_at_the_lowest_voltage_with_the_load_on_the_output(tmp_path: Path) -> None:
    unit = spec_board(tmp_path, SPEC + CAPS)
    wanted = wanted_for(unit.by_id["U2.dropout"], unit)
    assert wanted is not None
    assert (wanted.voltage_volt, wanted.load_place, wanted.load_ampere) == (5.0, "V6", 0.08)


def test_only_a_linked_supply_powers_and_every_ceiling_is_kept(tmp_path: Path) -> None:
    text = 'benchcheck_bench = 1\n[supply.psu]\nceiling = { voltage = "6.2 V", current = "1 A" }\n'
    low = load_bench(parse_document(text, "bench.toml"))
    assert supply_of_bench(low) is None
    unit = spec_board(tmp_path)
    with pytest.raises(SpecError, match=r"6.4 V is above the bench's ceiling of 6.2 V"):
        refuse_above_ceiling(unit, low, unit.checks)
    refuse_above_ceiling(unit, low, [one for one in unit.checks if not one.powered])
    refuse_above_ceiling(unit, bench(), unit.checks)


@pytest.mark.parametrize(
    ("identity", "value", "limits", "rule"),
    [
        ("VSW.voltage", 9.5, (8.64, 9.36), Rule.OVER_VOLTAGE),
        ("VSW.voltage", -3.0, (8.64, 9.36), Rule.WRONG_SIGN),
        ("VSW.voltage", 8.0, (8.64, 9.36), None),
        ("VEE.voltage", -13.0, (-12.6, -11.4), Rule.OVER_VOLTAGE),
        ("VEE.voltage", 2.0, (-12.6, -11.4), Rule.WRONG_SIGN),
        ("C9.bias", -0.4, (0.0, 16.0), Rule.WRONG_SIGN),
        ("C9.bias", 5.0, (0.0, 16.0), None),
        ("Q5.gate_drive", 9.9, (4.5, None), None),
    ],
)
def test_a_reading_that_must_not_be_calls_for_off(
    identity: str, value: float, limits: tuple[float, float | None], rule: Rule | None
) -> None:
    one = voltage(identity, Phase.RAILS, *limits)
    stop = stop_for(one, [reading(one, f"{value} V")])
    assert (stop.rule if stop else None) is rule


def test_a_limit_below_what_standing_capacitors_leak_decides_nothing(tmp_path: Path) -> None:
    """0.01 C V of 470 uF and 16 V is 75 uA (Lelon RGA, Rubycon ZL; as in the kinds room)."""
    spec = SPEC.replace("[rail.V6]", OFF + "[rail.V6]", 1) + CAPS
    unit = spec_board(tmp_path, spec)
    one = unit.by_id["BATT.off_current"]
    assert limit_problem(one, unit, unit.supplies["BATT"]) == ""  # S1 open takes C1 off the supply
    closed = replace(one, switches=(("S1", "closed"),))
    problem = limit_problem(closed, unit, unit.supplies["BATT"])
    assert problem.startswith("C1 always stand on the supply and may leak 75 uA")
    raised = replace(closed, limits=Limits(None, 100e-6))
    assert limit_problem(raised, unit, unit.supplies["BATT"]) == ""


@given(st.floats(1e-6, 1e-2), st.floats(3.0, 12.0))
def test_a_series_range_holds_twice_the_limit_and_takes_little_of_the_supply(limit: float, volts: float) -> None:
    meter = bench("bench-5.5").meters["dmm"]
    one = check("BATT.off_current", Function.DC_CURRENT, Phase.OFF, limits=Limits(None, limit))
    chosen = series_range(one, meter, volts)
    assert chosen is not None
    assert chosen.ceiling >= 2.0 * limit
    burden = burden_volt(chosen, limit)
    assert burden is not None
    assert burden <= 0.02 * volts


def test_a_display_of_nothing_is_what_a_blown_fuse_shows() -> None:
    micro = next(one for one in meter_class("bench-5.5").ranges if one.function is Function.DC_CURRENT)
    assert shows_nothing(2e-9, micro)
    assert shows_nothing(-4e-9, micro), "0.05 % + 10 counts of 1 nA: open leads may show up to 10 nA"
    assert not shows_nothing(21.6e-6, micro)


def _inrush(earliest_s: float, latest_s: float, gap_s: float) -> Score:
    """36.7 ms is t; three times that the limit, as in the demo receiver."""
    one = check("BATT.inrush_time", Function.TIME, Phase.IDLE, limits=Limits(None, 0.110))
    reading_of = inrush_reading(one, SwitchedOn(earliest_s, latest_s, gap_s, 0.0367))
    return judge(one, (reading_of,), bench(), Session())


@pytest.mark.parametrize(
    ("earliest_s", "latest_s", "gap_s", "verdict"),
    [
        (0.034, 0.041, 0.007, "pass"),
        (0.150, 0.157, 0.007, "fail"),
        (0.0, 0.090, 0.090, "pass"),  # at most 90 ms is below the limit whenever it was
        (0.0, 0.300, 0.300, "undecided"),  # a slow machine says nothing against the unit
        (0.150, 0.400, 0.250, "undecided"),
    ],
)
def test_an_inrush_is_scored_only_where_polls_resolve_it(
    earliest_s: float, latest_s: float, gap_s: float, verdict: str
) -> None:
    score = _inrush(earliest_s, latest_s, gap_s)
    assert str(score.verdict) == verdict
    if verdict == "undecided":
        assert "at most" in score.because


@pytest.mark.parametrize(
    ("earliest_s", "latest_s", "gap_s", "lay"),
    [
        (0.0, 0.300, 0.300, "it was over by the first look after 300 ms: at most 300 ms"),
        (0.150, 0.400, 0.250, "it ended between the looks at 150 ms and 400 ms: at most 400 ms"),
    ],
)
def test_an_inrush_that_lay_between_two_polls_says_so_and_what_would_resolve_it(
    earliest_s: float, latest_s: float, gap_s: float, lay: str
) -> None:
    score = _inrush(earliest_s, latest_s, gap_s)
    apart = f"looks at the supply were up to {gap_s * 1e3:.0f} ms apart"
    assert score.because == f"{apart}, and {lay}; wanted is at most 110 ms"
    assert "no reading of time" not in score.because
    assert "read what the display shows" not in score.change
    assert score.code is Reason.METER
    assert "start_current" in score.change, "a lower limit charges longer, and is resolved then"
    assert "oscilloscope" in score.change
