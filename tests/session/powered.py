"""A small unit to be powered in tests: one supply, one rail on it, and what the tips find where."""

from __future__ import annotations

from pathlib import Path

from benchcheck.builtin import load_spec
from benchcheck.spec.board import Board
from tests.session.rig import ScriptedHand, Served

SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-2 test board"
hazards = []
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "6 V"
voltages = { fresh = "6.4 V", end_of_life = "5 V" }
current_limit = "700 mA"
start_current = "300 mA"
idle_current = { max = "60 mA" }
input_capacitance = "470 uF"
to_ground = { min = "50 ohm" }
[rail.V6]
nets = { plus = "VX", minus = "GND" }
voltage = "6 V"
tolerance = "5 %"
loads = ["0 A", "100 mA"]
to_ground = { min = "50 ohm" }
"""
#: the same with a rail that follows its supply
FOLLOWING = SPEC.replace('tolerance = "5 %"', 'tolerance = "20 %"')
#: what lies between the tips on a good unit
GOOD = {
    "BATT.residual_voltage": 0.01,
    "V6.residual_voltage": 0.01,
    "BATT.to_ground[red:BATT]": 150.0,
    "BATT.to_ground[red:GND]": 150.0,
    "V6.to_ground[red:VX]": 150.0,
    "V6.to_ground[red:GND]": 150.0,
    "V6.voltage[0A]": 6.01,
    "V6.voltage[100mA]": 5.97,
    "V6.voltage[0A:fresh]": 6.02,
    "V6.voltage[100mA:fresh]": 5.98,
    "V6.voltage[0A:end_of_life]": 6.0,
    "V6.voltage[100mA:end_of_life]": 5.96,
    "meter.leads_shorted": 0.1,
    "meter.reference_resistor": 1e3,
    "meter.diode": 0.6,
    "meter.cell": 1.5,
}


def spec_board(folder: Path, text: str = SPEC) -> Board:
    path = folder / "board.toml"
    path.write_text(text)
    return load_spec(path)


def good_hand(served: Served, **changes: float) -> ScriptedHand:
    return ScriptedHand(unit=served.unit, at={**GOOD, **changes})
