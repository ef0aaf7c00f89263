"""The difference of a transistor's drops on a board: a resistor across one junction moves it by more than it is."""

from __future__ import annotations

from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge_derived
from benchcheck.score.model import Reason, Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

BOARD = """\
benchcheck = 1
[board]
model = "Ellwick T-6"
hazards = []
[net.B]
complete = true
[net.C]
complete = true
[net.E]
complete = true
[part.Q1]
kind = "bjt"
polarity = "NPN"
nets = { base = "B", collector = "C", emitter = "E" }
[part.R1]
kind = "resistor"
value = "OHMS"
tolerance = "5 %"
nets = ["B", "E"]
neighbour = true
[part.R2]
kind = "resistor"
value = "1M"
tolerance = "5 %"
nets = ["C", "E"]
neighbour = true
"""
METER = bench("handheld-6000")


def score(ohms: str, be: str, bc: str, *, around: bool = True) -> Score:
    on = load_board(parse_document(BOARD.replace("OHMS", ohms), "x.toml"))
    check = on.by_id["Q1.drop_difference"]
    sources = {name: [reading(on.by_id[name], text)] for name, text in zip(check.sources, (be, bc), strict=True)}
    solver = CircuitSolver(on, METER) if around else None
    return judge_derived(check, sources, METER, Session(), on.by_id, surroundings=solver)


def test_a_resistor_across_one_junction_convicts_no_good_transistor() -> None:
    """1 k takes 0.62 mA of a meter's milliampere: VT ln(1 / 0.38) = 25 mV less (Shockley); 6 mV are good."""
    assert score("1k", "0.615", "0.634", around=False).verdict is Verdict.FAIL
    found = score("1k", "0.615", "0.634")
    assert found.verdict is Verdict.UNDECIDED
    assert found.budget is not None
    beside = next(each for each in found.budget.contributions if each.id == "Q1.drop_difference.beside")
    assert 0.015 < beside.output_uncertainty * 3**0.5 < 0.05


def test_where_nothing_lies_beside_the_junctions_exchanged_leads_still_fail() -> None:
    assert score("10M", "0.580", "0.634").verdict is Verdict.FAIL


def test_drops_that_the_board_gives_without_the_transistor_have_no_difference_of_its_own() -> None:
    """Two diodes from base to emitter and to collector read 0.59 V each (Shockley) with no transistor fitted."""
    diodes = "".join(
        f'[part.{name}]\nkind = "diode"\nnets = {{ anode = "B", cathode = "{end}" }}\nneighbour = true\n'
        for name, end in (("D1", "E"), ("D2", "C"))
    )
    text = BOARD.replace("OHMS", "1M") + diodes
    on = load_board(parse_document(text, "x.toml"))
    check = on.by_id["Q1.drop_difference"]
    sources = {name: [reading(on.by_id[name], "0.590")] for name in check.sources}
    found = judge_derived(check, sources, METER, Session(), on.by_id, surroundings=CircuitSolver(on, METER))
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "Q1.be_drop" in found.because
