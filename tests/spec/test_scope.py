"""Extra-low voltage only, hazards from a closed list, and no power without what the first power needs."""

from __future__ import annotations

import pytest

from benchcheck.document import parse_document
from benchcheck.spec.board import Board, ceiling_faults
from benchcheck.spec.load import load_board

GOOD = """\
benchcheck = 1
[board]
model = "Ellwick T-1"
hazards = []
[part.R14]
kind = "resistor"
value = "4k7"
nets = ["BATT", "GND"]
[part.R15]
kind = "resistor"
value = "4k7"
nets = ["BATT", "N1"]
[part.R16]
kind = "resistor"
value = "4k7"
nets = ["N1", "GND"]
"""
SUPPLY = """\
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "6 V"
current_limit = "700 mA"
input_capacitance = "100 uF"
idle_current = { max = "45 mA" }
"""
CELL = """\
[part.BT1]
kind = "battery"
cell = "lithium-ion"
nets = { plus = "BATT", minus = "GND" }
"""


def load(text: str) -> Board:
    return load_board(parse_document(text, "x.toml"))


def only_refusal(board: Board) -> str:
    (reason,) = board.power_refusals
    return reason


def beyond_scope(board: Board) -> bool:
    """Whether no powered check is left, though the board would have some."""
    return bool(board.withheld) and not any(check.powered for check in board.checks)


def test_a_complete_supply_may_give_power() -> None:
    board = load(GOOD + SUPPLY)
    assert board.power_refusals == ()
    assert board.withheld == frozenset()
    assert any(check.powered for check in board.checks)


def test_without_the_hazards_key_the_board_loads_and_gets_no_power() -> None:
    board = load((GOOD + SUPPLY).replace("hazards = []\n", ""))
    assert board.hazards is None
    assert "hazards = []" in only_refusal(board)
    assert any(check.powered for check in board.checks)


def test_without_a_supply_there_is_no_power() -> None:
    assert "no supply" in only_refusal(load(GOOD))


@pytest.mark.parametrize("missing", ["current_limit", "input_capacitance", "idle_current"])
def test_power_is_refused_without_what_the_first_power_needs(missing: str) -> None:
    lines = SUPPLY.splitlines(keepends=True)
    board = load(GOOD + "".join(line for line in lines if not line.startswith(missing)))
    assert missing in only_refusal(board)


def test_an_idle_current_without_its_largest_value_is_not_enough() -> None:
    assert "idle_current.max" in only_refusal(load(GOOD + SUPPLY.replace('max = "45 mA"', 'min = "5 mA"')))


@pytest.mark.parametrize("hazard", ["mains", "crt", "flash-capacitor", "backlight-inverter"])
def test_hazards_beyond_the_scope_withhold_every_powered_check(hazard: str) -> None:
    board = load(GOOD.replace("hazards = []", f'hazards = ["{hazard}"]') + SUPPLY)
    assert beyond_scope(board)
    assert hazard in only_refusal(board)


@pytest.mark.parametrize("hazard", ["lithium-cell", "charged-capacitor", "laser", "motor"])
def test_other_hazards_are_told_and_forbid_nothing(hazard: str) -> None:
    board = load(GOOD.replace("hazards = []", f'hazards = ["{hazard}"]') + SUPPLY)
    assert board.hazards == (hazard,)
    assert board.power_refusals == ()


RAIL = '[rail.V1]\nnets = {{ plus = "N1", minus = "GND" }}\nvoltage = "{}"\n'
NEGATIVE = '[rail.VNEG]\nnets = { plus = "GND", minus = "N1" }\nvoltage = "31 V"\n'


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        (SUPPLY.replace("6 V", "60 V"), SUPPLY.replace("6 V", "60.1 V")),
        (SUPPLY + 'voltages = { fresh = "60 V" }\n', SUPPLY + 'voltages = { fresh = "61 V" }\n'),
        (SUPPLY + RAIL.format("60 V"), SUPPLY + RAIL.format("60.1 V")),
        (SUPPLY + RAIL.format("-54 V"), SUPPLY + RAIL.format("-60.1 V")),
        (SUPPLY + RAIL.format("58 V") + 'tolerance = "3 %"\n', SUPPLY + RAIL.format("58 V") + 'tolerance = "5 %"\n'),
        (SUPPLY + '[net.N1]\nvoltage = "60 V"\n', SUPPLY + '[net.N1]\nvoltage = "61 V"\n'),
        (SUPPLY + '[net.N1]\nac_voltage = "30 V"\n', SUPPLY + '[net.N1]\nac_voltage = "30.1 V"\n'),
        (SUPPLY + '[net.N1]\npeak_voltage = "42.4 V"\n', SUPPLY + '[net.N1]\npeak_voltage = "42.5 V"\n'),
        (SUPPLY + 'ac_voltage = "30 V"\n', SUPPLY + 'ac_voltage = "31 V"\n'),
        (SUPPLY + RAIL.format("5 V"), SUPPLY + RAIL.format("5 V") + 'peak_voltage = "-43 V"\n'),
        (SUPPLY + CELL + "cells = 16\n", SUPPLY + CELL + "cells = 20\n"),
    ],
    ids=["supply", "named voltage", "rail", "negative rail", "tolerance", "node", "AC", "peak", "supply AC",
         "rail peak", "battery"],
)  # fmt: skip
def test_sixty_volts_dc_thirty_rms_and_42_4_peak_are_the_last_that_get_power(within: str, beyond: str) -> None:
    assert not beyond_scope(load(GOOD + within))
    assert beyond_scope(load(GOOD + beyond))


def test_two_rails_that_are_low_each_may_be_too_far_apart() -> None:
    low = load(GOOD + SUPPLY.replace("6 V", "29 V") + NEGATIVE)
    assert low.power_refusals == ()
    high = load(GOOD + SUPPLY.replace("6 V", "30 V") + NEGATIVE)
    assert "BATT stands 61 V above net N1" in only_refusal(high)
    assert beyond_scope(high)


def test_a_fixed_lithium_cell_refuses_power_and_a_loose_one_does_not() -> None:
    supply = SUPPLY.replace("6 V", "3.7 V")
    assert "BT1" in only_refusal(load(GOOD + supply + CELL + "fixed = true\n"))
    assert load(GOOD + supply + CELL).power_refusals == ()
    nickel = CELL.replace("lithium-ion", "nimh") + "fixed = true\n"
    assert load(GOOD + supply + nickel).power_refusals == ()


def test_no_spec_may_exceed_the_ceiling_of_a_bench_supply() -> None:
    board = load(GOOD + SUPPLY + 'voltages = { fresh = "6.4 V" }\n')
    assert ceiling_faults(board, voltage_v=6.4, current_a=0.7) == ()
    faults = ceiling_faults(board, voltage_v=6.2, current_a=0.5)
    assert [fault.key for fault in faults] == ["supply.BATT.voltages.fresh", "supply.BATT.current_limit"]
    assert all("ceiling" in fault.message for fault in faults)
