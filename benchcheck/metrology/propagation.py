"""From input quantities through a model to the budget of the result (GUM 5).

Derivatives come from `uncertainties` where the model is plain arithmetic or its own functions, and from
extrapolated central differences where it is not (`math.cos`, a lookup, a solver). Every contribution of every
input keeps its id, so results of one set of inputs know what they share.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from benchcheck.errors import MetrologyError
from benchcheck.metrology.budget import Budget, covariance
from benchcheck.metrology.contribution import Contribution
from benchcheck.metrology.correlation import Correlation
from benchcheck.metrology.repeatability import correlation_of_means, type_a

__all__ = [
    "Inputs",
    "Model",
    "SecondOrder",
    "propagate",
    "propagate_all",
    "second_order",
    "simultaneous_readings",
]

#: called with one keyword argument for each input; returns the result in its quantity unit.
Model = Callable[..., Any]
#: a budget for each uncertain input, a number for each constant.
Inputs = Mapping[str, Budget | float]

_TABLE_SIZE = 8
_SHRINK = 1.6
#: step of the second derivatives, in standard uncertainties.
_STEP = 0.25


def propagate(
    model: Model,
    inputs: Inputs,
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    quantity_unit: str = "",
) -> Budget:
    """Return the budget of the model's result by linear propagation (GUM equations 10 and 13).

    `correlations` holds (id, id, coefficient) between contributions of the inputs. `quantity_unit` is that of
    the result. Raises MetrologyError when the model has no finite value or derivative at the inputs.

    >>> voltage = Budget.from_estimate("V", 4.999, 0.0032, "V")
    >>> current = Budget.from_estimate("I", 0.019661, 9.5e-6, "A")
    >>> impedance = propagate(
    ...     lambda V, I: V / I, {"V": voltage, "I": current}, correlations=[("V", "I", -0.36)], quantity_unit="ohm"
    ... )
    >>> round(impedance.value, 2), round(impedance.combined_standard_uncertainty, 3)
    (254.26, 0.237)
    """
    found = propagate_all(
        lambda **given: (model(**given),), inputs, correlations=correlations, quantity_units=(quantity_unit,)
    )
    return found[0]


def propagate_all(
    model: Model,
    inputs: Inputs,
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    quantity_units: Sequence[str] = (),
) -> tuple[Budget, ...]:
    """Return one budget for each result of a model that returns several (GUM H.2).

    `covariance` and `correlation_coefficient` of two of them follow from the contributions they share.
    """
    values, gradients = _linearized(model, inputs)
    stated = tuple(Correlation(*each) for each in correlations)
    own = tuple(each for budget in inputs.values() if isinstance(budget, Budget) for each in budget.correlations)
    joined = tuple(dict.fromkeys((*own, *stated)))
    units = (*quantity_units, *("",) * (len(values) - len(quantity_units)))
    return tuple(
        Budget(value, unit, _through(inputs, gradient), joined)
        for value, unit, gradient in zip(values, units, gradients, strict=True)
    )


def _through(inputs: Inputs, gradient: Mapping[str, float]) -> tuple[Contribution, ...]:
    return tuple(
        each.times(gradient[name])
        for name, given in inputs.items()
        if isinstance(given, Budget)
        for each in given.contributions
    )


def _value(given: Budget | float) -> float:
    return given.value if isinstance(given, Budget) else float(given)


def _linearized(model: Model, inputs: Inputs) -> tuple[list[float], list[dict[str, float]]]:
    """Return values and gradients of the results at the inputs."""
    point = {name: _value(given) for name, given in inputs.items()}
    moving = [name for name, given in inputs.items() if isinstance(given, Budget)]
    try:
        values, gradients = _by_uncertainties(model, point, moving)
    except (TypeError, AttributeError, NotImplementedError):
        scales = {name: _scale(inputs[name]) for name in moving}
        values, gradients = _by_differences(model, point, scales)
    for value, gradient in zip(values, gradients, strict=True):
        if not math.isfinite(value):
            raise MetrologyError(f"the model gives {value!r} at {point}; it needs a finite value there")
        for name, slope in gradient.items():
            if not math.isfinite(slope):
                raise MetrologyError(
                    f'the model\'s sensitivity to "{name}" is {slope!r} at {point}; '
                    "linear propagation cannot be used there, simulate it instead"
                )
    return values, gradients


def _by_uncertainties(
    model: Model, point: Mapping[str, float], moving: Sequence[str]
) -> tuple[list[float], list[dict[str, float]]]:
    variables = {name: ufloat(point[name], 1.0) for name in moving}
    values, gradients = [], []
    for result in model(**{**point, **variables}):
        slopes = result.derivatives if isinstance(result, UFloat) else {}
        values.append(float(result.nominal_value if isinstance(result, UFloat) else result))
        gradients.append({name: float(slopes.get(each, 0.0)) for name, each in variables.items()})
    return values, gradients


def _scale(given: Budget | float) -> float:
    size = abs(_value(given))
    own = given.combined_standard_uncertainty if isinstance(given, Budget) else 0.0
    return max(size, own) or 1.0


def _by_differences(
    model: Model, point: Mapping[str, float], scales: Mapping[str, float]
) -> tuple[list[float], list[dict[str, float]]]:
    values = [float(each) for each in model(**point)]
    gradients: list[dict[str, float]] = [{} for _ in values]
    for name, scale in scales.items():
        slopes = _slopes(model, point, name, 0.02 * scale)
        for gradient, slope in zip(gradients, slopes, strict=True):
            gradient[name] = float(slope)
    return values, gradients


def _slopes(model: Model, point: Mapping[str, float], name: str, step: float) -> NDArray[np.float64]:
    """Return derivatives of all results by Ridders' extrapolation of central differences."""

    def difference(h: float) -> NDArray[np.float64]:
        above, below = (
            np.array([float(each) for each in model(**{**point, name: point[name] + side})]) for side in (h, -h)
        )
        slope: NDArray[np.float64] = (above - below) / (2.0 * h)
        return slope

    row = [difference(step)]
    best, least = row[0], np.full(row[0].shape, math.inf)
    for _ in range(1, _TABLE_SIZE):
        step /= _SHRINK
        following, factor = [difference(step)], 1.0
        for before in row:
            factor *= _SHRINK**2
            finer = (following[-1] * factor - before) / (factor - 1.0)
            doubt = np.maximum(np.abs(finer - following[-1]), np.abs(finer - before))
            better = doubt <= least
            best, least = np.where(better, finer, best), np.where(better, doubt, least)
            following.append(finer)
        row = following
    return best


def simultaneous_readings(
    readings: Mapping[str, Sequence[float]], quantity_units: Mapping[str, str] | None = None
) -> dict[str, Budget]:
    """Return the means of readings taken together, carrying the correlation of those means (GUM 5.2.3, H.2).

    Each input's contribution has the input's name as its id. The correlations travel with the first budget.

    >>> means = simultaneous_readings({"V": [1.0, 1.2, 1.1], "I": [2.0, 2.4, 2.2]})
    >>> round(propagate(lambda V, I: I - 2 * V, means).combined_standard_uncertainty, 12)
    0.0
    """
    units = quantity_units or {}
    names = list(readings)
    correlations = tuple(
        Correlation(first, second, correlation_of_means(readings[first], readings[second]))
        for place, first in enumerate(names)
        for second in names[place + 1 :]
    )
    parts = {name: Contribution.from_readings(name, name, each) for name, each in readings.items()}
    return {
        name: Budget(
            type_a(each, name).mean,
            units.get(name, ""),
            # the others act on this mean with sensitivity 0: they are here so that the correlations have ends
            (parts[name], *(parts[other].times(0.0) for other in names if other != name)),
            correlations,
        )
        for name, each in readings.items()
    }


@dataclass(frozen=True, slots=True)
class SecondOrder:
    """What the curvature of a model adds to its linear budget (GUM 5.1.2 note).

    `mean_shift` is how far the expectation lies from the model's value at the estimates; `pairs` holds, for
    inputs that are independent, (input, input, standard uncertainty) of each term that is not zero. All in
    the quantity unit of the result. `combined_standard_uncertainty` includes everything.
    """

    first_order: Budget
    mean_shift: float
    pairs: tuple[tuple[str, str, float], ...]
    combined_standard_uncertainty: float


def second_order(
    model: Model,
    inputs: Inputs,
    *,
    correlations: Sequence[tuple[str, str, float]] = (),
    quantity_unit: str = "",
) -> SecondOrder:
    """Return the linear budget and the terms of next higher order (GUM 5.1.2 note; normal inputs).

    For correlated inputs the moments of a joint normal are used. Where these terms matter, `simulate` is the
    judge; MetrologyError where they outweigh the linear ones with the opposite sign.

    >>> x = Budget.from_estimate("x", 0.0, 0.005)
    >>> loss = second_order(lambda x: x * x, {"x": x})
    >>> loss.first_order.combined_standard_uncertainty, round(loss.mean_shift, 9)
    (0.0, 2.5e-05)
    """
    linear = propagate(model, inputs, correlations=correlations, quantity_unit=quantity_unit)
    names = [name for name, given in inputs.items() if isinstance(given, Budget)]
    spread = _covariance_matrix(inputs, names, linear.correlations)
    root = _square_root(spread)
    gradient, curved, third = _curvature(model, inputs, names, root)
    variance = linear.combined_standard_uncertainty**2
    variance += 0.5 * float(np.sum(curved**2)) + float(gradient @ spread @ third)
    if variance < 0.0:
        raise MetrologyError(
            "the terms of second order take away more than the linear ones give: "
            "the model bends too much over its inputs' uncertainties; simulate it instead"
        )
    independent = bool(np.all(spread == np.diag(np.diag(spread))))
    return SecondOrder(
        linear,
        0.5 * float(np.trace(curved)),
        _pairs(names, curved) if independent else (),
        math.sqrt(variance),
    )


def _pairs(names: Sequence[str], curved: NDArray[np.float64]) -> tuple[tuple[str, str, float], ...]:
    found = []
    for i, first in enumerate(names):
        for j in range(i, len(names)):
            term = abs(float(curved[i, j])) * (math.sqrt(0.5) if i == j else 1.0)
            if term > 0.0:
                found.append((first, names[j], term))
    return tuple(found)


def _covariance_matrix(
    inputs: Inputs, names: Sequence[str], correlations: Sequence[Correlation]
) -> NDArray[np.float64]:
    budgets = [each for each in (inputs[name] for name in names) if isinstance(each, Budget)]
    return np.array([[covariance(a, b, correlations) for b in budgets] for a in budgets], dtype=float).reshape(
        len(names), len(names)
    )


def _square_root(spread: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a matrix L with L @ L.T = spread, diagonal where spread is."""
    if np.all(spread == np.diag(np.diag(spread))):
        return np.sqrt(spread)
    values, vectors = np.linalg.eigh(spread)
    root: NDArray[np.float64] = vectors * np.sqrt(np.maximum(values, 0.0))
    return root


def _curvature(
    model: Model, inputs: Inputs, names: Sequence[str], root: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the gradient, L.T @ hessian @ L, and the third derivatives contracted with the covariance."""
    center = np.array([_value(inputs[name]) for name in names])
    as_one = _tuple_of(model)

    def gradient(at: NDArray[np.float64]) -> NDArray[np.float64]:
        moved = dict(inputs)
        for name, value, shift in zip(names, at, at - center, strict=True):
            given = inputs[name]
            assert isinstance(given, Budget)
            moved[name] = Budget(float(value), "", given.contributions, given.correlations) if shift else given
        slopes = _linearized(as_one, moved)[1][0]
        return np.array([slopes[name] for name in names])

    here = gradient(center)
    columns, third = [], np.zeros(len(names))
    for column in root.T:
        a, b, c, d = (gradient(center + k * _STEP * column) for k in (-2, -1, 1, 2))
        columns.append((a - 8 * b + 8 * c - d) / (12 * _STEP))
        third += (-a + 16 * b - 30 * here + 16 * c - d) / (12 * _STEP**2)
    curved = root.T @ np.array(columns).T if names else np.zeros((0, 0))
    return here, curved, third


def _tuple_of(model: Model) -> Model:
    return lambda **given: (model(**given),)
