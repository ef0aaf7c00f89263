"""Units read by ngspice: with our own parameters it reads what we read, so that a difference is the parameters'."""

from __future__ import annotations

import pathlib
import random

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec
from benchcheck.circuit.devices import Mosfet
from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.spread import single_junctions
from tests.circuit.ngspice import PROGRAM
from tests.diagnosis import boards, population
from tests.diagnosis.spice_units import spice_drawn, spice_readings, spice_row

ROOT = pathlib.Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="needs ngspice, the second opinion")


def _shots(engine: Engine) -> list[Shot]:
    nets = ("OUT", "GND", "BASE", "VCC", "BATT", "V5")
    pairs = [(red, black) for red in nets for black in nets if red != black]
    return [Shot(*pair, function) for pair in pairs for function in (Function.OHMS, Function.DIODE)]


def test_ngspice_reads_a_nominal_board_as_we_do(engine: Engine, tmp_path: pathlib.Path) -> None:
    shots = _shots(engine)
    by_spice = spice_readings(engine, single_junctions(engine.netlist), shots, 27.0, tmp_path).value
    ours = read_under(engine.board, engine.bench, engine.netlist, engine.hypotheses[:1], shots)[0]
    assert (np.isnan(by_spice) == np.isnan(ours)).all()
    assert np.isfinite(ours).sum() > len(shots) / 2
    known = np.isfinite(ours)
    np.testing.assert_allclose(by_spice[known], ours[known], rtol=2e-3, atol=1e-3)


def test_a_twin_is_alike_in_all_but_its_fault(engine: Engine) -> None:
    whole = spice_drawn(engine.board, engine.netlist, "one")
    less = spice_drawn(engine.board, engine.netlist.replacing("R2"), "one")
    assert [one for one in whole.devices if one.designator != "R2"] == list(less.devices)
    assert whole.devices != spice_drawn(engine.board, engine.netlist, "another").devices


def test_ngspice_reads_a_channels_body_of_another_ideality_as_we_do(engine: Engine, tmp_path: pathlib.Path) -> None:
    channel = next(one for one in engine.netlist.devices if isinstance(one, Mosfet))
    ends = (channel.source, channel.drain) if channel.channel == "N" else (channel.drain, channel.source)
    shots = [Shot(*ends, Function.DIODE)]
    unit = spice_drawn(engine.board, engine.netlist, "another body 3")
    assert next(one.model.body for one in unit.devices if isinstance(one, Mosfet)).ideality > 1.5
    by_spice = spice_readings(engine, unit, shots, 27.0, tmp_path).value
    ours = read_under(engine.board, engine.bench, unit, engine.hypotheses[:1], shots)[0]
    assert by_spice == pytest.approx(ours, rel=2e-3)


def test_a_schottky_diode_that_leaks_far_more_than_ours_is_no_second_fault(tmp_path: pathlib.Path) -> None:
    """Its leakage next to the test current, one reading hangs on a thousandth of it and is not explained."""
    engine = Engine(load_spec(ROOT / "specs/halvorne-r52.toml"), boards.bench())
    shots, leaky = engine.predictions.shots, next(one for one in engine.hypotheses if str(one) == "Q5 leaky")
    row = spice_row(engine, leaky, shots, f"spice {engine.board.model} 95", 29.8, tmp_path)
    unit = population.unit_of(engine, shots, engine.row_of(leaky), row, random.Random("leaks"))
    found = ranked(engine, unit.evidence)
    assert found.leading[0][0].hypothesis is leaky
    assert [unit.evidence.seen[int(at)].shot.black for at in found.unexplained] == ["MOT"]
