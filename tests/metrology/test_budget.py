"""Budgets: combination, degrees of freedom, shares, shared errors, differences and ratios."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    Budget,
    Contribution,
    Correlation,
    Distribution,
    correlation_coefficient,
    covariance,
    coverage_factor,
    difference,
    ratio,
)

limits = Contribution.from_limits
standard = Contribution.from_standard


@st.composite
def contributions(draw: st.DrawFn) -> tuple[Contribution, ...]:
    count = draw(st.integers(1, 6))
    found = []
    for place in range(count):
        found.append(
            Contribution(
                f"c{place}",
                f"contribution {place}",
                draw(st.floats(1e-6, 1e3)),
                draw(st.sampled_from([each for each in Distribution if each is not Distribution.TRAPEZOIDAL])),
                sensitivity=draw(st.floats(-100, 100).filter(lambda c: abs(c) > 1e-3)),
                degrees_of_freedom=draw(st.one_of(st.just(math.inf), st.integers(1, 60))),
            )
        )
    return tuple(found)


@given(contributions(), st.randoms(use_true_random=False))
def test_a_budget_does_not_depend_on_the_order_of_its_contributions(
    parts: tuple[Contribution, ...], rng: object
) -> None:
    shuffled = list(parts)
    rng.shuffle(shuffled)  # type: ignore[attr-defined]
    plain, other = Budget(1.0, "V", parts), Budget(1.0, "V", tuple(shuffled))
    assert other.combined_standard_uncertainty == pytest.approx(plain.combined_standard_uncertainty, rel=1e-14)
    assert other.effective_degrees_of_freedom == pytest.approx(plain.effective_degrees_of_freedom, rel=1e-12)
    assert other.coverage(0.95).expanded_uncertainty == pytest.approx(
        plain.coverage(0.95).expanded_uncertainty, rel=1e-9
    )


@given(contributions(), st.sampled_from([1e-30, 1e-9, 1e3, 1e30]))
def test_a_budget_does_not_depend_on_the_scale_of_the_unit(parts: tuple[Contribution, ...], factor: float) -> None:
    plain = Budget(2.0, "V", parts)
    scaled = plain.scaled(factor, "other")
    assert (scaled.value, scaled.quantity_unit) == (2.0 * factor, "other")
    assert scaled.combined_standard_uncertainty == pytest.approx(
        plain.combined_standard_uncertainty * factor, rel=1e-13
    )
    assert scaled.effective_degrees_of_freedom == pytest.approx(plain.effective_degrees_of_freedom, rel=1e-9)
    assert scaled.coverage(0.9).coverage_factor == pytest.approx(plain.coverage(0.9).coverage_factor, rel=1e-9)
    assert scaled.shares == pytest.approx(plain.shares, rel=1e-12)


@given(contributions())
def test_shares_add_up_to_one(parts: tuple[Contribution, ...]) -> None:
    assert math.fsum(Budget(1.0, "V", parts).shares) == pytest.approx(1.0, rel=1e-12)


@given(contributions())
def test_a_further_contribution_never_makes_a_budget_smaller(parts: tuple[Contribution, ...]) -> None:
    plain = Budget(1.0, "V", parts)
    more = plain.with_contributions(standard("more", "more", 0.5))
    assert more.combined_standard_uncertainty >= plain.combined_standard_uncertainty


@given(contributions())
def test_a_row_can_be_recomputed_with_a_pencil(parts: tuple[Contribution, ...]) -> None:
    budget = Budget(1.0, "V", parts)
    for row, part in zip(budget.rows(), parts, strict=True):
        assert row.figure / row.divisor == pytest.approx(row.standard_uncertainty, rel=1e-12)
        assert row.standard_uncertainty * abs(row.sensitivity) == pytest.approx(row.output_uncertainty, rel=1e-12)
        share = (row.output_uncertainty / budget.combined_standard_uncertainty) ** 2
        assert row.share == pytest.approx(share, rel=1e-12)
        assert (row.contribution, row.id, row.origin) == (part.label, part.id, part.origin)
    assert math.sqrt(math.fsum(row.output_uncertainty**2 for row in budget.rows())) == pytest.approx(
        budget.combined_standard_uncertainty, rel=1e-12
    )


def test_welch_satterthwaite_over_known_parts() -> None:
    # GUM G.4.1: 4 / (1/4 + 1/9 ...) by hand: u1 = u2 = 1, nu 4 and 9: 4 / (1/4 + 1/9) = 144 / 13
    budget = Budget(
        0.0, "V", (standard("a", "a", 1.0, degrees_of_freedom=4), standard("b", "b", 1.0, degrees_of_freedom=9))
    )
    assert budget.effective_degrees_of_freedom == pytest.approx(144 / 13, rel=1e-15)
    assert budget.gum_coverage(0.95).coverage_factor == coverage_factor(0.95, 11)
    assert budget.gum_coverage(0.95).method == "Student's t with 11 degrees of freedom (GUM G.6.4)"


def test_without_finite_degrees_of_freedom_the_gum_takes_the_normal() -> None:
    budget = Budget(0.0, "V", (limits("a", "a", 1.0),))
    assert budget.effective_degrees_of_freedom == math.inf
    assert budget.gum_coverage(0.95).method == "normal (GUM G.6.4)"
    assert budget.gum_coverage(0.95).coverage_factor == pytest.approx(1.959963984540054, rel=1e-14)


def test_a_stated_factor_gets_the_level_it_has_on_this_distribution() -> None:
    # k = 1 on a rectangular covers 1/sqrt(3); k = 2 covers everything
    budget = Budget(10.0, "V", (limits("a", "a", 1.0),))
    one, two = budget.expanded(1.0), budget.expanded(2.0)
    assert one.level == pytest.approx(1 / math.sqrt(3), rel=1e-14)
    assert two.level == 1.0
    assert two.upper == pytest.approx(10 + 2 / math.sqrt(3), rel=1e-15)
    assert one.method == "k = 1, exact sum of rectangular terms"


def test_one_id_twice_is_one_error_acting_twice() -> None:
    both = Budget(0.0, "V", (standard("e", "e", 1.0), standard("e", "e", 1.0, sensitivity=2.0)))
    assert both.combined_standard_uncertainty == 3.0
    assert len(both.contributions) == 1


def test_one_error_of_two_sizes_adds_with_its_signs() -> None:
    # the accuracy of a range at two readings: half-widths 40.6 and 21.4
    first, second = Budget(4700.0, "ohm", (limits("e", "e", 40.6),)), Budget(2300.0, "ohm", (limits("e", "e", 21.4),))
    rest = difference(first, second)
    assert rest.combined_standard_uncertainty == pytest.approx((40.6 - 21.4) / math.sqrt(3), rel=1e-13)
    assert rest.coverage(0.95).expanded_uncertainty == pytest.approx(0.95 * (40.6 - 21.4), rel=1e-12)


def test_an_error_of_no_size_joins_quietly() -> None:
    nothing, some = limits("e", "e", 0.0), limits("e", "e", 2.0, degrees_of_freedom=8)
    for pair in ((nothing, some), (some, nothing)):
        joined = Budget(0.0, "V", pair)
        assert joined.combined_standard_uncertainty == pytest.approx(2.0 / math.sqrt(3), rel=1e-15)
    assert Budget(0.0, "V", (nothing, nothing)).combined_standard_uncertainty == 0.0


def test_one_id_with_two_shapes_is_refused() -> None:
    with pytest.raises(MetrologyError, match='contribution "e" is normal and rectangular at once'):
        Budget(0.0, "V", (standard("e", "e", 1.0), limits("e", "e", 1.0)))


def test_what_two_readings_share_cancels_and_what_remains_is_what_was_passed_in() -> None:
    shared = standard("null", "lead null", 0.05)
    own = standard("noise.1", "repeatability", 0.003), standard("noise.2", "repeatability", 0.004)
    first, second = (Budget(v, "ohm", (shared, part)) for v, part in zip((0.8, 0.5), own, strict=True))
    rest = difference(first, second, (limits("dnl", "linearity", 0.0),))
    assert rest.value == pytest.approx(0.3, rel=1e-12)
    assert rest.combined_standard_uncertainty == pytest.approx(0.005, rel=1e-12)
    assert difference(first, second, value=0.25).value == 0.25


def test_a_gain_error_cancels_in_a_ratio() -> None:
    def reading(value: float) -> Budget:
        return Budget(value, "ohm", (limits("gain", "gain", 0.008, sensitivity=value), standard("z", "offset", 1.0)))

    found = ratio(reading(4680.0), reading(4700.0))
    by_id = dict(zip((each.id for each in found.contributions), found.rows(), strict=True))
    assert by_id["gain"].output_uncertainty == pytest.approx(0.0, abs=1e-17)
    assert by_id["z"].output_uncertainty == pytest.approx(abs(1 / 4700 - 4680 / 4700**2), rel=1e-10)
    assert found.quantity_unit == ""


def test_a_ratio_of_two_units_says_so() -> None:
    volts, amperes = Budget.from_estimate("V", 1.0, 0.1, "V"), Budget.from_estimate("I", 2.0, 0.1, "A")
    assert ratio(volts, amperes).quantity_unit == "V/A"
    with pytest.raises(MetrologyError, match='difference of "V" and "A": both need the same quantity unit'):
        difference(volts, amperes)
    with pytest.raises(MetrologyError, match="the denominator is 0"):
        ratio(volts, Budget.from_estimate("I", 0.0, 0.1, "A"))


def test_repeated_readings_make_a_budget() -> None:
    budget = Budget.from_readings("r", "repeatability", [1.0, 2.0, 3.0], "V", limits("a", "a", 1.0))
    assert budget.value == 2.0
    assert [each.id for each in budget.contributions] == ["r", "a"]


def test_correlation_changes_the_combination() -> None:
    # GUM equation 16: u**2 = u1**2 + u2**2 + 2 r u1 u2
    parts = standard("a", "a", 3.0), standard("b", "b", 4.0, sensitivity=-1.0)
    for r in (-1.0, -0.5, 0.0, 0.5, 1.0):
        budget = Budget(0.0, "V", parts, (Correlation("a", "b", r),))
        assert budget.combined_standard_uncertainty == pytest.approx(math.sqrt(25 - 24 * r), rel=1e-14)
        assert math.fsum(budget.shares) == pytest.approx(1.0, rel=1e-14)


def test_full_correlation_cancels_without_a_rest() -> None:
    parts = standard("a", "a", 0.1), standard("b", "b", 0.1, sensitivity=-1.0)
    budget = Budget(0.0, "V", parts, (Correlation("a", "b", 1.0),))
    assert budget.combined_standard_uncertainty == 0.0


def test_correlated_contributions_count_once_in_the_degrees_of_freedom() -> None:
    # GUM H.2 in its second way: means of five simultaneous readings have four
    parts = standard("a", "a", 3.0, degrees_of_freedom=4), standard("b", "b", 4.0, degrees_of_freedom=4)
    budget = Budget(0.0, "V", parts, (Correlation("a", "b", 0.5),))
    assert budget.effective_degrees_of_freedom == pytest.approx(4.0, rel=1e-14)


def test_fully_correlated_limits_are_one_rectangular() -> None:
    parts = limits("a", "a", 3.0), limits("b", "b", 1.0)
    one = Budget(0.0, "V", parts, (Correlation("a", "b", 1.0),))
    other = Budget(0.0, "V", parts, (Correlation("a", "b", -1.0),))
    partly = Budget(0.0, "V", parts, (Correlation("a", "b", 0.5),))
    assert one.coverage(0.95).expanded_uncertainty == pytest.approx(0.95 * 4, rel=1e-12)
    assert other.coverage(0.95).expanded_uncertainty == pytest.approx(0.95 * 2, rel=1e-12)
    assert partly.coverage(0.95).method == "normal"
    nothing = Budget(0.0, "V", (limits("a", "a", 0.0), limits("b", "b", 0.0)), (Correlation("a", "b", 1.0),))
    assert nothing.coverage(0.95).expanded_uncertainty == 0.0


def test_uncertain_limits_make_the_whole_student() -> None:
    budget = Budget(0.0, "K", (limits("a", "a", 1.0, degrees_of_freedom=2), standard("b", "b", 0.1)))
    found = budget.coverage(0.95)
    assert found.method.startswith("Student's t with 2 degrees of freedom")
    assert found.expanded_uncertainty == pytest.approx(budget.gum_coverage(0.95).expanded_uncertainty, rel=1e-12)


def test_a_coefficient_of_zero_changes_nothing() -> None:
    parts = limits("a", "a", 3.0), limits("b", "b", 1.0)
    plain, stated = Budget(0.0, "V", parts), Budget(0.0, "V", parts, (Correlation("a", "b", 0.0),))
    assert stated.coverage(0.95) == plain.coverage(0.95)
    assert stated.effective_degrees_of_freedom == plain.effective_degrees_of_freedom


def test_three_errors_that_are_one_cancel_as_one() -> None:
    # their matrix is singular: one direction only is left
    parts = standard("a", "a", 1.0), standard("b", "b", 2.0), standard("c", "c", 3.0, sensitivity=-1.0)
    full = tuple(Correlation(x, y, 1.0) for x, y in (("a", "b"), ("a", "c"), ("b", "c")))
    assert Budget(0.0, "V", parts, full).combined_standard_uncertainty == 0.0


def test_covariance_follows_from_shared_contributions() -> None:
    shared = standard("s", "s", 2.0)
    first = Budget(0.0, "V", (shared, standard("a", "a", 1.0)))
    second = Budget(0.0, "V", (shared.times(-1.0), standard("b", "b", 1.0)))
    assert covariance(first, second) == -4.0
    assert correlation_coefficient(first, second) == pytest.approx(-0.8, rel=1e-15)
    assert covariance(first, second, (Correlation("a", "b", 0.5),)) == -3.5
    assert correlation_coefficient(first, Budget(0.0, "V", ())) == 0.0


@pytest.mark.parametrize("u", [1e-30, 1e-150, 1e30, 1e150])
def test_extreme_uncertainties_combine_without_loss(u: float) -> None:
    parts = standard("a", "a", 3 * u, degrees_of_freedom=4), limits("b", "b", 4 * u * math.sqrt(3))
    budget = Budget(0.0, "V", parts)
    assert budget.combined_standard_uncertainty == pytest.approx(5 * u, rel=1e-14)
    assert budget.effective_degrees_of_freedom == pytest.approx(4 * (5 / 3) ** 4, rel=1e-13)
    assert budget.coverage(0.95).coverage_factor == pytest.approx(
        Budget(0.0, "V", tuple(each.times(1 / u) for each in parts)).coverage(0.95).coverage_factor, rel=1e-9
    )


def test_sizes_far_apart_do_not_disturb_each_other() -> None:
    budget = Budget(0.0, "V", (limits("a", "a", 1e30), limits("b", "b", 1e-30), standard("c", "c", 1e-10)))
    assert budget.coverage(0.95).expanded_uncertainty == pytest.approx(0.95e30, rel=1e-12)


def test_a_budget_of_nothing_is_certain() -> None:
    budget = Budget(5.0, "V", ())
    found = budget.coverage(0.95)
    assert (found.lower, found.upper, found.expanded_uncertainty, found.method) == (5.0, 5.0, 0.0, "no uncertainty")
    assert budget.effective_degrees_of_freedom == math.inf
    assert Budget(5.0, "V", (limits("a", "a", 0.0),)).shares == (0.0,)


def test_a_sum_beyond_what_a_number_holds_is_refused() -> None:
    with pytest.raises(MetrologyError, match="beyond what a number can hold"):
        Budget(0.0, "V", (standard("a", "a", 1e300, sensitivity=1e300),))


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_is_finite(value: float) -> None:
    with pytest.raises(MetrologyError, match=r"budget value .* V: a finite number is needed"):
        Budget(value, "V", ())


CORRELATIONS = {
    "unknown": (
        [("a", "dm", 0.5)],
        'correlation of "a" and "dm": no contribution has the id "dm"; did you mean "dmm"',
    ),
    "itself": ([("a", "a", 0.5)], 'correlation of "a" and "a": a contribution is fully correlated with itself'),
    "range": ([("a", "dmm", 1.5)], 'correlation of "a" and "dmm": coefficient 1.5: a number from -1 to 1'),
    "nan": ([("a", "dmm", math.nan)], 'correlation of "a" and "dmm": coefficient nan'),
    "twice": ([("a", "dmm", 0.5), ("dmm", "a", 0.4)], 'correlation of "dmm" and "a": both 0.5 and 0.4 are given'),
    "impossible": (
        [("a", "dmm", 0.9), ("dmm", "c", 0.9), ("a", "c", -0.9)],
        'correlations of "a", "dmm", "c": their matrix is not positive semidefinite',
    ),
}


@pytest.mark.parametrize("case", CORRELATIONS)
def test_impossible_correlations_are_refused_by_name(case: str) -> None:
    stated, message = CORRELATIONS[case]
    parts = tuple(standard(name, name, 1.0) for name in ("a", "dmm", "c"))
    with pytest.raises(MetrologyError, match=message):
        Budget(0.0, "V", parts, tuple(Correlation(*each) for each in stated))


def test_a_correlation_given_twice_alike_counts_once() -> None:
    parts = standard("a", "a", 1.0), standard("b", "b", 1.0)
    twice = Budget(0.0, "V", parts, (Correlation("a", "b", 0.5), Correlation("b", "a", 0.5)))
    assert twice.combined_standard_uncertainty == pytest.approx(math.sqrt(3), rel=1e-14)
