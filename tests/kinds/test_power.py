"""Rails, supplies and the checks of parts that need power: limits, loads, formulas, and which way current flows."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Formula, Phase
from benchcheck.kinds.fields import Amperes, Farads, Ohms, Volts, Window
from benchcheck.kinds.mosfet import OnResistance
from benchcheck.kinds.rail import Rail, Ripple
from benchcheck.kinds.rail import checks as rail_checks
from benchcheck.kinds.supply import Supply, first_power_limit_a, inrush_s
from benchcheck.kinds.supply import checks as supply_checks
from benchcheck.quantity import Tolerance
from tests.kinds.boards import Around, checks_of, entry, one

PLUS, NEGATIVE = {"plus": "VCC", "minus": "GND"}, {"plus": "VEE", "minus": "GND"}


def rail(name: str = "VCC", **keys: Any) -> Rail:
    return Rail(**{"name": name, "nets": PLUS, "voltage": Volts(5.0), **keys})


def supply(**keys: Any) -> Supply:
    usual: dict[str, Any] = {
        "name": "BATT",
        "nets": {"plus": "BATT", "minus": "GND"},
        "voltage": Volts(6.0),
        "current_limit": Amperes(0.7),
        "input_capacitance": Farads(1200e-6),
        "idle_current": Window(max=Amperes(0.045)),
    }
    return Supply(**{**usual, **keys})


def of_rail(made: Rail, *supplies: Supply) -> dict[str, Check]:
    return {check.id: check for check in rail_checks(made, supplies, Around())}


def of_supply(made: Supply, *rails: Rail) -> dict[str, Check]:
    return {check.id: check for check in supply_checks(made, rails, Around())}


def tips(check: Check) -> tuple[str | None, str | None]:
    assert check.red is not None
    assert check.black is not None
    return check.red.net, check.black.net


def test_a_rail_without_loads_is_read_once_per_supply_voltage() -> None:
    found = of_rail(rail(), supply(voltages={"fresh": Volts(6.4), "nominal": Volts(6.0)}))
    assert [name for name in found if ".voltage" in name] == ["VCC.voltage", "VCC.voltage[fresh]"]
    assert "VCC.load_regulation" not in found


def test_loads_are_read_from_the_least_up_and_regulation_takes_the_two_ends() -> None:
    found = of_rail(rail(loads=(Amperes(0.12), Amperes(0.0), Amperes(0.06))))
    loads = [check.load_a for name, check in found.items() if ".voltage[" in name]
    regulation = found["VCC.load_regulation"]
    assert loads == [0.0, 0.06, 0.12]
    assert regulation.sources == ("VCC.voltage[0A]", "VCC.voltage[120mA]")
    assert regulation.formula is Formula.LOAD_REGULATION
    assert all(source in found for source in regulation.sources)


def test_the_rail_that_is_the_supplys_own_net_is_not_held_to_its_nominal_at_other_voltages() -> None:
    battery = supply(voltages={"fresh": Volts(6.4)})
    found = of_rail(rail("BT", nets=battery.nets, voltage=Volts(6.0)), battery)
    assert [name for name in found if ".voltage" in name] == ["BT.voltage"]


def test_with_several_supplies_a_rail_follows_the_one_it_names() -> None:
    first, second = supply(voltages={"fresh": Volts(6.4)}), supply(name="USB", nets={"plus": "USB", "minus": "GND"})
    assert "VCC.voltage[fresh]" in of_rail(rail(supply="BATT"), first, second)
    assert "VCC.voltage[fresh]" not in of_rail(rail(supply="USB"), first, second)
    assert "VCC.voltage[fresh]" not in of_rail(rail(), first, second)


def test_a_negative_rail_has_its_limits_in_order_and_its_net_in_the_brackets() -> None:
    found = of_rail(rail("VEE", nets=NEGATIVE, voltage=Volts(-12.0), tolerance=Tolerance(0.1, 0.1)))
    limits = found["VEE.voltage"].limits
    assert (limits.lower, limits.upper) == pytest.approx((-13.2, -10.8))
    assert tips(found["VEE.voltage"]) == ("VEE", "GND")
    assert {"VEE.to_ground[red:VEE]", "VEE.to_ground[red:GND]"} <= set(found)
    assert tips(found["VEE.to_ground[red:GND]"]) == ("GND", "VEE")
    assert found["VEE.ripple"].limits.upper == pytest.approx(0.12)


def test_a_rail_without_a_tolerance_takes_the_five_percent_of_supply_guides() -> None:
    """ATX12V guides: 5 V from 4.75 to 5.25 V, 12 V from 11.40 to 12.60 V."""
    five, twelve = of_rail(rail())["VCC.voltage"].limits, of_rail(rail(voltage=Volts(12.0)))["VCC.voltage"].limits
    assert (five.lower, five.upper) == pytest.approx((4.75, 5.25))
    assert (twelve.lower, twelve.upper) == pytest.approx((11.4, 12.6))


@pytest.mark.parametrize("given_ripple", [None, Ripple(max=Volts(0.06)), Ripple(max=Volts(0.02), as_="rms")])
def test_an_ac_meter_rejects_ripple_and_never_proves_it(given_ripple: Ripple | None) -> None:
    """A meter on AC reads rms within its bandwidth (common practice); ATX guides ask 50 mV peak to peak of 5 V."""
    ripple = of_rail(rail(ripple=given_ripple))["VCC.ripple"]
    assert ripple.function is Function.AC_VOLTAGE
    assert ripple.evidence is Evidence.SCREEN
    assert "AC meter" in ripple.method
    assert ("peak to peak" in ripple.method) is (given_ripple is None or given_ripple.as_ == "peak-to-peak")
    if given_ripple is None:
        assert ripple.limits.upper == pytest.approx(0.05)


def test_switches_of_a_check_come_before_those_of_its_rail() -> None:
    made = rail(switches={"S1": "closed", "S2": "open"}, to_ground=Window(min=Ohms(100.0), switches={"S1": "open"}))
    found = of_rail(made)
    assert found["VCC.voltage"].switches == (("S1", "closed"), ("S2", "open"))
    assert found["VCC.to_ground[red:VCC]"].switches == (("S1", "open"), ("S2", "open"))


def test_no_check_of_a_rail_or_supply_is_unpowered_that_reads_power() -> None:
    found = {**of_rail(rail(loads=(Amperes(0.1),))), **of_supply(supply(off_current=Window(max=Amperes(1e-5))))}
    unpowered = {name for name, check in found.items() if not check.powered}
    assert {name.partition(".")[2].partition("[")[0] for name in unpowered} == {"residual_voltage", "to_ground"}


@pytest.mark.parametrize(
    ("keys", "limit"),
    [
        ({"start_current": Amperes(0.3)}, 0.3),
        ({}, 0.09),
        ({"start_current": Amperes(0.9)}, 0.7),
        ({"idle_current": Window(max=Amperes(0.5))}, 0.7),
        ({"idle_current": None}, None),
        ({"current_limit": None}, None),
    ],
)
def test_first_power_is_limited_to_the_start_current_or_twice_idle_and_never_above_the_limit(
    keys: dict[str, Any], limit: float | None
) -> None:
    found = first_power_limit_a(supply(**keys))
    assert found == (pytest.approx(limit) if limit is not None else None)


def test_inrush_is_charge_over_what_the_limit_leaves() -> None:
    """1200 uF at 6 V and 0.1 A: 72 ms; 10 000 uF at 12 V and 0.2 A: 0.6 s (arithmetic of C V / I)."""
    idle = Window(max=Amperes(0.0))
    small = supply(start_current=Amperes(0.1), idle_current=idle)
    large = supply(
        start_current=Amperes(0.2), idle_current=idle, voltage=Volts(12.0), input_capacitance=Farads(10e-3)
    )
    assert inrush_s(small, ()) == pytest.approx(0.072)
    assert inrush_s(large, ()) == pytest.approx(0.6)
    limits = of_supply(small)["BATT.inrush_time"].limits
    assert limits.lower is None
    assert limits.upper == pytest.approx(0.216)


def test_an_output_counts_for_the_inrush_by_the_square_of_its_step_up() -> None:
    made = supply(start_current=Amperes(0.3), input_capacitance=Farads(680e-6))
    boosted = rail(voltage=Volts(9.0), capacitance=Farads(220e-6))
    assert inrush_s(made, [boosted]) == pytest.approx((680e-6 + 220e-6 * 2.25) * 6.0 / 0.255)


@given(st.floats(1e-6, 1e-2), st.floats(1.0, 24.0), st.floats(0.01, 0.3))
def test_inrush_grows_with_capacitance_and_shrinks_with_the_limit(farad: float, volts: float, idle: float) -> None:
    def seconds(capacitance: float, limit: float) -> float:
        made = supply(
            voltage=Volts(volts),
            input_capacitance=Farads(capacitance),
            idle_current=Window(max=Amperes(idle)),
            start_current=Amperes(limit),
        )
        found = inrush_s(made, ())
        assert found is not None
        return found

    assert seconds(2 * farad, 0.5) == pytest.approx(2 * seconds(farad, 0.5))
    assert seconds(farad, 0.7) < seconds(farad, 0.5)


@pytest.mark.parametrize("missing", ["current_limit", "idle_current", "input_capacitance"])
def test_without_its_data_no_inrush_is_worked_out(missing: str) -> None:
    assert inrush_s(supply(**{missing: None}), ()) is None
    assert inrush_s(supply(idle_current=Window(max=Amperes(0.7))), ()) is None, "nothing is left to charge with"


def test_current_into_the_unit_reads_positive() -> None:
    found = of_supply(supply(off_current=Window(max=Amperes(1e-5), switches={"S1": "open"})))
    for name in ("BATT.idle_current", "BATT.off_current"):
        assert tips(found[name]) == (None, "BATT"), "red on the bench supply's plus, black on the unit"
    assert found["BATT.off_current"].phase is Phase.OFF
    assert found["BATT.off_current"].switches == (("S1", "open"),)


MOSFET = {"gate": "G", "drain": "D", "source": "S"}


def on_resistance(channel: str) -> dict[str, Check]:
    drive = OnResistance(max=Ohms(0.06), gate_drive=Volts(4.5), currents=(Amperes(0.5), Amperes(0.2)))
    return checks_of(
        entry("mosfet", "Q1", MOSFET, channel=channel, on_resistance=drive, off_leakage=Window(max=1e-6))
    )


@pytest.mark.parametrize(
    ("channel", "across", "drive"), [("N", ("D", "S"), ("G", "S")), ("P", ("S", "D"), ("S", "G"))]
)
def test_on_resistance_reads_positive_on_either_channel(
    channel: str, across: tuple[str, str], drive: tuple[str, str]
) -> None:
    found = on_resistance(channel)
    assert tips(found["Q1.on_voltage[200mA]"]) == tips(found["Q1.on_voltage[500mA]"]) == across
    assert tips(found["Q1.gate_drive"]) == drive
    assert found["Q1.gate_drive"].limits.lower == 4.5
    assert all(check.powered for name, check in found.items() if name.partition("[")[0] == "Q1.on_voltage")


def test_on_resistance_is_a_slope_of_two_readings_that_come_before_it() -> None:
    found = on_resistance("N")
    derived = found["Q1.on_resistance"]
    names = list(found)
    assert derived.formula is Formula.SLOPE
    assert derived.quantity_unit == "ohm"
    assert [found[source].load_a for source in derived.sources] == [0.2, 0.5]
    assert all(names.index(source) < names.index(derived.id) for source in derived.sources)


@given(st.floats(1e-3, 10.0), st.floats(0.01, 1.0), st.floats(1.1, 10.0), st.floats(-1e-3, 1e-3))
def test_a_part_at_its_limit_passes_the_readings_that_serve_it(
    ohm: float, low: float, ratio: float, offset: float
) -> None:
    """The slope cancels an offset, so an offset must not reject its sources unless it is as large as the drop."""
    drive = OnResistance(max=Ohms(ohm), gate_drive=Volts(5.0), currents=(Amperes(low), Amperes(low * ratio)))
    found = checks_of(entry("mosfet", "Q1", MOSFET, channel="N", on_resistance=drive))
    for check in found.values():
        if check.measurand == "on_voltage" and check.load_a is not None and abs(offset) < ohm * check.load_a:
            assert check.limits.upper is not None
            assert ohm * check.load_a + offset <= check.limits.upper


def test_leakage_current_enters_an_n_drain_and_leaves_a_p_drain() -> None:
    assert tips(on_resistance("N")["Q1.off_leakage"]) == (None, "D")
    assert tips(on_resistance("P")["Q1.off_leakage"]) == ("D", None)


@pytest.mark.parametrize(("volts", "downhill"), [(5.0, ("IN", "OUT")), (-5.0, ("OUT", "IN"))])
def test_a_negative_regulator_is_read_the_other_way_across(volts: float, downhill: tuple[str, str]) -> None:
    nets = {"input": "IN", "output": "OUT", "ground": "GND"}
    found = checks_of(entry("regulator", "U1", nets, voltage=volts, dropout=Window(min=2.0)))
    assert tips(found["U1.input_to_output"]) == tips(found["U1.dropout"]) == downhill
    limits = found["U1.output_voltage"].limits
    assert tips(found["U1.output_voltage"]) == ("OUT", "GND")
    assert limits.lower is not None
    assert limits.upper is not None
    assert limits.lower < volts < limits.upper


def test_a_7805_is_held_to_its_data_sheet() -> None:
    """LM78XX: 4.75 to 5.25 V over 5 mA to 1 A and 7 to 20 V."""
    nets = {"input": "IN", "output": "OUT", "ground": "GND"}
    limits = one(entry("regulator", "U1", nets, voltage=5.0), "output_voltage").limits
    assert (limits.lower, limits.upper) == pytest.approx((4.75, 5.25))


CELLS = ["alkaline", "zinc-carbon", "silver-oxide", "nimh", "nicd", "lithium-primary", "lithium-ion", "lead-acid"]


@pytest.mark.parametrize("cell", CELLS)
def test_a_battery_scales_with_its_cells_and_is_read_out_of_the_unit(cell: str) -> None:
    single = checks_of(entry("battery", "BT1", {"plus": "A", "minus": "GND"}, cell=cell))
    four = checks_of(entry("battery", "BT1", {"plus": "A", "minus": "GND"}, cell=cell, cells=4))
    for name in ("open_voltage", "loaded_voltage"):
        limits, fourfold = single[f"BT1.{name}"].limits, four[f"BT1.{name}"].limits
        assert limits.lower is not None
        assert fourfold.lower == pytest.approx(4 * limits.lower)
        assert tips(four[f"BT1.{name}"]) == (None, None), "no net of the board is touched"
        assert not four[f"BT1.{name}"].powered
    inside = four["BT1.internal_resistance"]
    assert inside.formula is Formula.INTERNAL_RESISTANCE
    assert inside.sources == ("BT1.open_voltage", "BT1.loaded_voltage")
    assert four["BT1.open_voltage"].load_a == 0.0
    assert tips(four["BT1.residual_voltage"]) == ("A", "GND")


@pytest.mark.parametrize("cell", CELLS)
def test_a_cell_at_its_least_at_rest_can_still_pass_loaded(cell: str) -> None:
    found = checks_of(entry("battery", "BT1", cell=cell))
    rest, loaded = found["BT1.open_voltage"].limits.lower, found["BT1.loaded_voltage"].limits.lower
    assert rest is not None
    assert loaded is not None
    assert loaded <= rest


def test_a_lithium_cell_at_its_charge_limit_passes_and_a_deeply_discharged_one_does_not() -> None:
    """Battery makers' notes: 4.2 V charge limit, 3.0 V sensible cut-off."""
    limits = one(entry("battery", "BT1", cell="lithium-ion"), "open_voltage").limits
    assert limits.lower == 3.0
    assert limits.upper == pytest.approx(4.25)


def test_a_fixed_battery_is_taken_off_its_contacts_before_charge_is_looked_for() -> None:
    check = one(entry("battery", "BT1", cell="lithium-ion", fixed=True), "residual_voltage")
    assert "unsolder" in check.first_step
    assert (check.limits.lower, check.limits.upper) == (-0.05, 0.05)
