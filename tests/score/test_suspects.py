"""One faulty part convicts no good one beside it, and on a faulty board at least one check fails."""

from __future__ import annotations

from itertools import combinations

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

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-32"\nhazards = []\n'
METER = bench("handheld-6000")
#: three resistors between three nets, in ohm; no two of them alike
DELTA = {"R1": ("A", "B", 10e3), "R2": ("B", "C", 4.7e3), "R3": ("A", "C", 22e3)}


def board(parts: dict[str, tuple[str, str, float]], tolerance: str = "5 %") -> Board:
    nets = dict.fromkeys(net for one in parts.values() for net in one[:2])
    head = HEAD + "".join(f"[net.{net}]\ncomplete = true\n" for net in nets)
    entries = (
        f'[part.{name}]\nkind = "resistor"\nvalue = "{ohm:g}"\ntolerance = "{tolerance}"\nnets = ["{a}", "{b}"]\n'
        for name, (a, b, ohm) in parts.items()
    )
    return load_board(parse_document(head + "".join(entries), "x.toml"))


def score(on: Board, name: str, ohm: float) -> Score:
    check = on.by_id[f"{name}.resistance"]
    taken = [reading(check, "OL" if ohm > 60e6 else f"{ohm / 1e3:.3f}k")]
    return judge(check, taken, METER, Session(), surroundings=CircuitSolver(on, METER))


def side_by_side(*ohms: float) -> float:
    return 1.0 / sum(1.0 / each for each in ohms)


def read_in_delta(ohms: dict[str, float], name: str) -> float:
    """One side of a triangle beside the other two in series (any textbook)."""
    return side_by_side(ohms[name], sum(ohm for other, ohm in ohms.items() if other != name))


def test_a_neighbour_that_is_open_does_not_convict_a_good_part() -> None:
    """10k beside 22k and 10k in series reads 7.619k, and 10k with the 22k open."""
    on = board({"R1": ("A", "G", 10e3), "R2": ("A", "B", 22e3), "R3": ("B", "G", 10e3)})
    found = score(on, "R1", 10e3)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "reads as R2 open" in found.because
    assert "R1 is not shown" in found.because
    assert found.change.startswith("lift one leg of R1 and read again, or measure R2")
    culprit = score(on, "R2", 20e3)  # R1 and R3 in series
    assert culprit.verdict is Verdict.FAIL
    assert "it reads as R2 open would" in culprit.because


@pytest.mark.parametrize("bad", list(DELTA))
@pytest.mark.parametrize("factor", [0.1, 10.0, 1e9, 1e-9], ids=["decade low", "decade high", "open", "short"])
def test_a_gross_fault_fails_its_own_part_and_no_other_of_a_triangle(bad: str, factor: float) -> None:
    on = board(DELTA)
    ohms = {name: ohm * (factor if name == bad else 1.0) for name, (_, _, ohm) in DELTA.items()}
    verdicts = {name: score(on, name, read_in_delta(ohms, name)) for name in DELTA}
    failed = {name for name, found in verdicts.items() if found.verdict is Verdict.FAIL}
    assert failed == {bad}, {name: (found.verdict, found.because) for name, found in verdicts.items()}


def test_equal_parts_side_by_side_both_fail_and_each_names_the_other() -> None:
    on = board({"R1": ("A", "B", 10e3), "R2": ("A", "B", 10e3)})
    for name, other in (("R1", "R2"), ("R2", "R1")):
        for shown in (10e3, 9.99e3):
            found = score(on, name, shown)
            assert found.verdict is Verdict.FAIL
            assert f"it reads as {name} open would, and as {other} open would too" in found.because
            assert found.value is None


def test_what_no_gross_fault_of_one_neighbour_explains_fails_if_they_are_right() -> None:
    """5.5k beside 26.7k: 4.56k, which no open, short or decade of R2 or R3 makes of a good 10k."""
    found = score(board(DELTA), "R1", side_by_side(5.5e3, 26.7e3))
    assert found.verdict is Verdict.FAIL
    assert found.value == pytest.approx(5.5e3, rel=2e-3)
    assert "if the parts beside it are right" in found.because


def test_a_part_just_beyond_its_limit_stays_a_conditional_fail() -> None:
    """10.53k beside 26.7k: outside by less than the meter and the neighbours make of it (ILAC-G8:09/2019, 4.2.3)."""
    found = score(board(DELTA), "R1", side_by_side(10.53e3, 26.7e3))
    assert found.verdict is Verdict.CONDITIONAL_FAIL
    assert found.value == pytest.approx(10.53e3, rel=2e-3)


def test_a_good_board_fails_nothing() -> None:
    on = board(DELTA)
    ohms = {name: ohm for name, (_, _, ohm) in DELTA.items()}
    assert not any(score(on, name, read_in_delta(ohms, name)).verdict is Verdict.FAIL for name in DELTA)


@pytest.mark.parametrize("pair", list(combinations("ABC", 2)))
def test_alone_between_its_nets_a_part_fails_without_an_if(pair: tuple[str, str]) -> None:
    found = score(board({"R1": (*pair, 10e3)}), "R1", 12e3)
    assert found.verdict is Verdict.FAIL
    assert "if the parts" not in found.because


def test_a_reversed_diode_beside_it_is_named_before_a_resistor_is_convicted() -> None:
    """A diode turned round conducts at ohms' own current: 100k reads a drop over that current."""
    text = (
        HEAD + "[net.A]\ncomplete = true\n[net.B]\ncomplete = true\n"
        '[part.R1]\nkind = "resistor"\nvalue = "100k"\ntolerance = "5 %"\nnets = ["A", "B"]\n'
        '[part.D1]\nkind = "diode"\nnets = { anode = "B", cathode = "A" }\n'
    )
    on = load_board(parse_document(text, "x.toml"))
    check = on.by_id["R1.resistance"]
    turned = text.replace('anode = "B", cathode = "A"', 'anode = "A", cathode = "B"')
    there = load_board(parse_document(turned, "x.toml"))
    expected = CircuitSolver(there, METER).both_ways(there.by_id["R1.resistance"])
    assert expected is not None
    assert expected.value is not None
    shown = f"{expected.value:.4g}"
    found = judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "D1 reversed" in found.because
