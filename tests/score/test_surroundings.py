"""The seam for a solved circuit: the part's own value is judged, as far as the parts around let it be."""

from __future__ import annotations

import pytest

from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.metrology import Budget, Contribution, Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.surroundings import Solved
from tests.factories import bench, check, reading

CHECK = check("R14.resistance", limits=Limits(9.5e3, 10.5e3), expected=10e3, evidence=Evidence.LOWERED)


def judged(own_ohm: float, around_ohm: float, *, complete: bool = True) -> Score:
    """A reading of 909 ohm that somebody solved: the part's own value, and what R13's tolerance makes of it."""

    def solver(of: Check, read: Budget) -> Solved:
        assert of is CHECK
        assert read.value == pytest.approx(909.0)
        meter = Contribution.from_limits("dmm.ohms.6k.accuracy", "meter", 100.0)
        around = Contribution.from_limits("R13.tolerance", "tolerance of R13", around_ohm)
        return Solved(Budget(own_ohm, "ohm", (meter, around)), (("R13", "R13.tolerance"),), complete)

    return judge(CHECK, [reading(CHECK, "909")], bench(), Session(), surroundings=solver)


def test_a_solved_part_is_judged_by_its_own_value() -> None:
    found = judged(10.05e3, 50.0)
    assert (found.verdict, found.value) == (Verdict.PASS, 10.05e3)
    assert found.conformance_probability == pytest.approx(1.0)


def test_a_solved_part_fails_on_either_side_and_low_may_be_a_path_nobody_drew() -> None:
    assert judged(12e3, 50.0).verdict is Verdict.FAIL
    low = judged(8e3, 50.0)
    assert low.verdict is Verdict.FAIL
    assert "a bridge" in low.because


def test_where_the_tolerances_around_dominate_the_circuit_is_named_and_a_leg_is_to_be_lifted() -> None:
    found = judged(10.4e3, 600.0)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "R13" in found.because
    assert "lift one leg" in found.change


def test_where_the_meter_dominates_the_verdict_is_the_meters() -> None:
    assert judged(10.45e3, 10.0).verdict is Verdict.CONDITIONAL_PASS


def test_a_solution_over_incomplete_nets_leaves_the_evidence_one_sided() -> None:
    found = judged(10.05e3, 50.0, complete=False)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)


def test_a_circuit_nobody_can_solve_leaves_everything_as_it_was() -> None:
    plain = judge(CHECK, [reading(CHECK, "909")], bench(), Session())
    unsolved = judge(CHECK, [reading(CHECK, "909")], bench(), Session(), surroundings=lambda of, read: None)
    assert plain == unsolved
