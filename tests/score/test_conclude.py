"""What a score says beside its verdict: limits, distances, and a remedy that would really settle it."""

from __future__ import annotations

import re
from dataclasses import replace
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.metrology import Budget, Contribution, DecisionRule, MultipleOfU, Verdict
from benchcheck.quantity import parse_value
from benchcheck.readings.reading import Session
from benchcheck.score.conclude import assessed, conclude
from benchcheck.score.finding import Finding
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from tests.factories import bench, check, reading

RULE = DecisionRule()


def found(of: Check, value: float, half_width: float, rule: DecisionRule = RULE) -> Finding:
    budget = Budget(value, "ohm", (Contribution.from_limits("m", "meter", half_width),))
    return conclude(of, budget, assessed(of, budget, rule), of.evidence)


def ohms(lower: float | None, upper: float | None, evidence: Evidence = Evidence.DIRECT) -> Check:
    return check("R1.resistance", limits=Limits(lower, upper), evidence=evidence)


LIMITS = st.sampled_from([(950.0, 1050.0), (None, 1000.0), (1000.0, None)])
PARTS = st.lists(
    st.tuples(st.sampled_from("abcdef"), st.floats(0.1, 20.0)), min_size=1, max_size=5, unique_by=lambda part: part[0]
)


@given(st.integers(900, 1100).map(float), st.floats(1.0, 60.0), st.floats(0.1, 2.0), LIMITS)
def test_a_meter_as_good_as_the_score_asks_for_would_settle_it(
    value: float, half_width: float, multiple: float, limits: tuple[float | None, float | None]
) -> None:
    rule = replace(RULE, guard_band=MultipleOfU(multiple))
    of = ohms(*limits)
    before = found(of, value, half_width, rule)
    asked = re.search(r"U below ([0-9.e-]+ \w+)", before.change)
    assume(asked is not None)
    assert asked is not None
    needed = parse_value(asked[1], "ohm")
    after = found(of, value, needed * 0.99 / 0.9545, rule)
    assert after.verdict in (Verdict.PASS, Verdict.FAIL)
    kinder = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    assert before.verdict is Verdict.UNDECIDED or (before.verdict in kinder) == (after.verdict is Verdict.PASS)


@given(st.floats(800.0, 1200.0), st.floats(0.1, 60.0), st.sampled_from(Evidence))
def test_only_an_unconditional_pass_has_nothing_to_say(value: float, half_width: float, evidence: Evidence) -> None:
    seen = found(ohms(950.0, 1050.0, evidence), value, half_width)
    silent = seen.verdict is Verdict.PASS
    assert bool(seen.because) == bool(seen.change) == (not silent)
    assert (seen.code is None) == (seen.verdict is not Verdict.UNDECIDED)


@given(PARTS, st.randoms(use_true_random=False))
def test_the_order_of_contributions_does_not_matter(parts: list[tuple[str, float]], shuffle: Random) -> None:
    def verdict(order: list[tuple[str, float]]) -> tuple[Verdict, float]:
        budget = Budget(1040.0, "ohm", tuple(Contribution.from_limits(name, name, size) for name, size in order))
        of = ohms(950.0, 1050.0)
        conformity = assessed(of, budget, RULE)
        assert conformity is not None
        return conclude(of, budget, conformity, of.evidence).verdict, conformity.expanded_uncertainty

    mixed = list(parts)
    shuffle.shuffle(mixed)
    plain, other = verdict(parts), verdict(mixed)
    assert plain[0] is other[0]
    assert plain[1] == pytest.approx(other[1], rel=1e-9)


def score(of: Check, text: str, meter_class: str = "handheld-6000", session: Session | None = None) -> Score:
    return judge(of, [reading(of, text)], bench(meter_class), session or Session())


def test_words_give_value_limit_distance_and_guard_band() -> None:
    seen = score(ohms(9.5e3, 10.5e3), "10.55k")
    assert seen.verdict is Verdict.CONDITIONAL_FAIL
    assert seen.because == "10.55 kohm lies 50 ohm above the upper limit 10.5 kohm, within the guard band of 109 ohm"
    assert seen.change == "a meter with U below 50 ohm"


def test_a_reading_on_the_limit_asks_for_another_reading_not_another_meter() -> None:
    seen = score(ohms(None, 4.7e3), "4.700k")
    assert seen.verdict is Verdict.CONDITIONAL_FAIL
    assert "lies on the upper limit" in seen.because
    assert "no meter settles" in seen.change


def test_missing_digits_are_asked_for_where_they_dominate() -> None:
    seen = score(check("D1.forward_drop", Function.DIODE, limits=Limits(0.50, 0.65)), "0.6")
    assert "every digit" in seen.change


def test_leads_are_to_be_nulled_where_they_dominate() -> None:
    leads = 'leads = { resistance = "0.3 ohm", limits = "0.2 ohm" }'
    text = f'benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-5.5"\n{leads}\n'
    of = ohms(None, 0.4)
    seen = judge(of, [reading(of, "0.600")], load_bench(parse_document(text, "bench.toml")), Session())
    assert seen.verdict is Verdict.CONDITIONAL_PASS
    assert "null the leads" in seen.change


def test_a_junction_that_reads_nearly_nothing_is_said_to_be_none() -> None:
    of = check("Q2.body_diode", Function.DIODE, limits=Limits(0.4, 0.75), first_step="join gate and source")
    seen = score(of, "0.020")
    assert "no junction" in seen.because
    assert seen.change.startswith("join gate and source, then touch down again")


def test_what_the_limits_presume_and_the_function_cannot_meet_is_a_question_of_method() -> None:
    of = check(
        "C1.esr", limits=Limits(None, 2.0), method="the limit is a maximum at 120 Hz", workaround="step the load"
    )
    assert (score(of, "0.8").code, score(of, "0.8").change) == (Reason.METHOD, "step the load")
    assert score(of, "9.0").verdict is Verdict.FAIL


def test_a_check_without_limits_has_nothing_to_be_judged_by() -> None:
    seen = score(ohms(None, None), "4.7k")
    assert (seen.verdict, seen.code) == (Verdict.UNDECIDED, Reason.METHOD)
    assert "spec" in seen.change


@pytest.mark.parametrize("evidence", [Evidence.LOWERED, Evidence.SCREEN])
def test_no_probability_is_claimed_where_the_reading_does_not_speak_for_the_part(evidence: Evidence) -> None:
    seen = score(ohms(4.6e3, 4.8e3, evidence), "4.70k")
    assert seen.code is Reason.ONE_SIDED
    assert seen.conformance_probability is None
    assert seen.expanded_uncertainty is not None


@pytest.mark.parametrize("shown", ["yes", "no", "ok"])
def test_an_answer_in_words_is_no_reading_of_a_meter(shown: str) -> None:
    gain = check("Q1.hfe", Function.HFE, limits=Limits(100.0, 400.0))
    seen = judge(gain, [reading(gain, shown)], bench("handheld-2000"), Session())
    assert (seen.verdict, seen.code) == (Verdict.UNDECIDED, Reason.METHOD)


@pytest.mark.parametrize(
    ("answers", "said", "verdict"),
    [
        (("stripe to GND", "reversed"), "Stripe to  gnd", Verdict.PASS),
        (("stripe to GND", "reversed"), "reversed", Verdict.FAIL),
        (("stripe to GND", "reversed"), "yes", Verdict.PASS),
        (("stripe to GND", "reversed"), "no", Verdict.FAIL),
        (("stripe to GND", "reversed"), "sideways", Verdict.UNDECIDED),
        (("no", "yes"), "yes", Verdict.FAIL),  # a question that should be answered no
        (("no", "yes"), "no", Verdict.PASS),
        (("yes", "no", "LX-7"), "lx-7", Verdict.PASS),
        (("yes", "no", "LX-7"), "yes", Verdict.PASS),
        (("yes", "no", "LX-7"), "no", Verdict.FAIL),
        (("yes", "no", "LX-7"), "LX-8", Verdict.FAIL),  # another lot than asked for
        ((), "Ellwick 2031", Verdict.PASS),  # noted, which is all that was asked
    ],
)
def test_a_visual_check_passes_by_its_first_answer(answers: tuple[str, ...], said: str, verdict: Verdict) -> None:
    seen = check("C1.orientation", Function.VISUAL, limits=Limits(), answers=answers)
    assert judge(seen, [reading(seen, said)], bench(), Session()).verdict is verdict
