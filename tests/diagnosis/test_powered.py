"""What readings under power acquit: what feeds a rail that is live, and what draws nothing from a supply."""

from __future__ import annotations

import pytest

from benchcheck.circuit.faults import PartFault
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.powered import Sign, feeding, signs_under_power, under_power
from benchcheck.spec.board import Board

from . import boards

RAIL = """\
[rail.V5]
nets = { plus = "V5", minus = "GND" }
voltage = "5 V"
tolerance = "5 %"
loads = ["0 A", "50 mA"]
"""


@pytest.fixture(scope="module")
def board() -> Board:
    return boards.board(boards.SPEC + RAIL)


def sign(board: Board, subject: str, **powered: float) -> Sign:
    """Return the sign of one rail or supply, of readings such as V5=0.003."""
    every = {name: "voltage[0A]" if name in board.rails else "idle_current" for name in powered}
    evidence = Evidence(powered={f"{name}.{every[name]}": value for name, value in powered.items()})
    return next(one for one in signs_under_power(board, evidence) if one.subject == subject)


def of(designator: str, fault: str) -> Hypothesis:
    return Hypothesis(designator, fault, 0.002, "here")


def test_what_feeds_a_live_rail_is_not_why_another_is_dead(board: Board) -> None:
    assert feeding(board, "V5")[1] == {"D1", "U2"}
    assert sign(board, "V5", V5=0.003).parts == {"D1", "U2"}
    assert sign(board, "V5", V5=0.003, VCC=8.4).parts == {"U2"}
    assert sign(board, "V5", V5=0.003, VCC=0.01).parts == {"D1", "U2"}


def test_a_rail_one_of_whose_readings_is_off_acquits_nothing(board: Board) -> None:
    off = Evidence(powered={"VCC.voltage[0A]": 5.0, "V5.voltage[0A]": 0.003})
    dead = next(one for one in signs_under_power(board, off) if one.subject == "V5")
    assert "D1" in dead.parts


def test_a_live_rail_speaks_against_a_way_that_is_open(board: Board) -> None:
    live = sign(board, "VCC", VCC=8.4)
    assert not live.convicts
    assert live.explained_by(board, of("D1", "open"))
    assert not live.explained_by(board, of("R2", "open"))


def test_no_current_into_rails_that_are_live_is_no_part_s_fault(board: Board) -> None:
    assert sign(board, "BATT", BATT=0.0001).parts >= {"D1"}
    assert "D1" not in sign(board, "BATT", BATT=0.0001, VCC=8.4, V5=5.0).parts


def test_what_lies_along_a_supply_s_way_draws_nothing_from_it(board: Board) -> None:
    above = sign(board, "BATT", BATT=0.15)
    assert above.explained_by(board, of("C1", "short"))
    assert not above.explained_by(board, of("D1", "short"))


def _read(board: Board, **powered: float) -> list[Sign]:
    names = {"none": "V5.voltage[0A]", "more": "V5.voltage[50mA]"}
    return list(signs_under_power(board, Evidence(powered={names[name]: volt for name, volt in powered.items()})))


def test_a_rail_at_nothing_that_is_right_under_more_load_is_read_again_and_convicts_nothing(board: Board) -> None:
    (first, _) = _read(board, none=0.003, more=5.0)
    assert not first.convicts
    assert "read both again" in first.words
    # a rail that a load takes down is a fault's doing
    assert any(one.convicts for one in _read(board, none=5.0, more=0.003))
    assert all(one.convicts for one in _read(board, none=0.003, more=0.002))


def test_no_bridge_joins_rails_that_are_at_different_voltages(board: Board) -> None:
    fault = PartFault("bridge", where=("VCC", "V5"))
    bridge = [Hypothesis("", "bridge VCC V5", 0.002, "here", fault)]

    def worth(vcc: float, v5: float) -> float:
        powered = {"VCC.voltage[0A]": vcc, "V5.voltage[0A]": v5}
        return float(under_power(board, bridge, Evidence(powered=powered))[0])

    assert worth(8.4, 5.0) < worth(5.1, 5.0) - 3.0
    assert under_power(board, bridge, Evidence(powered={"VCC.voltage[0A]": 8.4}))[0] > worth(8.4, 5.0) + 3.0
