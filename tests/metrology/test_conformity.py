"""Verdicts and the guard bands they rest on."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    Budget,
    Contribution,
    DecisionRule,
    MultipleOfU,
    OutputDistribution,
    TargetSpecificRisk,
    ToleranceInterval,
    Verdict,
    assess,
    conformance_probability,
    from_scipy,
)
from benchcheck.metrology.distribution import level_of_factor

TWO_SIGMA = level_of_factor(2.0)
RULE = DecisionRule(coverage=TWO_SIGMA)
SIMPLE = DecisionRule("simple acceptance", MultipleOfU(0.0))
TOLERANCE = ToleranceInterval(90.0, 110.0)
ORDER = [Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL, Verdict.FAIL]


def normal(value: float, u: float = 1.0) -> OutputDistribution:
    return OutputDistribution(value, sigma=u)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (100.0, "pass"),
        (107.9, "pass"),
        (108.5, "conditional pass"),
        (109.99, "conditional pass"),
        (111.0, "conditional fail"),
        (112.5, "fail"),
        (91.5, "conditional pass"),
        (88.5, "conditional fail"),
        (87.0, "fail"),
    ],
)
def test_verdicts_of_ilac_g8_4_2_3_at_both_limits(value: float, verdict: str) -> None:
    assert assess(normal(value), TOLERANCE, RULE).verdict == verdict


@pytest.mark.parametrize(
    ("place", "verdict"),
    [(-1, "conditional pass"), (0, "conditional fail"), (1, "fail")],
)
@pytest.mark.parametrize("side", ["upper", "lower"])
def test_a_reading_exactly_on_a_limit_takes_the_worse_verdict(place: int, verdict: str, side: str) -> None:
    # u = 0.5 and U = 1: TL - w, TL and TL + w are whole numbers
    tolerance = ToleranceInterval(**{side: 10.0})
    rule = DecisionRule(coverage=TWO_SIGMA)
    w = assess(normal(10.0, 0.5), tolerance, rule).guard_band
    value = 10.0 + (place if side == "upper" else -place) * w
    assert assess(normal(value, 0.5), tolerance, rule).verdict == verdict


@pytest.mark.parametrize("value", [90.0, 110.0])
def test_simple_acceptance_fails_a_reading_on_a_limit(value: float) -> None:
    assert assess(normal(value), TOLERANCE, SIMPLE).verdict is Verdict.FAIL
    assert assess(normal(math.nextafter(value, 100.0)), TOLERANCE, SIMPLE).verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(100.0, "undecided"), (110.5, "undecided"), (138.0, "undecided"), (142.0, "fail"), (58.0, "fail")],
)
def test_without_an_acceptance_interval_only_a_clear_fail_decides(value: float, verdict: str) -> None:
    # u = 15, U = 30: the guard bands overlap, and only beyond 110 + 30 or 90 - 30 anything is shown
    found = assess(normal(value, 15.0), TOLERANCE, RULE)
    assert (found.acceptance, found.decides) == (None, False)
    assert found.verdict == verdict


def test_guard_bands_that_just_meet_leave_nothing() -> None:
    found = assess(normal(100.0, 5.0), TOLERANCE, RULE)
    assert found.guard_band == pytest.approx(10.0, rel=1e-14)
    assert found.verdict is Verdict.UNDECIDED


def test_a_one_sided_tolerance_always_leaves_an_acceptance_interval() -> None:
    found = assess(normal(5.0, 100.0), ToleranceInterval(lower=0.0), RULE)
    assert found.acceptance == ToleranceInterval(lower=found.guard_band)
    assert found.verdict is Verdict.CONDITIONAL_PASS


def test_a_tolerance_of_no_width_decides_nothing() -> None:
    zero = ToleranceInterval(5.0, 5.0)
    assert assess(normal(5.0), zero).verdict is Verdict.UNDECIDED
    assert assess(normal(5.0), zero).conformance_probability == 0.0
    assert assess(normal(9.0), zero).verdict is Verdict.FAIL


def test_an_exact_value_is_judged_by_the_limits_alone() -> None:
    exact = OutputDistribution(100.0)
    found = assess(exact, TOLERANCE)
    assert (found.verdict, found.guard_band, found.conformance_probability) == (Verdict.PASS, 0.0, 1.0)
    assert assess(exact.shifted(110.0), TOLERANCE).verdict is Verdict.FAIL
    assert assess(exact.shifted(111.0), TOLERANCE).conformance_probability == 0.0


def test_a_budget_is_judged_by_its_exact_distribution() -> None:
    meter = Budget(4700.0, "ohm", (Contribution.from_limits("dmm", "accuracy", 40.6),))
    found = assess(meter, ToleranceInterval(4653.0, 4747.0), DecisionRule(coverage=0.95))
    assert found.conformance_probability == 1.0  # 47 ohm are more than the meter can be off
    assert found.expanded_uncertainty == pytest.approx(0.95 * 40.6, rel=1e-12)
    assert found.coverage_factor == pytest.approx(0.95 * math.sqrt(3), rel=1e-12)
    assert (found.level, found.method) == (0.95, "exact sum of rectangular terms")
    assert found.verdict is Verdict.PASS


@pytest.mark.parametrize(("level", "k"), [(0.6827, 1.0), (0.9545, 2.0), (0.9973, 3.0)])
def test_a_rounded_sigma_level_means_the_whole_factor(level: float, k: float) -> None:
    found = assess(normal(100.0, 0.1), TOLERANCE, DecisionRule(coverage=level))
    assert found.coverage_factor == pytest.approx(k, rel=1e-13)
    assert found.expanded_uncertainty == pytest.approx(0.1 * k, rel=1e-13)
    assert found.level == pytest.approx(level, abs=5e-5)


def test_a_rule_is_printed_in_words() -> None:
    found = assess(normal(100.0), TOLERANCE)
    assert found.rule == "ILAC-G8:09/2019 4.2.3, w = 1 U, coverage 95.45 %"
    risk = DecisionRule("shop", TargetSpecificRisk(0.025), 0.95)
    assert str(risk) == "shop, specific risk 2.5 %, coverage 95 %"


def test_a_negative_multiple_rejects_only_what_is_surely_wrong() -> None:
    rule = DecisionRule("guarded rejection", MultipleOfU(-1.0), TWO_SIGMA)
    assert assess(normal(111.5), TOLERANCE, rule).verdict is Verdict.PASS
    assert assess(normal(112.5), TOLERANCE, rule).verdict is Verdict.FAIL


@given(st.floats(50, 150), st.floats(0.1, 20), st.floats(0, 3), st.floats(0, 3), st.booleans())
def test_a_wider_guard_band_never_makes_a_verdict_better(
    value: float, u: float, first: float, second: float, binary: bool
) -> None:
    narrow, wide = sorted((first, second))
    verdicts = [
        assess(normal(value, u), TOLERANCE, DecisionRule("r", MultipleOfU(r), binary=binary)).verdict
        for r in (narrow, wide)
    ]
    if verdicts[0] is Verdict.FAIL:
        assert verdicts[1] is not Verdict.PASS
    if verdicts[1] is Verdict.PASS:
        assert verdicts[0] is Verdict.PASS
    if Verdict.UNDECIDED not in verdicts and binary:
        assert ORDER.index(verdicts[0]) <= ORDER.index(verdicts[1])


@given(st.floats(80, 120), st.floats(0.01, 20))
def test_the_two_specific_risks_of_one_item_add_up_to_one(value: float, u: float) -> None:
    found = assess(normal(value, u), TOLERANCE)
    total = found.specific_false_accept_risk + found.specific_false_reject_risk
    assert total == pytest.approx(1.0, abs=1e-15)
    assert conformance_probability(normal(value, u), TOLERANCE) == pytest.approx(
        found.conformance_probability, abs=1e-15
    )


@given(st.floats(80, 120), st.floats(0.1, 20), st.sampled_from([1e-30, 1e-3, 1e30]))
def test_a_verdict_does_not_depend_on_the_unit(value: float, u: float, unit: float) -> None:
    plain = assess(normal(value, u), TOLERANCE)
    scaled = assess(normal(value * unit, u * unit), ToleranceInterval(90.0 * unit, 110.0 * unit))
    assert scaled.conformance_probability == pytest.approx(plain.conformance_probability, abs=1e-11)
    assert scaled.guard_band == pytest.approx(plain.guard_band * unit, rel=1e-12)


# target specific risk


@given(st.floats(1e-6, 0.5), st.floats(0.01, 30.0), st.sampled_from(["normal", "rectangular", "both"]))
def test_a_specific_risk_is_met_on_the_acceptance_limit(risk: float, u: float, shape: str) -> None:
    sigma, width = (0.0 if shape == "rectangular" else u), (0.0 if shape == "normal" else u)
    law = OutputDistribution(100.0, (width,), sigma)
    w = TargetSpecificRisk(risk).width(law, TOLERANCE, 0.0)
    acceptance = TOLERANCE.narrowed(w)
    if acceptance is None:
        best = assess(law, TOLERANCE).specific_false_accept_risk
        assert best >= risk * (1 - 1e-9)
    else:
        assert acceptance.upper is not None
        on_limit = assess(law.shifted(acceptance.upper), TOLERANCE).specific_false_accept_risk
        assert on_limit == pytest.approx(risk, rel=1e-6) or (on_limit <= risk and w == 0.0)


def test_one_limit_takes_the_quantile_two_close_limits_take_more() -> None:
    law, risk = normal(0.0), TargetSpecificRisk(0.05)
    assert risk.width(law, ToleranceInterval(upper=5.0), 2.0) == pytest.approx(1.6448536269514722, rel=1e-12)
    assert risk.width(law, ToleranceInterval(-5.0, 5.0), 2.0) == pytest.approx(1.6448536269514722, rel=1e-9)
    close = risk.width(law, ToleranceInterval(-2.1, 2.1), 2.0)
    assert close > 1.65
    assert law.outside(-2.1 - (2.1 - close), close) == pytest.approx(0.05, rel=1e-9)


def test_a_specific_risk_that_no_reading_meets_leaves_the_case_undecided() -> None:
    rule = DecisionRule("risk", TargetSpecificRisk(0.025))
    found = assess(normal(100.0, 8.0), TOLERANCE, rule)
    assert (found.decides, found.verdict) == (False, Verdict.UNDECIDED)


# refusals

REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "crossed": (lambda: ToleranceInterval(2.0, 1.0), "lower tolerance limit 2.0 lies above the upper limit 1.0"),
    "none": (ToleranceInterval, "a tolerance interval needs a lower limit, an upper limit or both"),
    "nan": (lambda: ToleranceInterval(math.nan, 1.0), "lower tolerance limit nan: a finite number is needed"),
    "infinite": (lambda: ToleranceInterval(0.0, math.inf), "upper tolerance limit inf: a finite number"),
    "level": (lambda: DecisionRule("shop", coverage=95), 'decision rule "shop": coverage 95: a probability'),
    "multiple": (lambda: MultipleOfU(math.nan), "guard band of nan U: a finite multiple"),
    "risk": (lambda: TargetSpecificRisk(0.6), "specific risk 0.6: a probability above 0 and up to 0.5"),
    "risk zero": (lambda: TargetSpecificRisk(0.0), "specific risk 0.0"),
    "width": (
        lambda: assess(normal(0.0, 1e300), TOLERANCE, DecisionRule("far", MultipleOfU(1e300))),
        "guard band inf: it must be a finite width; check the rule far",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_decisions_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape(message)):
        make()


def test_a_value_on_a_tolerance_limit_conforms() -> None:
    # JCGM 106 3.3.5: the limits belong to the interval; only a measured reading takes the worse side
    assert TOLERANCE.contains(90.0)
    assert TOLERANCE.contains(110.0)
    assert not TOLERANCE.contains(110.1)


def test_a_capability_index_is_the_tolerance_over_four_standard_uncertainties() -> None:
    # JCGM 106 9.5 example: 0.4 ohm over 4 x 0.04 ohm
    assert assess(normal(1500.0, 0.04), ToleranceInterval(1499.8, 1500.2)).capability_index == pytest.approx(2.5)
    assert assess(normal(1.0), ToleranceInterval(upper=2.0)).capability_index == math.inf
    assert assess(OutputDistribution(1.0), ToleranceInterval(0.0, 2.0)).capability_index == math.inf


def test_a_population_has_a_conformance_probability_too() -> None:
    # JCGM 106 7.2: whatever the distribution, it is the share between the limits
    law = from_scipy(stats.gamma(3.0, scale=2.0))
    assert conformance_probability(law, ToleranceInterval(upper=6.0)) == pytest.approx(0.576809918873, rel=1e-10)


def test_whatever_has_no_distribution_functions_is_no_population() -> None:
    with pytest.raises(MetrologyError, match="is no population: it has no pdf, cdf, sf, ppf"):
        from_scipy(3.0)
