"""What is foreseen of readings: held against the conditional mean and covariance of a normal distribution."""

from __future__ import annotations

import numpy as np
import pytest

from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.foreseen import beforehand, given
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.next_measurement import information
from benchcheck.diagnosis.robust import INFLATED
from benchcheck.diagnosis.suggestions import isolated, outlook

from . import boards


def column(engine: Engine, check: str) -> int:
    shot = engine.shot_of(engine.board.by_id[check])
    assert shot is not None
    return engine.predictions.shots.index(shot)


def seen(engine: Engine, check: str, times: float) -> Seen:
    at = column(engine, check)
    value = float(engine.predictions.mean[0, at]) * times
    return Seen(check, engine.predictions.shots[at], value, abs(value) * 1e-4)


def test_readings_to_come_are_those_of_a_conditional_normal_distribution(engine: Engine) -> None:
    # source: mean and covariance of a normal vector given a part of it (textbooks of statistics, as in Rasmussen and
    # Williams, Gaussian Processes for Machine Learning, MIT Press 2006, appendix A.2), here by numpy alone
    p, taken = engine.predictions, ["R1.resistance", "R9.resistance"]
    held = hold(p, [seen(engine, taken[0], 1.004), seen(engine, taken[1], 0.99)], engine.errors)
    columns = [column(engine, check) for check in taken]
    slopes = INFLATED * p.good
    noise = (held.meter / held.scale[0]) ** 2 + INFLATED**2 * (p.own[0, columns] ** 2 + p.bent[0, columns] ** 2)
    weight = slopes.T @ slopes[:, columns] @ np.linalg.inv(slopes[:, columns].T @ slopes[:, columns] + np.diag(noise))
    shift = weight @ (held.error[0] / held.scale[0])
    expected = np.where(p.in_ratio, p.mean[0] * np.exp(shift), p.mean[0] + shift)
    found = given(p, engine.errors, held)
    assert found.mean[0] == pytest.approx(expected, rel=1e-6, nan_ok=True)
    at, prior = column(engine, "R9.resistance"), slopes.T @ slopes
    left = np.diag(prior - weight @ prior[columns])[at] + INFLATED**2 * (p.own[0, at] ** 2 + p.bent[0, at] ** 2)
    meter = engine.errors.limit_of_error(p.shots[at].function, p.mean[0, [at]])[0] / np.sqrt(3.0)
    assert found.sigma[0, at] == pytest.approx(np.hypot(meter, expected[at] * np.sqrt(left)), rel=1e-6)


def test_the_same_nets_read_once_more_tell_nothing_new(engine: Engine) -> None:
    rows = [0, next(at for at, one in enumerate(engine.hypotheses) if str(one) == "Q1 leaky")]
    p, at = engine.predictions, column(engine, "C2.insulation")
    again = p.shots.index(p.shots[at].reversed)
    share = np.array([0.5, 0.5])
    held = hold(p, [seen(engine, "C2.insulation", 1.0)], engine.errors)
    before = information(beforehand(p, engine.errors).of(rows), share)
    after = information(given(p, engine.errors, held).of(rows), share)
    assert before[again] > 0.15
    assert after[again] < 0.3 * before[again]


@pytest.mark.parametrize("value", ["10 nF", "100 nF", "1 uF"])
def test_a_small_capacitor_read_once_is_known_as_well_as_a_large_one(value: str) -> None:
    part = f'kind = "capacitor"\nvalue = "{value}"\ntolerance = "10 %"\nnets = ["A", "B"]\n'
    text = '[board]\nmodel = "Ellwick T-1"\nrevision = "A"\nhazards = []\n[net.A]\ncomplete = true\n'
    alone = Engine(boards.board(f"benchcheck = 1\n{text}[part.C1]\n{part}"), boards.bench())
    p, at = alone.predictions, column(alone, "C1.capacitance")
    held = hold(p, [seen(alone, "C1.capacitance", 1.05)], alone.errors)
    before, after = beforehand(p, alone.errors), given(p, alone.errors, held)
    assert after.sigma[0, at] < 0.6 * before.sigma[0, at]
    assert after.mean[0, at] > 1.03 * p.mean[0, at]


def test_paths_the_spec_does_not_name_are_no_end_of_the_search(engine: Engine) -> None:
    at = column(engine, "VCC.to_ground[red:VCC]")
    low = Seen("VCC.to_ground[red:VCC]", engine.predictions.shots[at], 2100.0, 1.0)
    evidence = Evidence((low,), leads_ohm=0.2)
    diagnosis = ranked(engine, evidence)
    assert not isolated(diagnosis)
    assert outlook(engine, evidence, diagnosis).ways
