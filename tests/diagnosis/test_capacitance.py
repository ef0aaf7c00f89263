"""Meters that read capacitance by a ramp, or at another frequency in each range, take part like any other."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.circuit.faults import faulty, parse_fault
from benchcheck.circuit.reading import solve_reading
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine, engine_for
from benchcheck.document import parse_document
from benchcheck.score.model_circuit import excitation_for

from . import boards

RAMP = boards.BENCH.replace('class = "handheld-6000"', 'class = "handheld-6000"\ncapacitance_by = "ramp"', 1)
RANGES = """\
benchcheck_bench = 1
[meter.dmm]
class = "handheld-6000"
leads = { resistance = "0.2 ohm", limits = "0.1 ohm" }
[meter.lcr]
class = "lcr-meter"
[use]
capacitance = "lcr"
esr = "lcr"
"""


@pytest.fixture(scope="module", params=[RAMP, RANGES], ids=["ramp", "ranges"])
def other(request: pytest.FixtureRequest) -> Engine:
    bench = load_bench(parse_document(request.param, "bench.toml"))
    return engine_for(boards.board(), bench, across=False)


@pytest.mark.parametrize("fault", ["good", "C1 open", "C1 decade x10", "C1 decade x0.1", "C2 open", "C1 short"])
def test_the_table_is_what_the_circuit_solves_alone(other: Engine, fault: str) -> None:
    row = next(at for at, one in enumerate(other.hypotheses) if str(one) == fault)
    column = next(at for at, shot in enumerate(other.checks) if shot.function is Function.CAPACITANCE)
    shot = other.checks[column]
    netlist = other.netlist if not row else faulty(other.netlist, parse_fault(fault, other.netlist))
    excitation = excitation_for(other.bench, Function.CAPACITANCE)
    assert excitation is not None
    alone = solve_reading(netlist, shot.red, shot.black, excitation).value
    found = float(other.predictions.mean[row, column])
    if alone is None or not other.predictions.known[row, column]:
        assert found != found or not other.predictions.known[row, column]
    else:
        assert found == pytest.approx(alone, rel=0.02)


@pytest.mark.parametrize("fault", ["C1 open", "C1 decade x10", "C1 decade x0.1"])
def test_a_capacitor_that_only_capacitance_tells_of_comes_first(other: Engine, fault: str) -> None:
    assert fault in [str(one.hypothesis) for one in _found(other, fault)]


def test_a_good_board_stays_good(other: Engine) -> None:
    assert "good" in [str(one.hypothesis) for one in _found(other, "good")]


def _found(engine: Engine, fault: str) -> list:  # type: ignore[type-arg]  # of what is ranked
    readings = boards.readings(engine, fault)
    found = diagnose(engine.board, engine.bench, readings, across=False)
    return list(found.leading[0])
