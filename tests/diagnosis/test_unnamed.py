"""Paths that a spec does not name: a good unit whose regulator draws current is not called faulty."""

from __future__ import annotations

import math

import numpy as np

from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.unnamed import UNNAMED, worth_of_unnamed

from . import boards

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
    held = hold(engine.predictions, (), engine.errors)
    assert worth_of_unnamed(engine.predictions, held, np.zeros(0), frozenset()) is None
    assert math.isclose(UNNAMED.odds, 0.1)
