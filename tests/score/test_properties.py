"""What must hold of every score, whatever the reading, the limits and the meter."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Evidence, Limits
from benchcheck.metrology import MultipleOfU, Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.explain import explain
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from tests.factories import bench, check, reading

BENCH = bench("handheld-6000")
RANK = {
    Verdict.PASS: 0,
    Verdict.CONDITIONAL_PASS: 1,
    Verdict.UNDECIDED: 2,
    Verdict.CONDITIONAL_FAIL: 3,
    Verdict.FAIL: 4,
}


def shown(value: float) -> Display:
    return Display(f"{value:.0f}", DisplayState.VALUE, value, 1.0)


def score(value: float, lower: float | None, upper: float | None, evidence: Evidence, multiple: float = 1.0) -> Score:
    one = check("R1.resistance", limits=Limits(lower, upper), evidence=evidence)
    rule = replace(BENCH.decision, guard_band=MultipleOfU(multiple))
    taken = Reading(one.id, shown(value), "ohm", Origin.TYPED)
    return judge(one, [taken], replace(BENCH, decision=rule), Session())


VALUES = st.integers(0, 5900).map(float)
LIMITS = st.tuples(st.integers(0, 5800).map(float), st.integers(1, 3000).map(float)).map(
    lambda p: (p[0], p[0] + p[1])
)


@given(VALUES, LIMITS, st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_a_wider_guard_band_never_makes_a_verdict_kinder(
    value: float, limits: tuple[float, float], first: float, second: float
) -> None:
    narrow, wide = sorted((first, second))
    before = score(value, *limits, Evidence.DIRECT, narrow).verdict
    after = score(value, *limits, Evidence.DIRECT, wide).verdict
    assert before is not None
    assert after is not None
    if before is Verdict.FAIL:
        assert after in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.UNDECIDED)
    assert not (
        before in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL) and after in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    )
    if after is Verdict.PASS:
        assert before is Verdict.PASS


@given(VALUES, LIMITS)
def test_paths_around_a_part_never_make_a_verdict_kinder_than_direct_evidence(
    value: float, limits: tuple[float, float]
) -> None:
    direct = score(value, *limits, Evidence.DIRECT)
    for evidence in (Evidence.LOWERED, Evidence.RAISED, Evidence.SCREEN):
        found = score(value, *limits, evidence)
        assert found.verdict is Verdict.UNDECIDED or found.verdict is direct.verdict
        assert found.verdict is not Verdict.PASS


@given(VALUES, st.floats(1.0, 5000.0))
def test_lowered_evidence_proves_a_lone_lower_limit_exactly_as_direct_evidence_does(
    value: float, lower: float
) -> None:
    direct, lowered = (score(value, lower, None, each) for each in (Evidence.DIRECT, Evidence.LOWERED))
    if direct.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS):
        assert lowered.verdict is direct.verdict
    else:
        assert (lowered.verdict, lowered.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)


@given(VALUES, LIMITS)
def test_a_probability_of_conformance_agrees_with_the_verdict(value: float, limits: tuple[float, float]) -> None:
    found = score(value, *limits, Evidence.DIRECT)
    assert found.conformance_probability is not None
    assert 0.0 <= found.conformance_probability <= 1.0
    if found.verdict is Verdict.PASS:
        assert found.conformance_probability > 0.95
    if found.verdict is Verdict.FAIL:
        assert found.conformance_probability < 0.05


@given(st.floats(1e-12, 1e12), LIMITS, VALUES)
def test_the_verdict_does_not_depend_on_the_scale_of_the_quantity_unit(
    scale: float, limits: tuple[float, float], value: float
) -> None:
    from benchcheck.metrology import Budget, Contribution, ToleranceInterval, assess

    def verdict(factor: float) -> Verdict:
        part = Contribution.from_limits("a", "accuracy", (0.008 * value + 3) * factor)
        budget = Budget(value * factor, "ohm", (part,))
        return assess(budget, ToleranceInterval(limits[0] * factor, limits[1] * factor), BENCH.decision).verdict

    edges = [limit + sign * (0.008 * value + 3) for limit in limits for sign in (-1, 0, 1)]
    if all(abs(value - edge) > 1e-6 * max(1.0, value) for edge in edges):
        assert verdict(scale) is verdict(1.0)


def test_the_half_width_and_the_exact_coverage_of_the_handheld_example() -> None:
    """4.7 kohm on "0.8 % + 3" of 1 ohm: half-width 40.6, exact 95 % figure 38.6 (own example)."""
    one = check("R1.resistance", limits=Limits(4.6e3, 4.8e3))
    rule = replace(BENCH.decision, coverage=0.95)
    found = judge(one, [reading(one, "4.700k")], replace(BENCH, decision=rule), Session(leads_ohm=0.0))
    assert found.budget is not None
    accuracy = found.budget.contributions[0]
    assert accuracy.half_width == pytest.approx(40.6)
    assert found.expanded_uncertainty == pytest.approx(38.6, rel=2e-3)


def test_the_voltmeter_example_of_the_guide() -> None:
    """JCGM 100:2008 4.3.7 Example 2: 0.928571 V on 14e-6 of reading + 2e-6 of range gives u = 8.7 uV."""
    from benchcheck.bench.load import load_bench
    from benchcheck.document import parse_document

    text = """
benchcheck_bench = 1
[meter.dvm]
[[meter.dvm.range]]
function = "dc_voltage"
full_scale = "1 V"
resolution = "1 uV"
accuracy = "0.0014 % + 0.0002 % range"
"""
    dvm = load_bench(parse_document(text, "bench.toml"))
    one = check("U1.output_voltage", Function.DC_VOLTAGE, limits=Limits(0.9, 1.0))
    found = judge(one, [reading(one, "0.928571")], dvm, Session())
    assert found.budget is not None
    assert found.budget.contributions[0].half_width == pytest.approx(1.4999994e-05, rel=1e-9)
    assert found.budget.contributions[0].standard_uncertainty == pytest.approx(8.660250574e-06, rel=1e-9)


def test_fewer_digits_than_the_display_shows_widen_the_budget_by_half_a_digit() -> None:
    one = check("R1.resistance", limits=Limits(4.6e3, 4.8e3))
    full, short = (judge(one, [reading(one, text)], BENCH, Session()) for text in ("4.680k", "4.68k"))
    assert full.budget is not None
    assert short.budget is not None
    assert len(short.budget.contributions) == len(full.budget.contributions) + 1
    digits = next(each for each in short.budget.contributions if each.id.endswith(".digits"))
    assert digits.half_width == pytest.approx(5.0)


def test_a_budget_is_told_so_that_it_can_be_recomputed_with_a_pencil() -> None:
    one = check("R1.resistance", limits=Limits(4.6e3, 4.8e3))
    found = judge(one, [reading(one, "4.68k")], BENCH, Session())
    lines = "\n".join(explain(found, one, BENCH.decision))
    for word in (
        "rectangular",
        "1.732",
        "combined standard uncertainty",
        "expanded uncertainty",
        "guard band",
        "verdict",
    ):
        assert word in lines
    assert all(len(line) <= 100 for line in lines.splitlines())
