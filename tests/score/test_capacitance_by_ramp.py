"""A meter that charges with a known current: what it reads beside a resistor, and what that lets it decide."""

from __future__ import annotations

from math import log

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.meter import MeterRange, ramp_volts
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.capability import Decides, capability
from benchcheck.score.judge import judge
from benchcheck.score.model_circuit import model_of
from benchcheck.score.solver import CircuitSolver
from benchcheck.simulation.hand import excitation_of
from benchcheck.simulation.probing import course_between
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import reading


def bench(by: str) -> Bench:
    said = f'capacitance_by = "{by}"\n' if by else ""
    text = f'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\n{said}leads = {{ nulled = true }}\n'
    return load_bench(parse_document(text, "bench.toml"))


def board(ohm: str) -> Board:
    nets = "".join(f"[net.{net}]\ncomplete = true\n" for net in "AB")
    return load_board(
        parse_document(
            f"""benchcheck = 1
[board]
model = "Ellwick T-12"
hazards = []
{nets}[part.C1]
kind = "capacitor"
value = "470 nF"
tolerance = "10 %"
nets = ["A", "B"]
[part.R1]
kind = "resistor"
value = "{ohm}"
tolerance = "1 %"
nets = ["A", "B"]
""",
            "x.toml",
        )
    )


@pytest.mark.parametrize("ohm", [1e6, 2e6, 10e6])
def test_a_resistor_beside_it_slows_the_ramp_by_the_closed_form(ohm: float) -> None:
    """V = I R (1 - exp(-t / RC)), so the time between two voltages is RC ln((IR - V1) / (IR - V2)) (any textbook)."""
    (first, other) = between(board(f"{ohm:.0f} ohm"), bench("ramp"), "A", "B", Function.CAPACITANCE).readings
    assert first.value == pytest.approx(ramp(470e-9, ohm)[0], rel=1e-4)
    assert other.value == pytest.approx(first.value, rel=1e-6)
    assert {share.part for share in first.shares} <= {"C1", "R1"}


def ramp(farad: float, ohm: float) -> tuple[float, MeterRange]:
    """What is shown, and the lowest range that holds it."""
    for one in bench("ramp").meters["dmm"].ranges_of(Function.CAPACITANCE):
        assert one.test_current_a is not None
        low, high = ramp_volts(one.compliance_v or 0.0)
        plateau = one.test_current_a * ohm
        if plateau > high:
            shown = plateau * farad * log((plateau - low) / (plateau - high)) / (high - low)
            if shown <= one.full_scale:
                return shown, one
    raise AssertionError(f"{farad:g} F beside {ohm:g} ohm: overload")


def test_beside_100_ohm_it_reads_overload_and_passes_nothing() -> None:
    """4.5 uA in 100 ohm are half a millivolt: the ramp never gets to a tenth of a volt."""
    spec, meter = board("100 ohm"), bench("ramp")
    assert between(spec, meter, "A", "B", Function.CAPACITANCE).readings[0].display == "OL"
    check = spec.by_id["C1.capacitance"]
    circuit = CircuitSolver(spec, meter)
    for text in ("470.0n", "OL"):
        score = judge(check, (reading(check, text),), meter, Session(), surroundings=circuit)
        assert score.verdict is Verdict.UNDECIDED
    found = circuit.both_ways(check)
    assert found is not None
    assert found.display == found.display_exchanged == "OL"
    assert capability(check, meter, Session(), spec.by_id, circuit).decides is not Decides.YES


def test_a_ramp_beside_a_large_resistor_still_judges_the_capacitor() -> None:
    spec, meter = board("2 Mohm"), bench("ramp")
    check = spec.by_id["C1.capacitance"]
    shown = between(spec, meter, "A", "B", Function.CAPACITANCE).readings[0].value
    assert shown is not None
    assert shown > 1.02 * 470e-9
    good = judge(
        check, (reading(check, f"{shown * 1e9:.1f}n"),), meter, Session(), surroundings=CircuitSolver(spec, meter)
    )
    assert good.value == pytest.approx(470e-9, rel=2e-3)
    assert good.verdict is Verdict.PASS


def test_a_meter_that_says_nothing_measures_at_a_frequency() -> None:
    for by in ("", "frequency"):
        first = between(board("100 ohm"), bench(by), "A", "B", Function.CAPACITANCE).readings[0]
        assert first.value == pytest.approx(470e-9, rel=1e-6)


def test_the_simulated_unit_is_read_as_the_solver_expects() -> None:
    spec, meter = board("2 Mohm"), bench("ramp")
    expected = between(spec, meter, "A", "B", Function.CAPACITANCE).readings[0].value
    _, chosen = ramp(470e-9, 2e6)
    course = course_between(model_of(spec).netlist, "A", "B", excitation_of(chosen))
    assert course.at(1.0) == pytest.approx(expected, rel=1e-6)


def test_another_way_is_refused_with_what_is_allowed() -> None:
    with pytest.raises(BenchError, match=r"meter.dmm.capacitance_by.*frequency.*ramp"):
        bench("bridge")
