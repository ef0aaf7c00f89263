"""Under power: charging at constant current, the power balance, Ohm's and Kirchhoff's laws, what stays after off."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, Resistor
from benchcheck.kinds.supply import inrush_s
from benchcheck.simulation.powered import EFFICIENCY
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.simulation.world import Excitation, OperatingPoint, Sink, Source
from tests.simulation.units import board, demo, supplied

VOLTS = Excitation(Function.DC_VOLTAGE)


class Bench:
    """A unit on a supply, and time."""

    def __init__(self, unit: VirtualUnit) -> None:
        self.unit, self.now_s = unit, 100.0

    def on(self, volt: float = 6.0, limit: float = 0.3) -> None:
        self.unit.drive(Source(True, volt, limit), self.now_s)

    def off(self) -> None:
        self.unit.drive(Source(False), self.now_s)

    def load(self, rail: str, ampere: float) -> None:
        self.unit.connect_load(rail)
        self.unit.sink(Sink(ampere > 0, ampere), self.now_s)

    def after(self, delay_s: float) -> OperatingPoint:
        self.now_s += delay_s
        return self.unit.supply_point(self.now_s)

    def volts(self, red: str, black: str) -> float:
        self.unit.place_between(red, black)
        return self.unit.probed(VOLTS, self.now_s)

    def states(self, step_s: float, count: int) -> Iterator[OperatingPoint]:
        for _ in range(count):
            yield self.after(step_s)


def running(*faults: str, seed: int = 1, limit: float = 0.7, volt: float = 6.0) -> Bench:
    bench = Bench(VirtualUnit(demo(), faults, seed))
    bench.on(volt, 0.3)
    bench.after(1.0)
    bench.on(volt, limit)
    bench.after(0.2)
    return bench


def test_the_input_charges_at_the_limit_as_c_dv_is_i_dt() -> None:
    """dV/dt = I / C while the limit holds and nothing runs yet: 0.3 A into 470 uF, 638 V/s; any textbook."""
    bench = Bench(VirtualUnit(supplied()))
    bench.on()
    early, late = bench.after(1e-3), bench.after(2e-3)
    assert early.limited
    assert late.limited
    assert early.current_ampere == late.current_ampere == 0.3
    assert (late.voltage_volt - early.voltage_volt) / 2e-3 == pytest.approx(0.3 / 470e-6, rel=0.01)


def test_a_good_unit_leaves_constant_current_within_the_time_the_spec_computes() -> None:
    bench = Bench(VirtualUnit(demo(), seed=2))
    supply = demo().supplies["BATT"]
    expected = inrush_s(supply, demo().rails.values())
    assert expected is not None
    bench.on()
    held = sum(1 for point in bench.states(1e-3, 300) if point.limited) * 1e-3
    assert 0.5 * expected < held < 1.5 * expected


def test_idle_current_and_rails_lie_within_the_spec_at_every_supply_voltage() -> None:
    for volt in (6.0, 6.4, 4.4):
        bench = running(volt=volt)
        point = bench.after(0.1)
        assert point.voltage_volt == volt
        assert 0.0 < point.current_ampere < 0.06 * 6.0 / volt
        for name, rail in demo().rails.items():
            lower, upper = rail.spread.interval(rail.voltage)
            assert lower < bench.volts(rail.nets["plus"], rail.nets["minus"]) < upper, name


def test_load_current_comes_from_the_supply_by_the_power_balance() -> None:
    """Vin dI = Vout Iload / efficiency, the rail's sag being part of Vout."""
    bench = running()
    idle = bench.after(0.1).current_ampere
    bench.load("VSW", 0.12)
    loaded = bench.after(0.1)
    out = bench.volts("VSW", "GND")
    assert 6.0 * (loaded.current_ampere - idle) == pytest.approx(out * 0.12 / EFFICIENCY, rel=1e-3)


def test_a_resistor_across_a_rail_draws_what_ohms_law_says_and_stops_with_the_rail() -> None:
    bench = running()
    idle = bench.after(0.1)
    bench.unit.connect_dummy("VSW", 75.0)
    loaded = bench.after(0.1)
    volt = bench.volts("VSW", "GND")
    drawn = volt / 75.0
    assert loaded.current_ampere - idle.current_ampere == pytest.approx(volt * drawn / EFFICIENCY / 6.0, rel=1e-6)
    bench.unit.connect_dummy("VSW", math.inf)
    assert bench.after(0.1).current_ampere == pytest.approx(idle.current_ampere)


def test_a_linear_regulator_passes_its_load_current_on_to_the_rail_it_hangs_on() -> None:
    bench = running()
    idle = bench.after(0.1).current_ampere
    bench.load("V5", 0.05)
    extra = bench.after(0.1).current_ampere - idle
    assert 6.0 * extra == pytest.approx(bench.volts("VSW", "GND") * 0.05 / EFFICIENCY, rel=1e-3)


def test_rails_sag_with_their_load_within_the_regulation_asked_for() -> None:
    bench = running()
    at_rest = bench.volts("VSW", "GND")
    bench.load("VSW", 0.12)
    bench.after(0.1)
    full = bench.volts("VSW", "GND")
    assert 0.0 < (at_rest - full) / full < 0.02


def test_too_much_load_ends_in_the_limit_and_the_rail_breaks_down() -> None:
    bench = running(limit=0.3)
    bench.load("VSW", 0.5)
    states = list(bench.states(0.01, 100))
    assert any(point.limited for point in states)
    assert min(point.voltage_volt for point in states) < 4.4


def test_the_nets_inside_keep_kirchhoffs_law() -> None:
    """At FB the current through R13 is that through R14: nothing else takes any there."""
    bench = running()
    volts = {net: bench.volts(net, "GND") for net in ("VSW", "FB")}
    r13, r14 = (bench.unit.netlist.by_designator[name] for name in ("R13", "R14"))
    assert isinstance(r13, Resistor)
    assert isinstance(r14, Resistor)
    into, out = (volts["VSW"] - volts["FB"]) / r13.resistance_ohm, volts["FB"] / r14.resistance_ohm
    assert into == pytest.approx(out, rel=1e-3)


def test_the_feedback_divider_sets_the_rail() -> None:
    """V = Vfb (1 + R13 / R14): any data sheet of a boost converter."""
    bench = running(seed=9)
    r13, r14 = (bench.unit.netlist.by_designator[name] for name in ("R13", "R14"))
    assert isinstance(r13, Resistor)
    assert isinstance(r14, Resistor)
    assert bench.volts("VSW", "GND") == pytest.approx(
        1.25 * (1.0 + r13.resistance_ohm / r14.resistance_ohm), rel=2e-3
    )


def test_off_is_off_and_only_the_off_current_flows() -> None:
    bench = running()
    bench.unit.switch({"S1": "open"})
    point = bench.after(1.0)
    assert 0.0 < point.current_ampere < 40e-6
    assert not bench.unit.powered.running


def test_what_stays_after_off_bleeds_away_and_a_hand_takes_it_at_once() -> None:
    bench = running()
    bench.off()
    left = [abs(bench.volts("VSW", "GND")) for _ in bench.states(0.5, 20)]
    assert left[0] > 0.05
    assert left == sorted(left, reverse=True)
    bench.unit.discharge()
    assert bench.volts("VSW", "GND") == 0.0


def test_a_rail_bleeds_as_rc_has_it() -> None:
    """exp(-t / RC) with the divider of 4.3 kohm across 100 uF: 0.43 s; any textbook."""
    unit = VirtualUnit(supplied(), seed=3)
    bench = Bench(unit)
    bench.on()
    bench.after(1.0)
    bench.off()
    for _ in bench.states(0.1, 50):
        if not unit.powered.running:
            break
    before = bench.volts("OUT", "GND")
    bench.after(0.2)
    ohm = sum(
        one.resistance_ohm for one in unit.netlist.devices if isinstance(one, Resistor) and one.designator != "R1"
    )
    farad = sum(one.capacitance_f for one in unit.netlist.devices if isinstance(one, Capacitor) and one.plus == "OUT")
    assert bench.volts("OUT", "GND") / before == pytest.approx(math.exp(-0.2 / (ohm * farad)), rel=0.02)


@pytest.mark.parametrize("fault", ["C1 short", "C9 short", "C12 short", "bridge V5 GND", "Q2 short", "D1 short"])
def test_a_short_keeps_the_supply_in_its_limit(fault: str) -> None:
    bench = running(fault)
    point = bench.after(0.1)
    assert point.limited
    assert point.current_ampere == 0.7
    assert point.voltage_volt < 3.0
    assert all(abs(bench.volts(rail.nets["plus"], "GND")) < 1.0 for rail in demo().rails.values())


@pytest.mark.parametrize("fault", ["F1 open", "D3 open", "D3 reversed", "L1 open", "S1 open"])
def test_an_open_path_leaves_every_rail_dead(fault: str) -> None:
    bench = running(fault)
    assert not bench.after(0.1).limited
    assert all(abs(bench.volts(rail.nets["plus"], "GND")) < 0.5 for rail in demo().rails.values())


@pytest.mark.parametrize("fault", ["Q2 open", "R11 open", "Q2 missing-joint gate"])
def test_a_converter_that_stands_still_passes_the_battery_on(fault: str) -> None:
    volt = running(fault).volts("VSW", "GND")
    assert 5.0 < volt < 6.0


def test_a_regulator_that_is_open_kills_what_hangs_on_it_and_a_shorted_one_puts_its_input_there() -> None:
    opened, shorted = running("U2 open"), running("U2 short")
    assert opened.volts("VSW", "GND") > 8.6
    assert abs(opened.volts("V5", "GND")) < 0.5
    assert abs(opened.volts("V3", "GND")) < 0.5
    assert shorted.volts("V5", "GND") > 8.0


def test_a_reversed_electrolytic_shows_its_sign_and_draws_current() -> None:
    good, bad = running(), running("C9 reversed")
    for bench in (good, bad):
        bench.unit.place(demo().by_id["C9.bias"])
    assert good.unit.probed(VOLTS, good.now_s) > 8.0
    assert bad.unit.probed(VOLTS, bad.now_s) < -8.0
    assert bad.after(0.1).current_ampere > good.after(0.1).current_ampere + 0.03


def test_dry_capacitors_let_ripple_through() -> None:
    def ripple(*faults: str) -> float:
        bench = running(*faults)
        bench.unit.place(demo().by_id["VSW.ripple"])
        bench.load("VSW", 0.12)
        bench.after(0.1)
        return bench.unit.probed(Excitation(Function.AC_VOLTAGE), bench.now_s)

    assert 0.0 < ripple() < 0.02
    assert ripple("C9 dry", "C10 dry") > 0.06


NEGATIVE = """\
[supply.IN]
nets = { plus = "IN", minus = "GND" }
voltage = "9 V"
current_limit = "500 mA"
input_capacitance = "100 uF"
idle_current = { max = "30 mA" }
[rail.VN]
nets = { plus = "VN", minus = "GND" }
voltage = "-12 V"
tolerance = "5 %"
loads = ["0 A", "20 mA"]
[part.R1]
kind = "resistor"
value = "10k"
nets = ["VN", "GND"]
[part.R2]
kind = "resistor"
value = "10k"
nets = ["IN", "GND"]
"""


def test_a_negative_rail_reads_negative_from_plus_to_minus_as_the_spec_writes_it() -> None:
    bench = Bench(VirtualUnit(board(NEGATIVE)))
    bench.on(9.0)
    bench.after(1.0)
    assert bench.volts("VN", "GND") == pytest.approx(-12.0, rel=0.05)
    assert bench.volts("GND", "VN") == pytest.approx(12.0, rel=0.05)
    bench.load("VN", 0.02)
    assert bench.unit.load_point(bench.now_s).voltage_volt > 11.0


def test_a_board_without_a_supply_has_dead_terminals() -> None:
    unit = VirtualUnit(board('[part.R1]\nkind = "resistor"\nvalue = "1k"\nnets = ["A", "B"]\n'))
    unit.drive(Source(True, 5.0, 1.0), 1.0)
    assert unit.supply_point(2.0) == OperatingPoint(0.0, 0.0)
