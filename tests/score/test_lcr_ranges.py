"""An LCR meter reads a large electrolytic at 120 Hz, not at the 100 kHz of its smallest range."""

from __future__ import annotations

from math import pi

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.excitation import CapacitanceAtFrequency
from benchcheck.circuit.reading import solve_reading
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model_circuit import excitation_for, model_of
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

METER = bench("lcr-meter")
SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-34"
hazards = []
[net.A]
complete = true
[net.G]
complete = true
[part.C1]
kind = "capacitor"
value = "22 uF"
tolerance = "10 %"
nets = ["A", "G"]
[part.R1]
kind = "resistor"
value = "100 ohm"
tolerance = "1 %"
nets = ["A", "G"]
"""


def test_each_range_has_its_own_frequency() -> None:
    found = excitation_for(METER, Function.CAPACITANCE)
    assert isinstance(found, CapacitanceAtFrequency)
    assert [one.frequency_hz for one in found.ranges][:3] == [100e3, 10e3, 1e3]
    assert found.ranges[-1].frequency_hz == 120.0


def test_a_capacitor_beside_a_resistor_reads_its_own_value_as_a_parallel_equivalent() -> None:
    """In parallel, susceptances add and a resistor has none (any textbook): 22 uF stays 22 uF at every frequency."""
    board = load_board(parse_document(SPEC, "x.toml"))
    check = board.by_id["C1.capacitance"]
    found = judge(check, [reading(check, "22.0u")], METER, Session(), surroundings=CircuitSolver(board, METER))
    assert found.verdict is Verdict.PASS
    assert found.value is not None
    assert abs(found.value - 22e-6) < 0.01e-6


def test_a_series_resistance_counts_at_the_frequency_of_the_range() -> None:
    """With 12 ohm in series 22 uF shows C / (1 + (w R C)^2), 21.16 uF at 120 Hz and 0.02 uF at 100 kHz."""
    own = 'value = "22 uF"\ntolerance = "10 %"\nnets = '
    through = '[net.M]\ncomplete = true\n[part.R2]\nkind = "resistor"\nvalue = "12 ohm"\nnets = ["A", "M"]\n'
    beside = SPEC.index("[part.R1]")
    text = SPEC[:beside].replace(own + '["A", "G"]', own + '["M", "G"]') + through
    board = load_board(parse_document(text, "x.toml"))
    excitation, model = excitation_for(METER, Function.CAPACITANCE), model_of(board)
    assert excitation is not None
    found = solve_reading(model.netlist, "A", "G", excitation)
    assert found.value == pytest.approx(22e-6 / (1.0 + (2.0 * pi * 120.0 * 12.0 * 22e-6) ** 2), rel=1e-9)
