"""Small boards for tests of virtual units; everything in them is invented."""

from __future__ import annotations

import functools
import pathlib

from benchcheck.document import parse_document
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

HEAD = """\
benchcheck = 1
[board]
model = "Ellwick T-9 test board"
hazards = []
"""
SUPPLIED = """\
[supply.IN]
nets = { plus = "IN", minus = "GND" }
voltage = "6 V"
voltages = { fresh = "6.4 V", end_of_life = "4.4 V" }
current_limit = "700 mA"
start_current = "300 mA"
input_capacitance = "470 uF"
idle_current = { max = "60 mA" }
off_current = { max = "40 uA", switches = { S1 = "open" } }
[part.S1]
kind = "switch"
nets = ["IN", "SW"]
rest = "closed"
[part.C1]
kind = "electrolytic"
value = "470 uF"
rated_voltage = "16 V"
nets = { plus = "SW", minus = "GND" }
[part.R1]
kind = "resistor"
value = "2k2"
tolerance = "5 %"
nets = ["SW", "GND"]
[part.U1]
kind = "regulator"
voltage = "3.3 V"
topology = "low-dropout"
nets = { input = "SW", output = "OUT", ground = "GND" }
[part.C2]
kind = "electrolytic"
value = "100 uF"
rated_voltage = "10 V"
nets = { plus = "OUT", minus = "GND" }
[part.R2]
kind = "resistor"
value = "1k"
tolerance = "1 %"
nets = ["OUT", "MID"]
[part.R3]
kind = "resistor"
value = "3k3"
tolerance = "1 %"
nets = ["MID", "GND"]
[rail.OUT]
nets = { plus = "OUT", minus = "GND" }
voltage = "3.3 V"
tolerance = "4 %"
loads = ["0 A", "100 mA"]
switches = { S1 = "closed" }
"""
#: no nets at all: a bag of single parts.
BARE = """\
[part.R14]
kind = "resistor"
value = "4k7"
tolerance = "1 %"
[part.D3]
kind = "diode"
technology = "silicon"
[part.C9]
kind = "electrolytic"
value = "22 uF"
rated_voltage = "16 V"
fitted = true
[part.Q1]
kind = "bjt"
polarity = "NPN"
"""


def board(text: str) -> Board:
    """The board of a spec without its head."""
    return load_board(parse_document(HEAD + text, "x.toml"))


@functools.cache
def supplied() -> Board:
    """A supply, a switch, a regulator and a divider on its output."""
    return board(SUPPLIED)


@functools.cache
def demo() -> Board:
    """The demo board of README."""
    return load_board(pathlib.Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml")
