"""Volts near zero under power are also what tips in the air show: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.readings.reading import CLIPS_SEEN, Session
from benchcheck.readings.typed import read_typed
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score, Verdict
from tests.factories import bench, check

BIAS = check("C9.bias", Function.DC_VOLTAGE, Phase.RAILS, limits=Limits(0.0, 16.0))
RAIL = check("V6.voltage[0A]", Function.DC_VOLTAGE, Phase.RAILS, limits=Limits(5.7, 6.3))
RIPPLE = check("V6.ripple", Function.AC_VOLTAGE, Phase.RAILS, limits=Limits(None, 0.06))


def score(one: Check, *shown: str, note: str = "") -> Score:
    return judge(one, tuple(replace(read_typed(one, text), note=note) for text in shown), bench(), Session())


@pytest.mark.parametrize("shown", ["0.000", "0.0123", "-0.004"])
def test_a_bias_that_reads_nothing_proves_no_polarity(shown: str) -> None:
    found = score(BIAS, shown)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CONTACT)
    assert "is also what tips in the air show, and says nothing of which way round C9 lies" in found.because
    assert "both tips are on their points" in found.change


def test_a_bias_that_is_there_or_of_which_one_contact_saw_it_is_judged_as_ever() -> None:
    assert score(BIAS, "8.97").verdict is Verdict.PASS
    assert "tips in the air" not in score(BIAS, "0.000", "8.97").because
    assert score(BIAS, "-0.4").verdict is Verdict.FAIL
    assert "tips in the air" not in score(BIAS, "-0.4").because


def test_a_dead_rail_is_a_fail_that_says_the_tips_may_be_off() -> None:
    found = score(RAIL, "0.000")
    assert found.verdict is Verdict.FAIL
    assert found.because.endswith("; tips in the air show the same")
    assert found.change.startswith("see that both tips are on their points and the supply is up. Read again")
    assert "tips in the air" not in score(RAIL, "4.2").because


def test_no_ripple_at_all_passes_with_a_word_of_the_tips_unless_they_were_seen_on() -> None:
    found = score(RIPPLE, "0.000")
    assert found.verdict is Verdict.PASS
    assert "tips in the air" in found.because
    assert score(RIPPLE, "0.002").because == ""
    assert score(RIPPLE, "0.000", note=f"{CLIPS_SEEN}: 6.003 V of direct volts").because == ""


def test_off_the_supply_nothing_is_said_of_it() -> None:
    charge = check("V6.residual_voltage", Function.DC_VOLTAGE, Phase.RESIDUAL_VOLTAGE, limits=Limits(-0.05, 0.05))
    assert score(charge, "0.000").verdict is Verdict.PASS
