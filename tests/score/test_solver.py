"""A resistor judged on the board: its own value through the circuit around it, where the spec holds all of that."""

from __future__ import annotations

import pytest

import benchcheck.circuit.solution as solving
from benchcheck.document import parse_document
from benchcheck.errors import CircuitError
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

BOARD = """\
benchcheck = 1
[board]
model = "Ellwick T-5"
hazards = []
[net.A]
complete = true
[net.B]
complete = true
[part.R1]
kind = "resistor"
value = "4k7"
tolerance = "5 %"
nets = ["A", "GND"]
[part.R2]
kind = "resistor"
value = "12k"
tolerance = "1 %"
nets = ["A", "B"]
neighbour = true
[part.R3]
kind = "resistor"
value = "10k"
tolerance = "1 %"
nets = ["B", "GND"]
neighbour = true
"""
METER = bench("handheld-6000")


def board(text: str = BOARD) -> Board:
    return load_board(parse_document(text, "x.toml"))


def score(on: Board, shown: str) -> Score:
    check = on.by_id["R1.resistance"]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


def test_what_a_good_part_reads_in_circuit_passes_as_its_own_value() -> None:
    """4.7 k beside 22 k reads 3.873 k: parallel resistances (any textbook)."""
    found = score(board(), "3.873k")
    assert found.verdict is Verdict.PASS
    assert found.value == pytest.approx(4700.0, rel=1e-3)
    assert found.budget is not None
    ids = {contribution.id for contribution in found.budget.contributions}
    assert {"R2.tolerance", "R3.tolerance"} <= ids


def test_the_neighbours_tolerances_go_through_the_sensitivities() -> None:
    """R = m P / (P - m) with P = R2 + R3: dR/dP = -(R/P)^2, so 1 % of 22 k in P is worth 1.0 % of R."""
    found = score(board(), "3.873k")
    assert found.budget is not None
    widths = {each.id: each.half_width for each in found.budget.contributions}
    factor = (4700.0 / 22e3) ** 2
    assert widths["R2.tolerance"] == pytest.approx(120.0 * factor, rel=5e-3)
    assert widths["R3.tolerance"] == pytest.approx(100.0 * factor, rel=5e-3)


def test_a_wrong_part_fails_low_and_high() -> None:
    assert score(board(), "2.700k").verdict is Verdict.FAIL
    assert "a bridge" in score(board(), "2.700k").because
    assert score(board(), "5.000k").verdict is Verdict.FAIL


def test_neighbours_that_dominate_leave_it_undecided_and_say_lift_one_leg() -> None:
    loose = BOARD.replace('value = "12k"\ntolerance = "1 %"', 'value = "1k"\ntolerance = "20 %"').replace(
        'value = "10k"\ntolerance = "1 %"', 'value = "1k"\ntolerance = "20 %"'
    )
    found = score(board(loose), "1.403k")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "R2" in found.because
    assert "lift one leg" in found.change


@pytest.mark.parametrize("missing", ["A", "B"])
def test_a_net_that_may_have_other_paths_leaves_the_evidence_one_sided(missing: str) -> None:
    text = BOARD.replace(f"[net.{missing}]\ncomplete = true\n", "")
    found = score(board(text), "3.873k")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)
    assert found.value == pytest.approx(3873.0)


def test_a_part_without_a_model_makes_its_nets_unknown() -> None:
    regulator = (
        '[part.U1]\nkind = "regulator"\nvoltage = "5 V"\nnets = { input = "B", output = "C", ground = "GND" }\n'
    )
    assert score(board(BOARD + regulator), "3.873k").code is Reason.ONE_SIDED


def test_a_diode_that_the_test_current_does_not_turn_on_changes_nothing() -> None:
    diode = '[part.D1]\nkind = "diode"\nnets = { anode = "GND", cathode = "A" }\n'
    found = score(board(BOARD + diode), "3.873k")
    assert found.verdict is Verdict.PASS


def test_a_reading_no_value_explains_is_not_solved() -> None:
    assert score(board(), "23.00k").value == pytest.approx(23000.0)
    assert score(board(), "23.00k").verdict is Verdict.FAIL


def test_a_board_of_many_parts_with_nothing_complete_solves_nothing() -> None:
    text = BOARD.replace("complete = true", "complete = false")
    solver = CircuitSolver(board(text), METER)
    check = board(text).by_id["R1.resistance"]
    found = judge(check, [reading(check, "3.873k")], METER, Session(), surroundings=solver)
    assert found.code is Reason.ONE_SIDED


def test_a_dead_short_across_a_solved_part_fails() -> None:
    found = score(board(), "0.0")
    assert found.verdict is Verdict.FAIL
    assert "a bridge" in found.because


def test_a_circuit_that_does_not_settle_is_undecided_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """No strategy arrives: no number comes out of it, and `between` names the nets that disagree."""
    monkeypatch.setattr(solving, "STRATEGIES", {})
    found = score(board(), "3.873k")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)
    assert found.value == pytest.approx(3873.0)
    assert "does not settle to an operating point; the nets that disagree most are" in found.because
    with pytest.raises(CircuitError, match="does not settle to an operating point; the nets that disagree most are"):
        between(board(), METER, "A", "GND")
