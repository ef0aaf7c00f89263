"""Checks of a receiver's supply, written in Python: `pytest examples/test_supply.py --bench simulated`.

The spec says what is right; the tests say what to look at, in the order a repairer would. Whatever `judge` takes is
kept in the unit's record, like a visit with `benchcheck verify`. On a bench of your own: `--unit "KR-6 no. 0412"
--bench bench.toml`; where no link reads a meter, the person at the terminal is asked.
"""

from __future__ import annotations

import pytest

from benchcheck import Bench, Check
from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Limits, Phase, Probe
from benchcheck.pytest_bench import Judge, LoadStep, UnitOnBench

pytestmark = pytest.mark.board("../specs/quillmere-kr6.toml")


@pytest.mark.parametrize("check", ["D3.forward_drop", "D3.reverse", "Q2.body_diode"])
def test_the_converters_junctions_are_right_way_round(judge: Judge, check: str) -> None:
    judge(check)


def test_the_new_reservoir_is_not_reversed(judge: Judge) -> None:
    judge("C9.polarity[marked]")


def test_nothing_stands_in_the_way_of_power(unit: UnitOnBench) -> None:
    assert unit.in_the_way() == ()


def test_the_bench_can_give_what_the_board_may_draw(bench: Bench, unit: UnitOnBench) -> None:
    limits = [one.current_limit for one in unit.board.supplies.values() if one.current_limit is not None]
    assert max(limits) <= max(one.ceiling.current_a for one in bench.supplies.values())


@pytest.mark.powered
def test_it_draws_little_when_idle(judge: Judge) -> None:
    judge("BATT.idle_current")


@pytest.mark.load_steps("VSW")
def test_the_nine_volt_rail_holds(judge: Judge, load_step: LoadStep) -> None:
    judge(load_step.check)


@pytest.mark.powered
def test_the_rail_sags_less_than_its_spec_allows(judge: Judge) -> None:
    judge("VSW.load_regulation")


@pytest.mark.powered
def test_a_point_the_spec_does_not_know(judge: Judge) -> None:
    """A check of one's own: what to set, where the probes go, the limits and who vouches for them."""
    judge(
        Check(
            "VSW.headroom",
            "VSW",
            "headroom",
            Function.DC_VOLTAGE,
            "V",
            Phase.RAILS,
            Limits(8.5, None, "common practice, no source: the audio stage clips below"),
            red=Probe("VSW", "VSW"),
            black=Probe("GND", "GND"),
            why="Below 8.5 V the audio stage clips at full volume.",
        )
    )
