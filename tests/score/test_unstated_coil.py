"""A coil whose inductance nobody states decides no ESR beside it, and what the good board hides is not promised."""

from __future__ import annotations

from math import pi

from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.capability import Decides, capabilities
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = (
    'benchcheck = 1\n[board]\nmodel = "Ellwick T-35"\nhazards = []\n'
    "[net.A]\ncomplete = true\n[net.G]\ncomplete = true\n"
)
TANTALUM = (
    '[part.C5]\nkind = "tantalum"\nvalue = "1 uF"\nrated_voltage = "16 V"\nesr = { max = "3 ohm" }\n'
    'nets = { plus = "A", minus = "G" }\n'
)
METER: Bench = bench("lcr-meter")


def board(coil: str) -> Board:
    text = f'{HEAD}{TANTALUM}[part.L1]\nkind = "inductor"\n{coil}nets = ["A", "G"]\n'
    return load_board(parse_document(text, "x.toml"))


def score(on: Board, shown: str) -> Score:
    check = on.by_id["C5.esr"]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


def test_beside_a_coil_of_unknown_inductance_nothing_convicts() -> None:
    """At resonance a good part reads high: 1 uF has 1.59 ohm at 100 kHz, and so has 2.5 uH (any textbook)."""
    assert abs(1.0 / (2 * pi * 1e5 * 1e-6) - 2 * pi * 1e5 * 2.53e-6) < 0.01
    found = score(board('dc_resistance = { max = "1 ohm" }\n'), "4.5")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "no inductance of L1" in found.because


def test_with_its_inductance_stated_the_part_is_judged() -> None:
    assert score(board('value = "1 mH"\n'), "9.0").verdict is Verdict.FAIL


def test_a_lower_limit_the_good_board_itself_reads_below_is_no_promise() -> None:
    """1 kohm beside a ceramic capacitor hides its insulation: the meter reads 1 kohm whatever the part is."""
    parts = (
        '[part.C1]\nkind = "capacitor"\nvalue = "100 nF"\nnets = ["A", "G"]\n'
        '[part.R9]\nkind = "resistor"\nvalue = "1k"\ntolerance = "1 %"\nnets = ["A", "G"]\n'
    )
    on, meter = load_board(parse_document(HEAD + parts, "x.toml")), bench("handheld-6000")
    check = on.by_id["C1.insulation"]
    (found,) = capabilities([check], meter, Session(), CircuitSolver(on, meter))
    assert found.decides is Decides.ONE_SIDED
    assert "lift" in found.workaround
