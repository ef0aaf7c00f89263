"""Propagation through models, first and second order."""

from __future__ import annotations

import math
import random
from typing import Any

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import MetrologyError
from benchcheck.metrology import (
    Budget,
    Contribution,
    correlation_coefficient,
    evaluate,
    propagate,
    propagate_all,
    second_order,
    simultaneous_readings,
)
from benchcheck.metrology.contribution import Contribution as Part

estimate = Budget.from_estimate


def product(a: Any, b: Any, c: Any) -> Any:
    return a * b / (a + c) + c * c


@given(st.floats(0.5, 5), st.floats(0.5, 5), st.floats(0.5, 5))
def test_sensitivities_are_the_partial_derivatives(a: float, b: float, c: float) -> None:
    inputs = {name: estimate(name, value, 0.1) for name, value in zip("abc", (a, b, c), strict=True)}
    found = {each.id: each.sensitivity for each in propagate(product, inputs).contributions}
    assert found["a"] == pytest.approx(b * c / (a + c) ** 2, rel=1e-12)
    assert found["b"] == pytest.approx(a / (a + c), rel=1e-12)
    assert found["c"] == pytest.approx(-a * b / (a + c) ** 2 + 2 * c, rel=1e-10, abs=1e-12)


@given(st.floats(0.2, 3), st.floats(0.001, 1.0))
def test_a_model_of_plain_numbers_gets_numerical_derivatives(x: float, u: float) -> None:
    found = propagate(lambda x: math.cos(x) * math.exp(x), {"x": estimate("x", x, u)})
    exact = (math.cos(x) - math.sin(x)) * math.exp(x)
    assert found.contributions[0].sensitivity == pytest.approx(exact, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("value", [0.0, 1e-30, 1e30])
def test_numerical_derivatives_find_their_scale(value: float) -> None:
    found = propagate(lambda x: float(x) * 3.0, {"x": estimate("x", value, 1e-33)})
    assert found.contributions[0].sensitivity == pytest.approx(3.0, rel=1e-10)


def test_the_id_of_an_error_survives_the_model() -> None:
    shared = Contribution.from_standard("gain", "gain", 0.01)
    inputs = {"a": Budget(2.0, "V", (shared.times(2.0),)), "b": Budget(4.0, "V", (shared.times(4.0),))}
    assert propagate(lambda a, b: a / b, inputs).combined_standard_uncertainty == pytest.approx(0.0, abs=1e-17)
    assert propagate(lambda a, b: a + b, inputs).combined_standard_uncertainty == pytest.approx(0.06, rel=1e-12)


def test_constants_may_stand_among_the_inputs() -> None:
    found = propagate(lambda x, k: k * x, {"x": estimate("x", 2.0, 0.1), "k": 3.0}, quantity_unit="V")
    assert (found.value, found.quantity_unit) == (6.0, "V")
    assert found.combined_standard_uncertainty == pytest.approx(0.3, rel=1e-12)


def test_a_model_that_ignores_its_inputs_is_certain() -> None:
    found = propagate(lambda x: 7.0, {"x": estimate("x", 2.0, 0.1)})
    assert (found.value, found.combined_standard_uncertainty) == (7.0, 0.0)


def test_several_results_know_what_they_share() -> None:
    total, rest = propagate_all(
        lambda a, b: (a + b, a - b),
        {"a": estimate("a", 1.0, 3.0), "b": estimate("b", 1.0, 4.0)},
        quantity_units=("V",),
    )
    assert (total.quantity_unit, rest.quantity_unit) == ("V", "")
    assert correlation_coefficient(total, rest) == pytest.approx((9 - 16) / 25, rel=1e-12)


def test_a_model_without_a_value_or_a_slope_is_refused() -> None:
    x = {"x": estimate("x", 0.0, 0.1)}
    with pytest.raises(MetrologyError, match="the model gives inf at"):
        propagate(lambda x: math.inf, x)
    with pytest.raises(MetrologyError, match=r'sensitivity to "x" is nan .*simulate it instead'):
        propagate(lambda x: x**0.5, x)


def test_an_error_of_the_model_itself_comes_through() -> None:
    def broken(x: Any) -> Any:
        raise TypeError("broken")

    with pytest.raises(TypeError, match="broken"):
        propagate(broken, {"x": estimate("x", 0.0, 0.1)})


# second order


def test_a_square_at_its_turning_point_has_only_the_second_order() -> None:
    # E[x**2] = u**2, Var[x**2] = 2 u**4 for a normal about zero
    found = second_order(lambda x: x * x, {"x": estimate("x", 0.0, 0.3)})
    assert found.mean_shift == pytest.approx(0.09, rel=1e-12)
    assert found.combined_standard_uncertainty == pytest.approx(math.sqrt(2) * 0.09, rel=1e-12)
    ((first, second, term),) = found.pairs
    assert (first, second) == ("x", "x")
    assert term == pytest.approx(math.sqrt(2) * 0.09, rel=1e-12)


@given(st.floats(-2, 2), st.floats(0.01, 1), st.floats(-2, 2), st.floats(0.01, 1), st.floats(-0.9, 0.9))
def test_second_order_is_exact_for_products_of_correlated_normals(
    a: float, ua: float, b: float, ub: float, r: float
) -> None:
    # Goodman 1960: Var[ab] = a2 ub2 + b2 ua2 + 2 a b r ua ub + (1 + r2) ua2 ub2
    inputs = {"a": estimate("a", a, ua), "b": estimate("b", b, ub)}
    found = second_order(lambda a, b: a * b, inputs, correlations=[("a", "b", r)])
    variance = (a * ub) ** 2 + (b * ua) ** 2 + 2 * a * b * r * ua * ub + (1 + r * r) * (ua * ub) ** 2
    assert found.combined_standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-9)
    assert found.mean_shift == pytest.approx(r * ua * ub, rel=1e-9, abs=1e-15)


def test_the_third_derivative_counts_as_in_the_gum() -> None:
    # GUM 5.1.2 note: f' f''' u**4 + f''**2 u**4 / 2, for x**3 at 2: f' = 12, f'' = 12, f''' = 6
    found = second_order(lambda x: x**3, {"x": estimate("x", 2.0, 0.1)})
    assert found.combined_standard_uncertainty**2 == pytest.approx(
        12**2 * 1e-2 + (0.5 * 12**2 + 12 * 6) * 1e-4, rel=1e-9
    )


def test_a_second_order_that_outweighs_the_first_is_refused() -> None:
    # x - 10 x**3 at 0 with u = 0.2: linear variance 0.04, first times third derivative -60 u**4 = -0.096
    with pytest.raises(MetrologyError, match=r"the model bends too much .* simulate it instead"):
        second_order(lambda x: x - 10 * x**3, {"x": estimate("x", 0.0, 0.2)})


def test_a_linear_model_has_no_second_order() -> None:
    found = second_order(lambda a, b: 2 * a - b, {"a": estimate("a", 1.0, 0.1), "b": estimate("b", 1.0, 0.1)})
    assert found.combined_standard_uncertainty == pytest.approx(
        found.first_order.combined_standard_uncertainty, rel=1e-12
    )
    assert found.mean_shift == pytest.approx(0.0, abs=1e-12)


def test_second_order_works_on_models_of_plain_numbers() -> None:
    found = second_order(lambda x: math.exp(x), {"x": estimate("x", 0.0, 0.1)})  # noqa: PLW0108
    # f = f' = f'' = f''' = 1: u**2 + 1.5 u**4
    assert found.combined_standard_uncertainty**2 == pytest.approx(0.01 + 1.5e-4, rel=1e-4)


def test_without_uncertain_inputs_nothing_is_uncertain() -> None:
    found = second_order(lambda k: 2 * k, {"k": 3.0})
    assert (found.first_order.value, found.combined_standard_uncertainty, found.mean_shift) == (6.0, 0.0, 0.0)


# readings taken together


def test_simultaneous_readings_carry_their_correlation() -> None:
    first, second = [1.0, 1.2, 1.1, 0.9], [2.0, 2.5, 2.1, 1.8]
    means = simultaneous_readings({"V": first, "I": second}, {"V": "V"})
    by_difference = [b - a for a, b in zip(first, second, strict=True)]
    direct = Part.from_readings("d", "d", by_difference)
    found = propagate(lambda V, I: I - V, means)  # noqa: E741, N803
    assert found.combined_standard_uncertainty == pytest.approx(direct.standard_uncertainty, rel=1e-12)
    assert found.effective_degrees_of_freedom == pytest.approx(3.0, rel=1e-12)
    assert (means["V"].quantity_unit, means["I"].quantity_unit) == ("V", "")


# GTC, an independent implementation


def random_budget(seed: int) -> tuple[Budget, Any]:
    """Return one random budget as ours and as the other package's uncertain number."""
    draw = random.Random(seed)
    count = draw.randint(2, 8)
    size = 10 ** draw.uniform(-6, 6)
    values = [draw.uniform(0.5, 2.0) for _ in range(count)]
    uncertainties = [10 ** draw.uniform(-4, -1.5) for _ in range(count)]
    dofs = [draw.choice([math.inf, float(draw.randint(1, 80)), draw.uniform(1, 40)]) for _ in range(count)]
    powers = [draw.choice([-2, -1, 1, 2]) for _ in range(count)]
    flavour = draw.choice(["product", "sum", "mixed"])

    def model(numbers: list[Any]) -> Any:
        if flavour == "sum":
            return size * sum(power * each for power, each in zip(powers, numbers, strict=True))
        result = numbers[0] ** powers[0]
        for power, each in zip(powers[1:], numbers[1:], strict=True):
            result = result * each**power if flavour == "product" else result * each + power * each * each
        return size * result

    others = [GTC.ureal(x, u, dof) for x, u, dof in zip(values, uncertainties, dofs, strict=True)]
    ours = {
        f"x{i}": estimate(f"x{i}", x, u, degrees_of_freedom=dof)
        for i, (x, u, dof) in enumerate(zip(values, uncertainties, dofs, strict=True))
    }
    return propagate(lambda **given: model([given[f"x{i}"] for i in range(count)]), ours), model(others)


@pytest.mark.parametrize("seed", range(200))
def test_random_budgets_agree_with_an_independent_package(seed: int) -> None:
    ours, other = random_budget(seed)
    assert ours.value == pytest.approx(GTC.value(other), rel=1e-12)
    assert ours.combined_standard_uncertainty == pytest.approx(GTC.uncertainty(other), rel=1e-11)
    theirs = GTC.dof(other)
    assert ours.effective_degrees_of_freedom == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_correlated_budgets_agree_with_an_independent_package(seed: int) -> None:
    draw = random.Random(1000 + seed)
    r = draw.uniform(-0.95, 0.95)
    a, b = GTC.ureal(2.0, 0.1, independent=False), GTC.ureal(3.0, 0.2, independent=False)
    GTC.set_correlation(r, a, b)
    other = a * a / b + b
    ours = propagate(
        lambda a, b: a * a / b + b,
        {"a": estimate("a", 2.0, 0.1), "b": estimate("b", 3.0, 0.2)},
        correlations=[("a", "b", r)],
    )
    assert ours.combined_standard_uncertainty == pytest.approx(GTC.uncertainty(other), rel=1e-12)


# which result may be used


def test_a_linear_model_may_be_used_and_a_curved_one_may_not() -> None:
    straight = evaluate(lambda a, b: a + b, {"a": estimate("a", 1.0, 0.3), "b": estimate("b", 1.0, 0.4)}, digits=1)
    assert straight.linear_may_be_used
    assert straight.coverage == straight.linear.coverage(0.95)
    curved = evaluate(lambda a: a * a, {"a": estimate("a", 0.5, 0.5)}, digits=1, quantity_unit="V2")
    assert not curved.linear_may_be_used
    assert curved.coverage == curved.simulation.symmetric(0.95)
    assert curved.coverage.lower > 0.0 > curved.linear.coverage(0.95).lower


def test_a_certain_model_agrees_with_itself() -> None:
    found = evaluate(lambda a: a + 1.0, {"a": Budget(1.0, "V", ())})
    assert found.linear_may_be_used
    assert found.comparison.tolerance == 0.0
