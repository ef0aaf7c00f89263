"""Exact coverage: closed forms, series, mixtures and draws against each other and against scipy."""

from __future__ import annotations

import itertools
import math
import re
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Budget, Contribution, OutputDistribution, simulate_budget
from benchcheck.metrology.adding import choose_kernel
from benchcheck.metrology.convolution import FourierSeries, StudentSeries
from benchcheck.metrology.kernel import (
    ClosedForm,
    ExactRectangular,
    arcsine_base,
    normal_base,
    point_base,
    student_base,
)

HALF_WIDTHS = st.floats(0.05, 20.0)
LEVELS = st.floats(0.01, 0.9999)


def expanded(
    level: float, *rectangular: float, sigma: float = 0.0, dof: float = math.inf, u: tuple[float, ...] = ()
) -> float:
    return OutputDistribution(0.0, rectangular, sigma, dof, u).expanded_uncertainty(level)


# against closed forms


@given(st.floats(1e-30, 1e30), LEVELS)
def test_one_rectangular_covers_in_proportion(half_width: float, level: float) -> None:
    assert expanded(level, half_width) == pytest.approx(level * half_width, rel=1e-12)


def test_the_limit_of_error_of_a_handheld_is_never_exceeded() -> None:
    # 4.7 kohm on "0.8 % + 3" of 1 ohm: k = 2 would give 46.9, more than the 40.6 that are possible
    reading = Budget(4700.0, "ohm", (Contribution.from_limits("dmm", "accuracy", 0.008 * 4700 + 3),))
    assert round(reading.expanded(2.0).expanded_uncertainty, 1) == 46.9
    assert round(reading.coverage(0.95).expanded_uncertainty, 1) == 38.6
    assert reading.coverage(0.999999).expanded_uncertainty < 40.6


@given(HALF_WIDTHS, LEVELS)
def test_two_equal_rectangulars_are_a_triangle(a: float, level: float) -> None:
    # sf(x) = (1 - x / 2a)**2 / 2 for the triangle of half-width 2a
    exact = 2 * a * (1 - math.sqrt(1 - level))
    assert expanded(level, a, a) == pytest.approx(exact, rel=1e-12)
    triangle = Budget(0.0, "V", (Contribution.triangular("t", "t", 2 * a),))
    assert triangle.coverage(level).expanded_uncertainty == pytest.approx(exact, rel=1e-12)


@given(HALF_WIDTHS, st.floats(0.0, 1.0), LEVELS)
def test_a_trapezoid_has_its_own_closed_form(a: float, top: float, level: float) -> None:
    # the upper tail (a - x)**2 / (a**2 (1 - top**2)) / 2 while x lies beyond the top, linear before
    tail = 0.5 * (1 - level)
    if tail <= 0.5 * (1 - top) / (1 + top):
        exact = a - a * math.sqrt(2 * tail * (1 - top * top))
    else:
        exact = (0.5 - tail) * a * (1 + top)
    trapezoid = Budget(0.0, "V", (Contribution.trapezoidal("t", "t", a, top),))
    assert trapezoid.coverage(level).expanded_uncertainty == pytest.approx(exact, rel=1e-9)


@given(HALF_WIDTHS, LEVELS)
def test_one_u_shaped_follows_the_arcsine(a: float, level: float) -> None:
    assert expanded(level, u=(a,)) == pytest.approx(a * math.sin(0.5 * math.pi * level), rel=1e-12)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.99])
def test_four_equal_rectangulars_follow_irwin_and_hall(level: float) -> None:
    # JCGM 101 9.2.3: near the end the tail is (s - x)**4 / (24 (2 a)**4), s = 4 a, up to a tail of 1/24
    tail = 0.5 * (1 - level)
    found = expanded(level, 1.0, 1.0, 1.0, 1.0)
    if tail <= 1 / 24:
        assert found == pytest.approx(4 - (24 * 16 * tail) ** 0.25, rel=1e-13)
    else:
        law = OutputDistribution(0.0, (1.0,) * 4)
        assert law.sf(found) == pytest.approx(tail, rel=1e-13)


@given(st.floats(1e-30, 1e30), LEVELS)
def test_a_normal_alone_is_a_normal(sigma: float, level: float) -> None:
    assert expanded(level, sigma=sigma) == pytest.approx(sigma * float(stats.norm.ppf(0.5 + level / 2)), rel=1e-12)


@given(st.floats(0.1, 10), st.one_of(st.integers(1, 200), st.floats(1.0, 1e9)), LEVELS)
def test_a_student_alone_is_a_student(sigma: float, dof: int, level: float) -> None:
    found = expanded(level, sigma=sigma, dof=dof)
    assert found == pytest.approx(sigma * float(stats.t.ppf(0.5 + level / 2, dof)), rel=1e-9)


@pytest.mark.parametrize("dof", [1e3, 1e6, 1e12, 1e100, 1e290])
def test_many_degrees_of_freedom_lead_to_the_normal(dof: float) -> None:
    # the t quantile is z + (z**3 + z) / 4 nu and smaller terms
    z = 1.959963984540054
    assert expanded(0.95, sigma=1.0, dof=dof) == pytest.approx(z + (z**3 + z) / (4 * dof), rel=4 / dof / dof + 1e-12)
    both, normal = OutputDistribution(0.0, (1.0,), 0.5, dof), OutputDistribution(0.0, (1.0,), 0.5)
    assert both.expanded_uncertainty(0.95) == pytest.approx(normal.expanded_uncertainty(0.95), rel=2 / dof + 1e-12)


def test_a_far_smaller_type_a_contribution_leaves_the_normal_alone() -> None:
    # its effective degrees of freedom are finite, though beyond counting
    parts = (
        Contribution.from_standard("a", "a", 1.0),
        Contribution.from_standard("b", "b", 1e-30, degrees_of_freedom=3),
    )
    assert Budget(0.0, "V", parts).coverage(0.95).expanded_uncertainty == pytest.approx(1.959963984540054, rel=1e-12)


# one rectangular and a smooth term, against quadrature


def averaged(law: stats.rv_continuous, x: float, a: float, sigma: float, *args: float) -> float:
    """Return the upper tail of a rectangular plus a scaled law by scipy's quadrature."""
    found, _ = integrate.quad(
        lambda y: law.sf((x - y) / sigma, *args),
        -a,
        a,
        points=[min(max(x, -a), a)],
        epsabs=0,
        epsrel=1e-12,
        limit=400,
    )
    return float(found) / (2 * a)


@given(st.floats(0.02, 20), LEVELS)
def test_a_rectangular_and_a_normal(ratio: float, level: float) -> None:
    law = OutputDistribution(0.0, (ratio,), 1.0)
    x = law.expanded_uncertainty(level)
    assert averaged(stats.norm, x, ratio, 1.0) == pytest.approx(0.5 * (1 - level), rel=1e-9)


@given(st.floats(0.02, 20), st.integers(1, 40), LEVELS)
def test_a_rectangular_and_a_student(ratio: float, dof: int, level: float) -> None:
    law = OutputDistribution(0.0, (ratio,), 1.0, dof)
    x = law.expanded_uncertainty(level)
    assert averaged(stats.t, x, ratio, 1.0, dof) == pytest.approx(0.5 * (1 - level), rel=1e-8)


# the ways of adding against each other


@given(st.lists(HALF_WIDTHS, min_size=3, max_size=5), st.floats(0.1, 3.0), st.floats(0.0, 3.0))
def test_closed_form_and_series_agree(widths: list[float], sigma: float, at: float) -> None:
    rectangular = tuple(widths)
    closed, series = (
        ClosedForm(normal_base(sigma, len(rectangular)), rectangular),
        FourierSeries(rectangular, (), np.array([sigma])),
    )
    x = -at * math.hypot(sigma, *(each / math.sqrt(3) for each in rectangular))
    assume(isinstance(choose_kernel(rectangular, (), sigma, math.inf), ClosedForm))
    below, density = closed.lower(x)
    other, other_density = series.lower(x)
    assert below == pytest.approx(other, abs=1e-10)
    assert density == pytest.approx(other_density, abs=1e-9)


@given(st.lists(st.floats(1e-6, 2.0), min_size=1, max_size=6), st.floats(0.0, 0.999))
def test_whole_numbers_and_fractions_agree(widths: list[float], at: float) -> None:
    rectangular = tuple(widths)
    x = -at * math.fsum(rectangular)
    found, density = ExactRectangular(rectangular).lower(x)
    assert found == pytest.approx(float(irwin_hall(rectangular, x)), rel=1e-14)
    step = 1e-4 * math.fsum(rectangular)
    slope = float(irwin_hall(rectangular, x + step) - irwin_hall(rectangular, x - step)) / (2 * step)
    if len(rectangular) == 1 and at < 0.99:
        assert density == pytest.approx(slope, rel=1e-9)
    assert density >= 0.0


def irwin_hall(widths: tuple[float, ...], x: float) -> Fraction:
    """Return the distribution function of a sum of rectangulars, in exact fractions."""
    exact = [Fraction(each) for each in widths]
    total = Fraction(0)
    for mask in range(2 ** len(exact)):
        signs = [1 if mask >> place & 1 else -1 for place in range(len(exact))]
        reach = Fraction(x) + sum(sign * each for sign, each in zip(signs, exact, strict=True))
        if reach > 0:
            total += math.prod(signs) * reach ** len(exact)
    return total / (math.factorial(len(exact)) * math.prod(2 * each for each in exact))


@given(st.lists(st.floats(0.2, 2.0), min_size=1, max_size=4), st.floats(0.0, 0.99))
def test_closed_form_and_whole_numbers_agree(widths: list[float], at: float) -> None:
    rectangular = tuple(widths)
    x = -at * math.fsum(rectangular)
    below, density = ClosedForm(point_base(len(rectangular)), rectangular).lower(x)
    exact, exact_density = ExactRectangular(rectangular).lower(x)
    assert below == pytest.approx(exact, rel=1e-9, abs=1e-13)
    assert density == pytest.approx(exact_density, rel=1e-9, abs=1e-10)


@settings(max_examples=15)
@given(st.floats(0.3, 3), st.floats(0.3, 3), st.floats(0.0, 0.95))
def test_u_shaped_and_rectangular_agree_with_the_series(a: float, b: float, at: float) -> None:
    x = -at * (a + b)
    below, _ = ClosedForm(arcsine_base(a, 1), (b,)).lower(x)
    other, _ = FourierSeries((b,), (a,), np.zeros(1)).lower(x)
    assert below == pytest.approx(other, abs=2e-6)


@given(st.floats(0.3, 3), st.floats(0.3, 3), st.floats(0.05, 1), st.floats(0.0, 2.0))
def test_u_shaped_and_normal_agree_with_quadrature(a: float, b: float, sigma: float, at: float) -> None:
    # average the closed form of rectangular and normal over the phase of the cycle
    law = OutputDistribution(0.0, (b,), sigma, math.inf, (a,))
    x = at * law.standard_uncertainty
    rest = OutputDistribution(0.0, (b,), sigma)
    phases = (np.arange(400) + 0.5) * math.pi / 400
    expected = float(np.mean([rest.sf(x - a * math.cos(phase)) for phase in phases]))
    assert law.sf(x) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize("dof", [1, 2, 3, 5, 10, 30, 100, 1000])
@pytest.mark.parametrize("x", [0.0, 0.5, 2.0, 10.0])
def test_a_mixture_of_normals_is_student(dof: int, x: float) -> None:
    mixture = StudentSeries((), (), 1.0, dof)
    below, density = mixture.lower(-x)
    assert below == pytest.approx(float(stats.t.cdf(-x, dof)), rel=1e-9)
    assert density == pytest.approx(float(stats.t.pdf(x, dof)), rel=1e-9)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 9, 2.5, 40])
@pytest.mark.parametrize("rectangular", [(1.0,), (1.0, 0.4), (3.0, 0.5, 0.7), (2.0, 0.5, 0.7, 1.1), (1.0,) * 5])
def test_closed_form_and_mixture_of_student_sums_agree(dof: float, rectangular: tuple[float, ...]) -> None:
    # as many terms as degrees of freedom or more: an antiderivative stands for the integral that does not exist
    closed = ClosedForm(student_base(0.6, dof, len(rectangular)), rectangular)
    mixture = StudentSeries(rectangular, (), 0.6, dof)
    for x in (0.0, -0.7, -2.0, -5.0):
        below, density = closed.lower(x)
        other, other_density = mixture.lower(x)
        assert below == pytest.approx(other, rel=1e-8)
        assert density == pytest.approx(other_density, rel=1e-8)


@pytest.mark.parametrize(
    ("rectangular", "sigma", "dof", "u_shaped"),
    [
        ((1.0,), 0.0, math.inf, ()),
        ((1.0, 0.3), 0.1, math.inf, ()),
        ((1.0, 0.5), 0.1, 1, ()),
        ((1.0, 0.5, 0.2), 0.3, 2, ()),
        ((1.0, 0.5), 0.2, 7, ()),
        ((), 0.1, math.inf, (1.0,)),
        ((0.5,), 0.2, 4, (1.0, 0.4)),
        ((0.5,), 0.0, math.inf, (1.0, 0.4)),
        ((), 0.0, math.inf, (1.0, 0.4)),
        ((1.0,) * 12, 0.0, math.inf, ()),
        ((1.0, 1e-4, 1e-4, 1e-4), 1e-4, math.inf, ()),
        ((1.0, 1e-4, 1e-5, 1e-6), 0.0, math.inf, ()),
    ],
)
def test_exact_coverage_is_what_monte_carlo_finds(
    rectangular: tuple[float, ...], sigma: float, dof: float, u_shaped: tuple[float, ...]
) -> None:
    parts = [Contribution.from_limits(f"r{i}", "r", a) for i, a in enumerate(rectangular)]
    parts += [Contribution.u_shaped(f"u{i}", "u", a) for i, a in enumerate(u_shaped)]
    if sigma:
        parts.append(Contribution.from_standard("n", "n", sigma, degrees_of_freedom=dof))
    budget = Budget(0.0, "V", tuple(parts))
    simulated = simulate_budget(budget, trials=1_000_000, seed=3)
    law = budget.distribution
    for level in (0.5, 0.95, 0.99):
        reach = law.expanded_uncertainty(level)
        noise = 5 * math.sqrt(level * (1 - level) / simulated.trials)
        assert simulated.probability_between(-reach, reach) == pytest.approx(level, abs=noise)


# properties


LAWS = st.builds(
    OutputDistribution,
    st.floats(-10, 10),
    st.lists(st.floats(0.0, 5.0), max_size=3).map(tuple),
    st.one_of(st.just(0.0), st.floats(0.01, 5.0)),
    st.one_of(st.just(math.inf), st.integers(4, 30)),
)


@given(LAWS, st.floats(1e-6, 1 - 1e-6))
def test_quantile_and_distribution_function_are_inverse(law: OutputDistribution, p: float) -> None:
    assume(law.standard_uncertainty > 1e-6)
    x = law.quantile(p)
    assert law.cdf(x) == pytest.approx(p, rel=1e-7)
    assert law.sf(x) == pytest.approx(1 - p, rel=1e-7)
    low, high = law.support
    assert low <= x <= high


@given(LAWS, st.floats(-20, 20), st.floats(0, 10))
def test_the_distribution_function_rises_from_zero_to_one(law: OutputDistribution, x: float, step: float) -> None:
    assert 0.0 <= law.cdf(x) <= law.cdf(x + step) + 1e-13 <= 1.0 + 1e-13
    assert law.cdf(x) + law.sf(x) == pytest.approx(1.0, abs=1e-13)
    if law.standard_uncertainty > 0.0:  # what is certain lies wholly in a closed interval it is the end of
        assert law.between(x, x + step) == pytest.approx(law.cdf(x + step) - law.cdf(x), abs=1e-13)
    assert law.between(x, x + step) + law.outside(x, x + step) == pytest.approx(1.0, abs=1e-13)


@given(LAWS, LEVELS, LEVELS)
def test_a_higher_level_gives_a_wider_interval(law: OutputDistribution, first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert law.expanded_uncertainty(low) <= law.expanded_uncertainty(high) * (1 + 1e-12)


@given(LAWS)
def test_the_density_integrates_to_the_probability(law: OutputDistribution) -> None:
    assume(law.standard_uncertainty > 1e-3)
    reach = law.expanded_uncertainty(0.9)
    edges = sorted({0.0, reach, *(abs(each) for each in corners(law.rectangular) if abs(each) < reach)})
    total = sum(
        integrate.quad(lambda x: law.pdf(law.center + x), low, high, epsabs=1e-11, limit=200)[0]
        for low, high in itertools.pairwise(edges)
    )
    assert 2 * total == pytest.approx(0.9, rel=1e-6)


def corners(widths: tuple[float, ...]) -> set[float]:
    found = {0.0}
    for each in widths:
        found = {step + sign * each for step in found for sign in (1, -1)}
    return found


def test_a_shift_moves_everything_along() -> None:
    law = OutputDistribution(1.0, (0.5,), 0.1, 5).shifted(3.0)
    assert law == OutputDistribution(3.0, (0.5,), 0.1, 5)
    low, high = law.interval(0.95)
    assert 0.5 * (low + high) == pytest.approx(3.0, rel=1e-15)


def test_limits_may_be_infinite() -> None:
    law = OutputDistribution(0.0, sigma=1.0)
    assert law.between(-math.inf, 0.0) == 0.5
    assert law.between(-math.inf, math.inf) == 1.0
    assert OutputDistribution(0.0, (1.0,)).support == (-1.0, 1.0)


def test_a_certain_value_is_a_step() -> None:
    law = OutputDistribution(2.0)
    assert (law.cdf(1.9), law.cdf(2.0), law.cdf(2.1)) == (0.0, 0.5, 1.0)
    assert (law.pdf(2.0), law.pdf(1.0)) == (math.inf, 0.0)
    assert law.interval(0.95) == (2.0, 2.0)
    assert law.quantile(0.3) == law.quantile(0.5) == law.quantile(0.9) == 2.0


@pytest.mark.parametrize("unit", [1e-300, 1e-30, 1e30, 1e300])
def test_extreme_units_change_nothing_but_the_scale(unit: float) -> None:
    for terms in (((1.0, 0.3), 0.2, math.inf), ((1.0, 0.3, 1e-9), 0.0, math.inf), ((1.0,), 0.2, 3)):
        rectangular, sigma, dof = terms
        plain = OutputDistribution(0.0, rectangular, sigma, dof)
        scaled = OutputDistribution(0.0, tuple(each * unit for each in rectangular), sigma * unit, dof)
        assert scaled.expanded_uncertainty(0.95) == pytest.approx(plain.expanded_uncertainty(0.95) * unit, rel=1e-11)


@given(st.floats(1e-12, 1.0), st.floats(1e-12, 1.0))
def test_small_terms_beside_a_large_one_shift_nothing_by_themselves(second: float, third: float) -> None:
    # up to the corner of the density a symmetric small term leaves the tail of a rectangular where it was
    reach = 1.0 - second - third
    assume(reach > 0.05)
    law = OutputDistribution(0.0, (1.0, second, third))
    assert law.sf(0.9 * reach) == pytest.approx(0.5 * (1 - 0.9 * reach), rel=1e-9)


@pytest.mark.parametrize("tail", [1e-3, 1e-6, 1e-9, 1e-12])
def test_small_tails_keep_their_digits(tail: float) -> None:
    # a triangle: sf = (1 - x)**2 / 2; a normal with a rectangular, by quadrature
    assert OutputDistribution(0.0, (0.5, 0.5)).distance(tail) == pytest.approx(1 - math.sqrt(2 * tail), rel=1e-12)
    law = OutputDistribution(0.0, (1.0,), 1.0)
    x = law.distance(tail)
    assert averaged(stats.norm, x, 1.0, 1.0) == pytest.approx(tail, rel=1e-8)


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "value nan": (lambda: OutputDistribution(math.nan), "value nan: a finite number"),
    "negative": (lambda: OutputDistribution(0.0, (-1.0,)), "term -1.0 of a distribution"),
    "sigma nan": (lambda: OutputDistribution(0.0, (), math.nan), "term nan of a distribution"),
    "dof": (lambda: OutputDistribution(0.0, (), 1.0, 0.5), "degrees of freedom 0.5: 1 or more"),
    "too large": (lambda: OutputDistribution(0.0, (1.7e308,) * 4), "beyond what a number can hold"),
    "level": (lambda: OutputDistribution(0.0, (1.0,)).interval(1.0), "coverage level 1.0: a probability"),
    "quantile": (lambda: OutputDistribution(0.0, (1.0,)).quantile(0.0), "probability 0.0: a probability"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_figures_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=re.escape(message)):
        make()


def test_scoring_with_normal_and_rectangular_terms_loads_no_numpy() -> None:
    code = (
        "import sys; from benchcheck.metrology import Budget, Contribution, ToleranceInterval, assess; "
        "b = Budget(5.0, 'V', (Contribution.from_limits('a', 'a', 1.0), Contribution.from_standard('b', 'b', 0.1))); "
        "assess(b, ToleranceInterval(4.0, 6.0)); "
        "print([m for m in ('numpy', 'scipy', 'uncertainties') if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_numpy_arrays_are_not_needed_for_terms() -> None:
    assert OutputDistribution(0.0, tuple(np.array([1.0, 2.0]))).support == (-3.0, 3.0)


SIZES = st.sampled_from([0.0, 1e-30, 1e-12, 1e-3, 0.5, 1.0, 7.0, 1e4, 1e30])


@given(
    st.lists(SIZES, max_size=4).map(tuple),
    SIZES,
    st.sampled_from([math.inf, 1, 2, 3, 5, 2.7, 40, 1e9]),
    st.sampled_from([(), (), (), (1.0,), (1e30,), (1e-12,)]),
)
@settings(max_examples=300)
def test_extreme_but_legal_terms_never_give_a_wrong_number(
    rectangular: tuple[float, ...], sigma: float, dof: float, u_shaped: tuple[float, ...]
) -> None:
    law = OutputDistribution(0.0, rectangular, sigma, dof, u_shaped)
    reach = law.expanded_uncertainty(0.95)
    low, high = law.support
    assert 0.0 <= reach <= high * (1 + 1e-9)
    assert low == -high
    if law.standard_uncertainty > 0.0:
        assert 2 * law.sf(reach) == pytest.approx(0.05, rel=1e-6)
        assert law.sf(0.0) == pytest.approx(0.5, rel=1e-9)


def test_a_certain_value_on_a_limit_conforms() -> None:
    """JCGM 106:2012 3.3.5: a value on the limit lies within the tolerance interval."""
    assert OutputDistribution(2.0).between(1.0, 2.0) == 1.0
    assert OutputDistribution(1.0).between(1.0, 1.0) == 1.0
    assert OutputDistribution(2.1).between(1.0, 2.0) == 0.0
