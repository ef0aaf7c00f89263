"""Overload and beeps bound the value; a bound decides only where it lies whole on one side of the limits."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.span import Span, judge_span
from tests.factories import bench, check, reading

#: beeps somewhere from 10 to 35 ohm; ohms to 60 Mohm; diode to 3 V from a source of 3 V.
BENCH = bench("handheld-6000")
PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED


def score(of: Check, text: str, on: Bench = BENCH, **more: Any) -> Score:
    return judge(of, [reading(of, text, **more)], on, Session())


def ohms(lower: float | None, upper: float | None, evidence: Evidence = Evidence.DIRECT) -> Check:
    return check("R1.resistance", limits=Limits(lower, upper), evidence=evidence)


@pytest.mark.parametrize(
    ("lower", "upper", "evidence", "verdict", "code"),
    [
        (1e6, None, Evidence.DIRECT, PASS, None),  # more than 59 Mohm is more than 1 Mohm
        (100e6, None, Evidence.DIRECT, UNDECIDED, Reason.METER),  # but not surely more than 100 Mohm
        (None, 1.0, Evidence.DIRECT, FAIL, None),
        (None, 100e6, Evidence.DIRECT, UNDECIDED, Reason.METER),
        (4.6e3, 4.8e3, Evidence.DIRECT, FAIL, None),
        (4.6e3, 4.8e3, Evidence.LOWERED, FAIL, None),  # too high convicts
        (1e6, None, Evidence.LOWERED, PASS, None),  # at least what was read
        (None, 1.0, Evidence.RAISED, UNDECIDED, Reason.ONE_SIDED),
        (1e6, None, Evidence.SCREEN, UNDECIDED, Reason.ONE_SIDED),
        (None, 1.0, Evidence.SCREEN, FAIL, None),
    ],
)
def test_overload_says_more_than_full_scale_and_no_more(
    lower: float | None, upper: float | None, evidence: Evidence, verdict: Verdict, code: Reason | None
) -> None:
    found = score(ohms(lower, upper, evidence), "OL")
    assert (found.verdict, found.code) == (verdict, code)
    assert bool(found.because) == bool(found.change) == (verdict is not PASS)


@pytest.mark.parametrize(
    ("lower", "upper", "shown", "verdict"),
    [
        (None, 1.0, "beep", UNDECIDED),  # less than 35 ohm is not yet less than 1 ohm
        (None, 35.0, "beep", UNDECIDED),
        (None, 35.1, "beep", PASS),
        (35.0, None, "beep", FAIL),
        (1.0, None, "beep", UNDECIDED),
        (1.0, None, "no beep", PASS),  # more than 10 ohm is more than 1 ohm
        (10.0, None, "no beep", UNDECIDED),
        (10e3, None, "no beep", UNDECIDED),
        (None, 10.0, "no beep", FAIL),
        (None, 12.0, "no beep", UNDECIDED),
    ],
)
def test_a_beep_says_less_than_the_threshold_at_most_and_no_beep_more_than_it_at_least(
    lower: float | None, upper: float | None, shown: str, verdict: Verdict
) -> None:
    assert score(ohms(lower, upper), shown).verdict is verdict


def test_a_fail_by_beep_sends_back_to_the_ohms_for_what_charges_beeps_too() -> None:
    assert "settled" in score(ohms(100.0, None), "beep").change


def test_a_beep_on_a_meter_whose_threshold_nobody_knows_decides_nothing() -> None:
    text = 'benchcheck_bench = 1\n[meter.esr]\nclass = "esr-meter"\n'
    found = score(ohms(None, 100.0), "beep", load_bench(parse_document(text, "bench.toml")))
    assert (found.verdict, found.code) == (UNDECIDED, Reason.METER)


def test_a_beep_is_no_reading_of_volts() -> None:
    drop = check("D1.forward_drop", Function.DIODE, limits=Limits(0.4, 0.8))
    assert score(drop, "beep").verdict is UNDECIDED


def test_a_climb_that_ends_in_overload_is_overload() -> None:
    assert score(ohms(1e6, None), "climbs to OL").verdict is PASS


def test_a_climb_with_its_end_noted_scores_as_that_end() -> None:
    assert score(ohms(1e6, None), "climbs to 2.1M").value == pytest.approx(2.1e6)


@pytest.mark.parametrize("shown", ["climbs", "falls"])
def test_a_movement_without_an_end_decides_nothing_and_says_to_wait(shown: str) -> None:
    found = score(ohms(1e6, None), shown)
    assert (found.verdict, found.code) == (UNDECIDED, Reason.METHOD)
    assert "wait" in found.change


def test_overload_on_a_range_picked_by_hand_is_only_more_than_that_range() -> None:
    found = score(ohms(1e6, None), "OL", meter_range="6k")
    assert (found.verdict, found.code) == (UNDECIDED, Reason.METER)
    assert "5.949 kohm" in found.because


def test_overload_of_a_capacitance_may_be_a_short_and_says_so() -> None:
    capacitor = check("C1.capacitance", Function.CAPACITANCE, limits=Limits(80e-6, 120e-6), evidence=Evidence.RAISED)
    found = score(capacitor, "OL")
    assert (found.verdict, found.code) == (UNDECIDED, Reason.ONE_SIDED)
    assert "short" in found.because


def test_an_open_junction_may_also_be_reversed_and_says_to_exchange_the_probes() -> None:
    found = score(check("Q1.be_drop", Function.DIODE, limits=Limits(0.45, 0.8)), "OL")
    assert found.verdict is FAIL
    assert "exchange red and black" in found.change


def test_a_number_and_an_overload_on_two_touch_downs_are_a_contact_problem() -> None:
    of = ohms(4.6e3, 4.8e3)
    found = judge(of, [reading(of, "4.68k"), reading(of, "OL", repeat=2)], BENCH, Session())
    assert (found.verdict, found.code) == (UNDECIDED, Reason.CONTACT)


ENDS = st.floats(-1e3, 1e3)


@given(ENDS, st.floats(1e-3, 1e3), ENDS, st.floats(1e-3, 1e3), st.sampled_from(Evidence))
def test_a_span_that_decides_still_decides_the_same_when_it_is_narrower(
    low: float, width: float, lower: float, span: float, evidence: Evidence
) -> None:
    of = ohms(lower, lower + span, evidence)
    wide = judge_span(of, Span(low, low + width, "seen", Reason.METER, "", "")).verdict
    narrow = judge_span(of, Span(low + width / 4, low + width / 2, "seen", Reason.METER, "", "")).verdict
    if wide is not UNDECIDED:
        assert narrow is wide


@given(ENDS, st.floats(1e-3, 1e3), ENDS, st.floats(1e-3, 1e3))
def test_whatever_evidence_convicts_direct_evidence_convicts(
    low: float, width: float, lower: float, span: float
) -> None:
    seen = Span(low, low + width, "seen", Reason.METER, "", "")
    direct = judge_span(ohms(lower, lower + span), seen).verdict
    for evidence in Evidence:
        found = judge_span(ohms(lower, lower + span, evidence), seen).verdict
        assert found in (direct, UNDECIDED)
