"""The series resistance of a capacitor beside others: its own value, or the parts around hide it."""

from __future__ import annotations

from math import pi

import pytest

from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-13"\nhazards = []\n'
COMPLETE = "[net.A]\ncomplete = true\n[net.B]\ncomplete = true\n"
METER = bench("esr-meter")


def bulk(name: str, value: str, most: str) -> str:
    return (
        f'[part.{name}]\nkind = "electrolytic"\nvalue = "{value}"\ntolerance = "20 %"\nrated_voltage = "16 V"\n'
        f'esr = {{ max = "{most}" }}\nnets = {{ plus = "A", minus = "B" }}\n'
    )


def other(kind: str, value: str) -> str:
    return f'[part.X1]\nkind = "{kind}"\nvalue = "{value}"\ntolerance = "5 %"\nnets = ["A", "B"]\n'


def board(*parts: str, nets: str = COMPLETE) -> Board:
    return load_board(parse_document(HEAD + nets + "".join(parts), "x.toml"))


def score(on: Board, shown: float) -> Score:
    check = on.by_id["C1.esr"]
    return judge(check, [reading(check, f"{shown:.5g}")], METER, Session(), surroundings=CircuitSolver(on, METER))


def beside(own_ohm: float, own_f: float, around: complex) -> float:
    """The resistive part of two impedances side by side at 100 kHz (any textbook)."""
    own = own_ohm + 1.0 / (2j * pi * 100e3 * own_f)
    return (own * around / (own + around)).real


def test_a_resistor_beside_it_is_taken_off() -> None:
    """4.7 ohm beside a 1 uF of 2 ohm, the leads nulled."""
    on = board(bulk("C1", "1 uF", "4 ohm"), other("resistor", "4.7 ohm"))
    found = score(on, beside(2.0, 1e-6, 4.7))
    assert found.value == pytest.approx(2.0, rel=1e-4)
    assert found.verdict is Verdict.PASS


def test_a_dried_part_shows_through_its_resistor() -> None:
    on = board(bulk("C1", "1 uF", "2 ohm"), other("resistor", "47 ohm"))
    assert score(on, beside(12.0, 1e-6, 47.0)).verdict is Verdict.FAIL


def test_a_good_bulk_capacitor_in_parallel_hides_a_dried_one() -> None:
    """220 uF of 0 to 0.3 ohm beside it: whatever the first has, the second is what is read."""
    on = board(bulk("C1", "100 uF", "0.3 ohm"), bulk("C2", "1000 uF", "0.3 ohm"))
    found = score(on, 0.14)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "C2" in found.because


def test_nets_that_are_not_complete_acquit_no_series_resistance() -> None:
    on = board(bulk("C1", "1 uF", "4 ohm"), other("resistor", "4.7 ohm"), nets="")
    assert score(on, beside(2.0, 1e-6, 4.7)).verdict is Verdict.UNDECIDED
