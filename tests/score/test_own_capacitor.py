"""A capacitor judged on the board: what stands in parallel is taken off where every net is complete."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.judge import judge
from benchcheck.score.model import Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-9"\nhazards = []\n'
COMPLETE = "[net.A]\ncomplete = true\n[net.B]\ncomplete = true\n"
METER = bench("handheld-6000")


def part(name: str, value: str, tolerance: str = "10 %") -> str:
    return f'[part.{name}]\nkind = "capacitor"\nvalue = "{value}"\ntolerance = "{tolerance}"\nnets = ["A", "B"]\n'


def board(*parts: str, nets: str = COMPLETE) -> Board:
    return load_board(parse_document(HEAD + nets + "".join(parts), "x.toml"))


def score(on: Board, shown: str) -> Score:
    check = on.by_id["C1.capacitance"]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


def test_capacitors_in_parallel_add_up_and_the_neighbour_is_taken_off() -> None:
    """1 uF beside 220 nF reads 1.22 uF: capacitances in parallel add (any textbook)."""
    found = score(board(part("C1", "1 uF"), part("C2", "220 nF", "5 %")), "1.22 uF")
    assert found.verdict is Verdict.PASS
    assert found.value == pytest.approx(1e-6, rel=1e-3)


def test_a_capacitor_that_lost_half_fails_though_the_sum_looks_near() -> None:
    assert score(board(part("C1", "1 uF"), part("C2", "220 nF", "5 %")), "720 nF").verdict is Verdict.FAIL


def test_a_neighbour_of_wide_tolerance_hides_the_part() -> None:
    """20 % of 10 uF is twice the 1 uF asked for."""
    found = score(board(part("C1", "1 uF"), part("C2", "10 uF", "20 %")), "11 uF")
    assert found.verdict is Verdict.UNDECIDED
    assert "C2" in found.because


def test_nets_that_are_not_complete_acquit_no_capacitor() -> None:
    found = score(board(part("C1", "1 uF"), part("C2", "220 nF", "5 %"), nets=""), "1.22 uF")
    assert found.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("function", [Function.CAPACITANCE, Function.ESR])
def test_between_tells_open_short_and_decade_of_a_capacitor(function: Function) -> None:
    on = board(part("C1", "1 uF"), part("C2", "220 nF"))
    meter = bench("esr-meter" if function is Function.ESR else "handheld-6000")
    (first, _) = between(on, meter, "A", "B", function).readings
    told = {(one.designator, one.fault.split()[0]) for one in first.if_faulty}
    assert {("C1", code) for code in ("open", "short", "decade")} <= told
