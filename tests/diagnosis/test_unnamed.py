"""Paths that a spec does not name: a good unit whose regulator draws current is not called faulty."""

from __future__ import annotations

import math
import pathlib

import numpy as np

from benchcheck.builtin import load_spec
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED
from benchcheck.diagnosis.unnamed import least_with_paths, worth_of_unnamed
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.file import read_readings
from benchcheck.session.which_bench import bench_from

from . import boards

ROOT = pathlib.Path(__file__).parents[2]
EXAMPLE = ROOT / "examples/quillmere-kr6"
LOWER = {
    "VCC.to_ground[red:VCC]": "1.9k", "C1.leakage_screen": "1.9k", "C1.polarity[other]": "1.9k",
    "R2.resistance": "5.2k",
}  # fmt: skip


def test_readings_too_low_on_incomplete_nets_are_paths_the_spec_does_not_name(engine: Engine) -> None:
    known = {name: text for name, text in LOWER.items() if name in engine.board.by_id}
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good", known))
    assert UNNAMED in [one.hypothesis for one in found.ranked]


def test_a_fault_that_foretells_the_readings_stays_ahead_of_unnamed_paths(engine: Engine) -> None:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "C1 leaky"))
    assert found.ranked[0].hypothesis is not UNNAMED
    assert "leaky" in " ".join(str(one.hypothesis) for one in found.groups()[0][0])


def test_where_every_net_is_complete_nothing_is_left_to_unnamed_paths(engine: Engine) -> None:
    weighed = engine.weigh(Evidence(()))
    common = engine.predictions.common
    assert worth_of_unnamed(weighed.good, weighed.fits[0], weighed.held, frozenset(), common) is None
    assert math.isclose(UNNAMED.odds, 0.1)


def test_a_path_on_other_nets_does_not_explain_a_reading_on_a_net_declared_complete(engine: Engine) -> None:
    # BASE is complete: with VCC, V5 and GND joined, R2 and the transistor are all that lies between VCC and BASE
    shots = [shot for shot in engine.checks if {shot.red, shot.black} == {"VCC", "BASE"}]
    incomplete = engine.model.incomplete
    assert {"VCC", "GND"} <= incomplete
    assert "BASE" not in incomplete
    least = least_with_paths(engine.board, engine.bench, engine.netlist, [GOOD], shots, incomplete)[0]
    assert np.nanmin(least) > 5e3  # of R2's 10k
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good", {"R2.resistance": "10.01"}))
    assert UNNAMED not in [one.hypothesis for one in found.ranked]


def test_metal_on_metal_is_no_path_through_parts(engine: Engine) -> None:
    for check, text in (("D1.reverse", "0.02"), ("R9.resistance", "1.01")):
        reading = [boards.typed(check, text, engine.board.by_id[check].quantity_unit)]
        found = diagnose(engine.board, engine.bench, reading)
        assert found.ranked[0].hypothesis is not UNNAMED


def test_two_parts_turned_and_a_bridge_are_named_beside_what_the_spec_does_not_name() -> None:
    # the teaching example; its first line tells what is wrong with the unit
    board = load_spec(ROOT / "specs/quillmere-kr6.toml")
    bench = bench_from(str(EXAMPLE / "bench.toml"))
    checks = {check.id: check for check in session_checks()} | dict(board.by_id)
    assert "D3 and C12 reversed, gate and drain of Q2 bridged" in (EXAMPLE / "three-faults.csv").read_text("utf-8")
    readings = read_readings(EXAMPLE / "three-faults.csv", checks, bench).readings
    found = diagnose(board, bench, readings, across=False).ranked[0].hypothesis
    named = {str(fault) for fault in found.part_faults}
    assert named == {"D3 reversed", "C12 reversed", "bridge GDR LX"}
