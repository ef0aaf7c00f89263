"""What is foreseen of readings: held against the conditional mean and covariance of a normal distribution."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.diagnose import ranked
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.foreseen import beforehand, given
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.meter_strays import NOT_SHARED
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
    values = np.array([*(one.value for one in held.seen), *p.mean[0]])
    unit = np.nan_to_num(np.concatenate([held.scale[0], np.where(p.in_ratio, p.mean[0], 1.0)]))
    unit[unit == 0.0] = np.inf
    meter = by_meter(engine, values, [*columns, *range(len(p.shots))]) / np.outer(unit, unit)
    alone = (held.meter / held.scale[0]) ** 2 - np.diag(meter)[:2]
    noise = alone + INFLATED**2 * (p.own[0, columns] ** 2 + p.bent[0, columns] ** 2)
    prior, of_taken = slopes.T @ slopes + meter[2:, 2:], slopes[:, columns].T @ slopes[:, columns] + meter[:2, :2]
    with_taken = slopes.T @ slopes[:, columns] + meter[2:, :2]
    weight = with_taken @ np.linalg.inv(of_taken + np.diag(noise))
    shift = weight @ (held.error[0] / held.scale[0])
    expected = np.where(p.in_ratio, p.mean[0] * np.exp(shift), p.mean[0] + shift)
    found = given(p, engine.errors, held)
    assert found.mean[0] == pytest.approx(expected, rel=1e-6, nan_ok=True)
    at = column(engine, "R9.resistance")
    told = (weight @ with_taken.T)[at, at] / prior[at, at]
    limit = engine.errors.limit_of_error(p.shots[at].function, p.mean[0, [at]])[0]
    left = (1.0 - told) * (slopes.T @ slopes)[at, at] + INFLATED**2 * (p.own[0, at] ** 2 + p.bent[0, at] ** 2)
    of_meter = limit**2 / 3.0 * (NOT_SHARED**2 + (1.0 - NOT_SHARED**2) * (1.0 - told))
    assert found.sigma[0, at] == pytest.approx(np.sqrt(of_meter + expected[at] ** 2 * left), rel=1e-6)


def by_meter(engine: Engine, values: np.ndarray, columns: list[int]) -> np.ndarray:
    """Return the covariance of readings by gain and offset of their range, a limit of error their sum (JCGM 100)."""
    errors, count = engine.errors, len(values)
    found = np.zeros((count, count))
    functions = [engine.predictions.shots[at].function for at in columns]
    places = [int(errors.range_of(each, np.array([value]))[0]) for each, value in zip(functions, values, strict=True)]
    ranges = list(zip(functions, places, strict=True))
    for a, b in product(range(count), repeat=2):
        line = errors.line_of(*ranges[a])
        if ranges[a] == ranges[b] and line is not None and np.isfinite(values[[a, b]]).all():
            offset, (one, other) = line[0], line[1] * values[[a, b]]
            found[a, b] = one * other + offset**2 + 2.0 * offset * np.sqrt(one * other)
    return found * (1.0 - NOT_SHARED**2) / 3.0


def test_a_drop_is_foreseen_by_another_read_on_the_same_meter(engine: Engine) -> None:
    """Base to collector after base to emitter: nothing that the meter is off by blurs the two any more."""
    at = column(engine, "Q1.bc_drop")
    limit = engine.errors.limit_of_error(Function.DIODE, engine.predictions.mean[0, [at]])[0]
    held = hold(engine.predictions, [seen(engine, "Q1.be_drop", 1.01)], engine.errors)
    before, after = beforehand(engine.predictions, engine.errors), given(engine.predictions, engine.errors, held)
    assert before.sigma[0, at] > limit / np.sqrt(3.0)
    assert after.sigma[0, at] < 0.6 * limit / np.sqrt(3.0)


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
