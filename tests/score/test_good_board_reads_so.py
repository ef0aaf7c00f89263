"""What the good board reads convicts nobody, and a fail names what else would read so."""

from __future__ import annotations

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

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-33"\nhazards = []\n'
COMPLETE = "[net.A]\ncomplete = true\n[net.K]\ncomplete = true\n"
METER = bench("handheld-6000")
TEST_CURRENT_A = 1e-3
DIODE = '[part.D1]\nkind = "diode"\nnets = { anode = "A", cathode = "K" }\n'


def winding(ohm: float) -> str:
    return f'[part.K1]\nkind = "winding"\nvalue = "{ohm:g} ohm"\ntolerance = "10 %"\nnets = ["A", "K"]\n'


def electrolytic(name: str) -> str:
    nets = 'nets = { plus = "A", minus = "K" }'
    return f'[part.{name}]\nkind = "electrolytic"\nvalue = "100 uF"\nrated_voltage = "16 V"\n{nets}\n'


def board(*parts: str, nets: str = "") -> Board:
    return load_board(parse_document(HEAD + nets + "".join(parts), "x.toml"))


def score(on: Board, check_id: str, shown: str) -> Score:
    check = on.by_id[check_id]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


@pytest.mark.parametrize("nets", [COMPLETE, ""], ids=["complete", "unknown paths"])
@pytest.mark.parametrize("ohm", [56.0, 120.0])
def test_a_diode_across_its_coil_is_not_convicted_by_the_drop_of_the_coil(ohm: float, nets: str) -> None:
    """Ohm's law: 1 mA through 56 ohm is 56 mV, and a silicon junction takes nothing of it there."""
    shown = f"{TEST_CURRENT_A * ohm * 0.97:.4f}"
    found = score(board(DIODE, winding(ohm), nets=nets), "D1.forward_drop", shown)
    assert found.verdict is Verdict.UNDECIDED
    assert found.code in ((Reason.CIRCUIT,) if nets else (Reason.CIRCUIT, Reason.ONE_SIDED))
    assert "lift" in found.change


def test_metal_across_a_coil_and_its_diode_is_still_a_fail() -> None:
    found = score(board(DIODE, winding(56.0), nets=COMPLETE), "D1.forward_drop", "0.0000")
    assert found.verdict is Verdict.FAIL
    assert "D1 short" in found.because
    assert "K1 short" in found.because


def test_a_shorted_capacitor_beside_another_names_both() -> None:
    """Both lie between the same two nets: no reading there tells them apart."""
    found = score(board(electrolytic("C1"), electrolytic("C2"), nets=COMPLETE), "C1.leakage_screen", "0.06")
    assert found.verdict is Verdict.FAIL
    assert "it reads as C1 short would, and as C2 short would too" in found.because


def test_a_short_seen_by_the_check_of_polarity_may_lie_in_another_part() -> None:
    found = score(board(electrolytic("C1"), electrolytic("C2"), nets=COMPLETE), "C1.polarity[other]", "0.06")
    assert found.verdict is Verdict.FAIL
    assert "the wrong way round, or something across the same two nets is a short" in found.because


def resistor(name: str, ohm: str) -> str:
    return f'[part.{name}]\nkind = "resistor"\nvalue = "{ohm}"\ntolerance = "5 %"\nnets = ["A", "K"]\n'


@pytest.mark.parametrize(
    ("large", "small", "read"), [("10k", "100", "97.2"), ("47k", "1k", "950"), ("22k", "22", "22.0")]
)
def test_a_resistor_beside_a_much_smaller_one_is_not_convicted_by_its_tolerance(
    large: str, small: str, read: str
) -> None:
    """97.2 ohm is 10k beside 98.15 ohm, well within 5 % of 100 ohm (parallel resistances, any textbook)."""
    on = board(resistor("R1", large), resistor("R9", small), nets=COMPLETE)
    found = score(on, "R1.resistance", read)
    assert found.verdict is Verdict.UNDECIDED
    assert "R9" in found.because
    assert score(on, "R1.resistance", f"{float(read) / 2:.1f}").verdict is Verdict.FAIL


@pytest.mark.parametrize("read", ["0.2", "0.3", "0.5"])
def test_a_resistor_beside_a_choke_of_hardly_any_resistance_is_not_convicted(read: str) -> None:
    choke = '[part.L1]\nkind = "inductor"\ndc_resistance = { max = "0.4 ohm" }\nnets = ["A", "K"]\n'
    found = score(board(resistor("R1", "220"), choke, nets=COMPLETE), "R1.resistance", read)
    assert found.verdict is Verdict.UNDECIDED
