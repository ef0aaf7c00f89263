"""The decision rule of a bench file, from its words to the widths of guard bands."""

from __future__ import annotations

import pytest

from benchcheck.bench.decision import GlobalRiskOfParts
from benchcheck.bench.load import load_bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError
from benchcheck.metrology import Budget, Contribution, DecisionRule, ToleranceInterval, Verdict, assess


def rule(words: str) -> DecisionRule:
    text = f'benchcheck_bench = 1\n[decision]\n{words}\n[meter.dmm]\nclass = "handheld-6000"\n'
    return load_bench(parse_document(text, "bench.toml")).decision


BUDGET = Budget(10.0, "V", (Contribution.from_expanded("m", "meter", 0.2, coverage_factor=2.0),))
BOTH, UPPER = ToleranceInterval(9.0, 11.0), ToleranceInterval(None, 11.0)


def test_without_words_the_rule_is_the_guides_with_one_u() -> None:
    found = rule("")
    assert found.name == "ILAC-G8:09/2019 4.2.3"
    assert assess(BUDGET, BOTH, found).guard_band == pytest.approx(0.2, rel=1e-3)


@pytest.mark.parametrize(("words", "width"), [('guard_band = "0.5 U"', 0.1), ('guard_band = "0 U"', 0.0)])
def test_a_multiple_of_u_is_taken_as_written(words: str, width: float) -> None:
    assert assess(BUDGET, BOTH, rule(words)).guard_band == pytest.approx(width, rel=1e-3, abs=1e-12)


def test_a_guard_band_of_nothing_is_called_what_it_is() -> None:
    assert rule('guard_band = "0 U"').name == "simple acceptance (JCGM 106 8.2)"


def test_a_specific_risk_puts_the_acceptance_limit_where_that_risk_is_met() -> None:
    """JCGM 106: w = u times the normal quantile of the risk; 1.96 u at 2.5 %."""
    found = rule('guard_band = { specific_risk = "2.5 %" }')
    assert assess(BUDGET, BOTH, found).guard_band == pytest.approx(1.959964 * 0.1, rel=1e-4)


def test_a_global_risk_needs_less_of_a_guard_band_the_better_the_parts_are() -> None:
    tight, loose = (
        assess(BUDGET, BOTH, rule(f'guard_band = {{ global_risk = "0.5 %", in_tolerance = "{share} %" }}')).guard_band
        for share in (99, 80)
    )
    assert 0.0 <= tight < loose < 0.2


def test_a_global_risk_takes_one_u_at_a_single_limit_and_says_so() -> None:
    found = rule('guard_band = { global_risk = "2 %" }')
    assert assess(BUDGET, UPPER, found).guard_band == pytest.approx(0.2, rel=1e-3)
    assert assess(BUDGET, UPPER, found).verdict is Verdict.PASS
    assert "w = 1 U at a single limit" in str(found.guard_band)
    assert isinstance(found.guard_band, GlobalRiskOfParts)


@pytest.mark.parametrize(
    "words",
    [
        'guard_band = { global_risk = "2 %", specific_risk = "2 %" }',
        'guard_band = { global_risk = "0 %" }',
        'guard_band = { global_risk = "2 %", in_tolerance = "100 %" }',
        'guard_band = "1"',
        'guard_band = "-1 U"',
        'coverage = "0 %"',
        'rule = " "',
    ],
)
def test_figures_that_make_no_rule_are_refused_with_their_line(words: str) -> None:
    with pytest.raises(BenchError, match=r"bench\.toml:\d+"):
        rule(words)
