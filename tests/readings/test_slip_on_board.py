"""What lies beside a part may take its reading a thousand times off: that is no slip, where the circuit says so."""

from __future__ import annotations

import pytest

from benchcheck.document import parse_document
from benchcheck.errors import ReadingsError
from benchcheck.readings.file import parse_readings
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.load import load_board
from tests.factories import bench

SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-34"
hazards = []
[net.A]
complete = true
[net.B]
complete = true
[part.R1]
kind = "resistor"
value = "160k"
tolerance = "5 %"
nets = ["A", "B"]
[part.R2]
kind = "resistor"
value = "160 ohm"
tolerance = "5 %"
nets = ["A", "B"]
[part.R3]
kind = "resistor"
value = "4k7"
tolerance = "5 %"
nets = ["B", "C"]
"""
METER = bench("handheld-6000")
BOARD = load_board(parse_document(SPEC, "x.toml"))
SHOWN = CircuitSolver(BOARD, METER).good_reading


def values(line: str) -> list[float | None]:
    text = f"check,reading\n{line}\n"
    found = parse_readings(text, "r.csv", BOARD.by_id, METER, on_board=SHOWN)
    return [one.display.value for one in found.readings]


def test_a_reading_that_the_circuit_explains_is_taken() -> None:
    """160k beside 160 ohm is 159.84 ohm (parallel resistances, any textbook)."""
    assert values("R1.resistance,159.8") == [159.8]


def test_without_the_circuit_it_is_asked_about() -> None:
    with pytest.raises(ReadingsError, match=r"a factor 10\^3 off what is expected"):
        parse_readings("check,reading\nR1.resistance,159.8\n", "r.csv", BOARD.by_id, METER)


@pytest.mark.parametrize("line", ["R3.resistance,4.7", "R2.resistance,160k", "R1.resistance,160 mohm"])
def test_a_slip_that_the_circuit_does_not_explain_is_still_asked_about(line: str) -> None:
    with pytest.raises(ReadingsError, match="off what is expected"):
        values(line)


def test_a_right_reading_is_no_question_whatever_the_circuit_says() -> None:
    assert values("R3.resistance,4.7k") == [4700.0]


RAIL = """\
[supply.IN]
nets = { plus = "A", minus = "B" }
voltage = "9 V"
current_limit = "200 mA"
idle_current = { max = "20 mA" }
input_capacitance = "100 uF"
[rail.V5]
nets = { plus = "C", minus = "B" }
voltage = "5 V"
tolerance = "5 %"
"""


def powered(text: str) -> list[float | None]:
    board = load_board(parse_document(SPEC + RAIL, "x.toml"))
    rail = next(check.id for check in board.checks if check.powered and check.subject == "V5" and check.expected)
    found = parse_readings(f"check,reading\n{rail},{text}\n", "r.csv", board.by_id, METER)
    return [one.display.value for one in found.readings]


def test_a_dead_rail_reads_next_to_nothing_and_that_is_no_slip() -> None:
    assert powered("0.005 V") == [0.005]
    assert powered("0.005") == [0.005]


@pytest.mark.parametrize("text", ["5 mV", "5m", "5000 V"])
def test_a_prefix_too_many_or_too_few_is_asked_about_under_power_too(text: str) -> None:
    with pytest.raises(ReadingsError, match=r"10\^3|more than"):
        powered(text)


SMALL = """\
[part.C1]
kind = "capacitor"
value = "100 nF"
tolerance = "10 %"
nets = ["A", "B"]
"""


def beside(text: str) -> list[float | None]:
    board = load_board(parse_document(SPEC + SMALL, "x.toml"))
    found = parse_readings(f"check,reading\nC1.capacitance,{text}\n", "r.csv", board.by_id, METER)
    return [one.display.value for one in found.readings]


def test_a_small_capacitor_reads_as_the_large_one_beside_it() -> None:
    assert beside("470u") == [pytest.approx(470e-6)]


@pytest.mark.parametrize("text", ["100", "0.096", "96m", "96p"])
def test_more_than_any_board_has_is_asked_about_and_so_is_too_little(text: str) -> None:
    with pytest.raises(ReadingsError, match=r"10\^\d+ off|no meter shows"):
        beside(text)
