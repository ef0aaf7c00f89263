"""The simulator follows the standard where it says something, and its instruments behave like real ones.

Clauses of SCPI-99 and IEEE 488.2 as named; figures without a source are common practice.
"""

from __future__ import annotations

import math

import pytest

from benchcheck.bench.functions import Function
from benchcheck.simulation.meter_front import MeterFront, usual_ranges
from benchcheck.simulation.scpi_tree import ScpiFault, units_of
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from benchcheck.simulation.world import PlainBench


def bench(**values: float) -> PlainBench:
    return PlainBench(probed={Function(name): value for name, value in values.items()})


def meter(**values: float) -> MeterFront:
    return MeterFront(bench(**values), reading_time_s=0.0)


@pytest.mark.parametrize("header", ["MEAS:VOLT:DC?", "measure:voltage:dc?", "MEAS:VOLT?", ":MEAS:SCAL:VOLT:DC?"])
def test_short_and_long_forms_in_any_case_are_one_command(header: str) -> None:
    front = meter(dc_voltage=5.0)
    assert front.handle(header, 10.0) is not None
    assert not front.errors


@pytest.mark.parametrize("header", ["MEASU:VOLT:DC?", "MEAS:VOLTA?", "VOLT:MEAS?", "HUM"])
def test_anything_between_short_and_long_form_is_unknown_and_answers_nothing(header: str) -> None:
    """SCPI-99 6.2.1; an unknown header answers nothing and puts -113 in the queue (21.8.9)."""
    front = meter(dc_voltage=5.0)
    assert front.handle(header, 10.0) is None
    assert front.handle("SYST:ERR?", 10.0) == '-113,"Undefined header"'
    assert front.handle("SYST:ERR?", 10.0) == '0,"No error"'


def test_after_a_semicolon_a_header_goes_on_at_the_level_before() -> None:
    """SCPI-99 6.2.4: ;AC? is MEAS:VOLT:AC?, a leading colon starts at the root, common commands do not move it."""
    units = [unit.header for unit in units_of("MEAS:VOLT:DC?;AC?;*ESR?;DC?;:FUNC?")]
    assert units == ["MEAS:VOLT:DC?", "MEAS:VOLT:AC?", "*ESR?", "MEAS:VOLT:DC?", "FUNC?"]


def test_several_questions_in_a_message_give_one_answer_with_semicolons() -> None:
    assert meter().handle("*ESE 37;*ESE?;:SYST:ERR?", 1.0) == '37;0,"No error"'


def test_an_open_quote_is_a_syntax_error() -> None:
    with pytest.raises(ScpiFault, match="-102"):
        list(units_of('FUNC "VOLT'))


@pytest.mark.parametrize(
    ("message", "code"),
    [("VOLT", -109), ("VOLT 1,2", -108), ("VOLT 5 V", -138), ("VOLT abc", -104), ("VOLT 99", -222)],
)
def test_parameters_are_checked_as_the_standard_has_it(message: str, code: int) -> None:
    front = SupplyFront(bench())
    front.handle(message, 1.0)
    assert front.errors[0][0] == code


def test_the_queue_overflows_into_its_newest_entry() -> None:
    front = meter()
    for _ in range(30):
        front.handle("HUM", 1.0)
    assert front.errors[-1] == (-350, "Queue overflow")


def test_power_on_sets_its_bit_once() -> None:
    front = meter()
    assert front.handle("*ESR?", 1.0) == "128"
    assert front.handle("*ESR?", 1.0) == "0"
    front.power_cycle()
    assert front.handle("*ESR?", 1.0) == "128"


@pytest.mark.parametrize("known", usual_ranges(), ids=lambda one: f"{one.function}-{one.full_scale:g}")
def test_every_range_reads_within_its_specification_once_settled(known) -> None:  # type: ignore[no-untyped-def]
    front = MeterFront(PlainBench(probed={known.function: known.full_scale * 0.9}), reading_time_s=0.0)
    node = {"dc_voltage": "VOLT:DC", "ohms": "RES", "ohms_4w": "FRES", "diode": "DIOD", "continuity": "CONT"}
    node |= {"ac_voltage": "VOLT:AC", "dc_current": "CURR:DC", "capacitance": "CAP", "temperature": "TEMP"}
    front.handle(f"CONF:{node[known.function]} {known.full_scale:g}", 1.0)
    answer = front.handle("READ?", 2.0)
    assert answer is not None
    limit = known.full_scale * 0.9 * known.fraction + known.digits * known.resolution
    assert abs(float(answer) - known.full_scale * 0.9) <= limit


def test_a_reading_settles_after_a_change_of_function() -> None:
    front = meter(ohms=4680.0)
    front.handle("CONF:RES 1e4", 1.0)
    first, later = front.handle("READ?", 1.01), front.handle("READ?", 1.5)
    assert first is not None
    assert later is not None
    assert float(first) < 0.5 * float(later)


def test_beyond_full_scale_and_open_read_as_infinity() -> None:
    """SCPI-99 7.2.1.4: 9.9E37 stands for infinity; here as overload, as bench meters have it."""
    front = meter(ohms=4680.0)
    assert front.handle("CONF:RES 1000;:READ?", 1.0) == "+9.90000000E+37"
    assert meter().handle("MEAS:RES?", 1.0) == "+9.90000000E+37"


def test_autorange_takes_the_smallest_range_that_holds_the_value() -> None:
    front = meter(ohms=1150.0)
    front.handle("MEAS:RES?", 1.0)
    assert float(front.handle("RES:RANG?", 1.0) or "nan") == 1000.0
    assert front.handle("CONF?", 1.0) == '"RES +1.000000E+03,+1.000000E-02"'
    assert front.handle("FUNC?", 1.0) == '"RES"'


def test_fetching_nothing_is_stale() -> None:
    front = meter()
    front.handle("FETC?", 1.0)
    assert front.errors[0][0] == -230


def switched_on(capacitance_farad: float = 470e-6) -> SupplyFront:
    front = SupplyFront(PlainBench(220.0, capacitance_farad))
    front.handle("VOLT 6;:CURR 0.3;:VOLT:PROT 7;:OUTP ON", 1.0)
    return front


def test_the_supply_charges_at_its_limit_and_then_holds_its_voltage() -> None:
    """t = C V / I = 470 uF x 6 V / 0.3 A = 9.4 ms, a little more with 220 ohm across; worked by hand."""
    front = switched_on()
    assert front.handle("STAT:QUES:COND?;:MEAS:CURR?", 1.005) == "1;+3.00000000E-01"
    volt = float(front.handle("MEAS:VOLT?", 1.0051) or "nan")
    assert volt == pytest.approx(0.3 * 220.0 * (1.0 - math.exp(-0.0051 / (220.0 * 470e-6))), rel=0.01)
    answer = front.handle("STAT:QUES:COND?;:MEAS:VOLT?;:MEAS:CURR?", 1.02)
    assert answer == "2;+6.00000000E+00;+2.72727273E-02"


def test_after_switching_off_the_board_keeps_its_charge_for_a_while() -> None:
    front = switched_on()
    front.handle("OUTP OFF", 2.0)
    halfway = float(front.handle("MEAS:VOLT?", 2.0 + 220.0 * 470e-6) or "nan")
    assert halfway == pytest.approx(6.0 / math.e, rel=0.02)


def test_over_voltage_latches_and_switching_on_is_refused_until_cleared() -> None:
    front = switched_on()
    front.handle("*CLS", 1.5)
    front.over_voltage_volt = 5.0
    front.watch(1.6)
    assert front.handle("VOLT:PROT:TRIP?;:OUTP?;:STAT:QUES:COND?", 1.61) == "1;0;512"
    front.handle("OUTP ON", 1.62)
    assert front.errors[0][0] == -221
    front.handle("VOLT 1;:VOLT:PROT 7;:OUTP:PROT:CLE", 4.0)
    assert front.handle("VOLT:PROT:TRIP?;:OUTP?", 4.1) == "0;0"


def test_an_over_voltage_level_below_the_voltage_is_refused_and_the_other_way_round() -> None:
    front = switched_on()
    front.handle("*CLS;:VOLT:PROT 5", 1.5)
    front.handle("VOLT 8", 1.5)
    assert [code for code, _ in front.errors] == [-222, -222]


def test_reset_leaves_the_current_limit_at_full_scale_and_the_output_off() -> None:
    front = switched_on()
    assert front.handle("*RST;:CURR?;:VOLT?;:OUTP?", 2.0) == "+5.00000000E+00;+0.00000000E+00;0"


def test_settings_are_rounded_to_the_converter() -> None:
    assert SupplyFront(bench()).handle("VOLT 1.23456;:VOLT?", 1.0) == "+1.23500000E+00"


def test_the_portable_way_to_read_limits_works() -> None:
    assert SupplyFront(bench()).handle("VOLT? MAX;:CURR? MAX", 1.0) == "+3.20000000E+01;+5.00000000E+00"


def test_the_watchdog_switches_off_after_silence_where_it_is_armed() -> None:
    front = switched_on()
    front.handle("OUTP:PROT:WDOG:DEL 3;:OUTP:PROT:WDOG ON", 2.0)
    front.watch(4.9)
    assert front.output
    front.watch(5.1)
    assert not front.output


def test_the_load_sinks_its_level_from_the_same_board() -> None:
    board = PlainBench()
    supply, load = SupplyFront(board), LoadFront(board)
    supply.handle("VOLT 6;:CURR 0.5;:OUTP ON", 1.0)
    load.handle("FUNC CURR;:CURR 0.12;:INP ON", 2.0)
    assert load.handle("MEAS:CURR?;:INP?;:FUNC?", 2.1) == "+1.20000000E-01;1;CURR"
    assert float(supply.handle("MEAS:CURR?", 2.1) or "nan") == pytest.approx(0.12 + 6.0 / 220.0, rel=1e-6)
