from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.faults import CODES
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.hypotheses import GOOD, OPERATOR_CODES, Hypothesis, hypotheses_of, operator_hypotheses
from benchcheck.score.model_circuit import model_of
from tests.simulation.units import demo


def named(engine: Engine, text: str) -> Hypothesis:
    return next(one for one in engine.hypotheses if str(one) == text)


def test_the_good_board_comes_first_and_every_code_is_fixed(engine: Engine) -> None:
    assert engine.hypotheses[0] is GOOD
    assert {one.code for one in engine.hypotheses[1:]} <= set(CODES)
    assert len({str(one) for one in engine.hypotheses}) == len(engine.hypotheses)


def test_every_hypothesis_says_where_its_odds_come_from(engine: Engine) -> None:
    assert all(one.origin and one.odds > 0.0 for one in engine.hypotheses)


def test_the_spec_overrides_priors(engine: Engine) -> None:
    assert abs(named(engine, "R1 decade x10").odds - 0.05 / 0.95) < 1e-12
    assert named(engine, "R1 decade x10").origin == "the spec"


def test_a_part_fitted_on_this_visit_is_likelier_to_be_wrong(engine: Engine) -> None:
    fitted, other = (named(engine, f"{part} decade x10").odds for part in ("C1", "C2"))
    assert fitted / other == pytest.approx(2.0, rel=0.01)


def test_workmanship_comes_before_the_part(engine: Engine) -> None:
    assert named(engine, "C2 missing-joint plus").odds > named(engine, "C2 open").odds


def test_only_a_part_that_bears_a_value_is_of_a_wrong_decade() -> None:
    """A fuse is marked with its current; the demo's L1 with no inductance."""
    board = demo()
    found = {one.designator for one in hypotheses_of(board, model_of(board).netlist) if one.code == "decade"}
    assert {"R14", "C9"} <= found
    assert not found & {"F1", "L1", "L2"}


def test_only_an_electrolytic_dries_out() -> None:
    """A ceramic and a solid tantalum have nothing in them that could."""
    board = demo()
    found = {one.designator for one in hypotheses_of(board, model_of(board).netlist) if one.code == "dry"}
    assert found == {name for name, part in board.parts.items() if part.kind == "electrolytic"}


def test_bridges_are_of_nets_that_meet_and_of_declared_pairs(engine: Engine) -> None:
    bridges = {frozenset(one.fault.split()[1:]) for one in engine.hypotheses if one.code == "bridge"}
    assert {frozenset(("BASE", "OUT")), frozenset(("BASE", "VCC")), frozenset(("OUT", "GND"))} <= bridges


def test_a_part_without_a_model_can_be_open_or_joined_inside(engine: Engine) -> None:
    assert named(engine, "U2 open").part_fault is None
    assert named(engine, "U2 short").part_fault is not None


def test_slips_of_the_hand_have_the_fixed_codes(engine: Engine) -> None:
    found = operator_hypotheses([("R1.resistance", Function.OHMS), ("C1.esr", Function.ESR)], engine.netlist)
    assert {one.code for one in found} == set(OPERATOR_CODES)
    assert all(one.designator == "" for one in found)
