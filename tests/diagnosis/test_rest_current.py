"""A junction passes something at rest, and a Schottky's is no small thing: capacitance beside it reads otherwise."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Diode
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.alternating import Alternating
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.hypotheses import GOOD
from benchcheck.diagnosis.predictions import predict, read_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.spread import leaking

from . import boards

#: C9 is seen through R19, past D9: how much of it shows depends on what D9 passes at rest.
BESIDE = """\
[part.C9]
kind = "capacitor"
value = "100n"
tolerance = "10 %"
nets = ["P", "Q"]
[part.D9]
kind = "diode"
technology = "schottky"
nets = { anode = "Q", cathode = "P" }
[part.R19]
kind = "resistor"
value = "10k"
tolerance = "1 %"
nets = ["Q", "S"]
[part.R29]
kind = "resistor"
value = "1k"
tolerance = "1 %"
nets = ["S", "GND"]
"""
SHOT = Shot("P", "S", Function.CAPACITANCE)


@pytest.fixture(scope="module")
def beside() -> Engine:
    return Engine(boards.board(boards.SPEC + BESIDE), boards.bench())


def test_the_slope_at_rest_is_that_of_the_diode_equation() -> None:
    """dI/dV at 0 V of I = IS (exp(V / (n VT)) - 1) is IS / (n VT) (any textbook); 25.9 mV more drop takes it down."""
    diode = next(one for one in Engine(boards.board(), boards.bench()).netlist.devices if isinstance(one, Diode))
    model = replace(diode.model, ideality=1.0, saturation_current_a=2.59e-6)
    alone = replace(diode, anode="A", cathode="K", model=model, drop_shift_v=0.0)
    at_rest = Alternating(Netlist([alone]), (), 1000.0).impedance("A", "K")[0]
    assert at_rest == pytest.approx(0.0259 / 2.59e-6, rel=1e-3)
    less = Alternating(Netlist([replace(alone, drop_shift_v=0.0259)]), (), 1000.0).impedance("A", "K")[0]
    assert less == pytest.approx(2.71828 * at_rest, rel=1e-3)


def test_a_unit_whose_junction_leaks_more_is_within_what_is_expected(beside: Engine) -> None:
    found = predict(beside.board, beside.bench, beside.netlist, [GOOD], [SHOT])
    expected, own = float(found.mean[0, 0]), float(found.own[0, 0])
    unit = leaking(beside.netlist, 1.0)
    read = float(read_under(beside.board, beside.bench, unit, [GOOD], [SHOT])[0, 0])
    assert abs(read - expected) > 0.2 * expected, "it shows"
    assert own >= abs(read - expected)
