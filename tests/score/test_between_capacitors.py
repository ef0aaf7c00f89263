"""Series resistance and capacitance between two nets, against closed forms of series and parallel circuits."""

from __future__ import annotations

from math import pi

import pytest

from benchcheck.bench.functions import Function
from benchcheck.document import parse_document
from benchcheck.kinds.esr import esr_limits
from benchcheck.score.between import Between, between
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-9"\nhazards = []\n'
ELECTROLYTIC = """[part.C1]
kind = "electrolytic"
value = "220 uF"
tolerance = "20 %"
rated_voltage = "16 V"
nets = { plus = "A", minus = "B" }
"""
#: half of the largest a good part has: the series resistance expected of it
HALF_OHM = (esr_limits(220e-6, None, "", 16.0, tantalum=False).upper or 0.0) / 2.0
OMEGA = 2.0 * pi * 100e3


def board(*parts: str) -> Board:
    return load_board(parse_document(HEAD + "".join(parts), "x.toml"))


def capacitor(name: str, value: str) -> str:
    return f'[part.{name}]\nkind = "capacitor"\nvalue = "{value}"\ntolerance = "10 %"\nnets = ["A", "B"]\n'


def esr(*parts: str) -> Between:
    return between(board(*parts), bench("esr-meter"), "A", "B", Function.ESR)


def test_a_lone_electrolytic_reads_its_own_series_resistance_and_makes_all_of_it() -> None:
    """R in series with C: the real part of R + 1/(j w C) is R, whatever C (any textbook)."""
    (first, _) = esr(ELECTROLYTIC).readings
    assert first.value == pytest.approx(HALF_OHM, rel=1e-9)
    (share,) = first.shares
    assert share.part == "C1"
    assert share.percent == pytest.approx(100.0)
    assert first.standard_uncertainty is not None
    assert first.standard_uncertainty > HALF_OHM / 3**0.5 * 0.999  # rectangular from nothing to twice that


def test_capability_and_between_expect_the_same_series_resistance() -> None:
    spec, meter = board(ELECTROLYTIC), bench("esr-meter")
    found = CircuitSolver(spec, meter).both_ways(spec.by_id["C1.esr"])
    assert found is not None
    assert esr(ELECTROLYTIC).readings[0].value == pytest.approx(found.value, rel=1e-9)
    assert [share.part for share in found.shares] == ["C1"]


def test_a_bypass_capacitor_beside_it_takes_current_past_the_series_resistance() -> None:
    """Z = (R + 1/jwC)(1/jwD) / (R + 1/jwC + 1/jwD); its real part is R / ((1 + D/C)^2 + (w R D)^2) (computed)."""
    (first, _) = esr(ELECTROLYTIC, capacitor("C2", "10 uF")).readings
    beside, own = 10e-6, 220e-6
    expected = HALF_OHM / ((1.0 + beside / own) ** 2 + (OMEGA * HALF_OHM * beside) ** 2)
    assert first.value == pytest.approx(expected, rel=1e-6)
    assert {share.part for share in first.shares} == {"C1", "C2"}


def test_two_alike_beside_one_another_read_half_and_share_it() -> None:
    """Two equal impedances side by side are half of one (any textbook)."""
    (first, _) = esr(ELECTROLYTIC, ELECTROLYTIC.replace("C1", "C2")).readings
    assert first.value == pytest.approx(HALF_OHM / 2.0, rel=1e-9)
    assert [share.percent for share in first.shares] == [pytest.approx(50.0), pytest.approx(50.0)]


def test_a_dried_out_electrolytic_is_told_where_series_resistance_is_read() -> None:
    (first, _) = esr(ELECTROLYTIC).readings
    told = {each.fault: each.display for each in first.if_faulty}
    assert told["dry"] == f"{34.0 + HALF_OHM:.1f} ohm"  # 34 ohm are added (`FaultSizes.dry_ohm`)


def test_a_pair_that_is_inductive_has_no_capacitance() -> None:
    """100 uH beside 1 uF at 100 Hz: 0.063 ohm of winding take the current, which lags (any textbook)."""
    coil = '[part.L1]\nkind = "inductor"\nvalue = "100 uH"\nnets = ["A", "B"]\n'
    spec = board(coil, capacitor("C2", "1 uF"))
    (first, _) = between(spec, bench("bench-5.5"), "A", "B", Function.CAPACITANCE).readings
    assert first.value is None
    assert first.display == "inductive: capacitance not meaningful"


def test_what_is_below_the_last_digit_is_said_to_be() -> None:
    (first, _) = between(board(capacitor("C2", "1 uF")), bench("esr-meter"), "A", "B", Function.ESR).readings
    assert first.display == "0 ohm"
    faint = board(ELECTROLYTIC + 'esr = { max = "4 mohm" }\n')
    (first, _) = between(faint, bench("esr-meter"), "A", "B", Function.ESR).readings
    assert first.display == "below what the meter shows (10 mohm)"
