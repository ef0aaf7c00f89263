"""Contributions that are not independent: one error at work twice, and stated coefficients (GUM 5.2).

One id means one error: its effects add with their signs. Anything weaker is a coefficient between two ids,
and all coefficients together must fit a joint distribution: their matrix is positive semidefinite.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from benchcheck.errors import MetrologyError, close_match
from benchcheck.metrology.contribution import Contribution

__all__ = [
    "Correlation",
    "checked_correlations",
    "coherent",
    "combined",
    "correlation_matrix",
    "groups",
    "is_one_error",
]

#: an eigenvalue may fall this much below zero through rounded coefficients.
_ROUNDING = 1e-9
#: a variance this small beside 1 is what rounding left of none.
_SINGULAR = 1e-15


class Correlation(NamedTuple):
    """How two contributions vary together: `coefficient` from -1 to 1 between their ids."""

    first: str
    second: str
    coefficient: float


def coherent(contributions: Iterable[Contribution]) -> tuple[Contribution, ...]:
    """Return contributions with those of one id joined into one, effects added with their signs.

    Raises MetrologyError when one id comes with two distributions.
    """
    found: dict[str, Contribution] = {}
    for each in contributions:
        before = found.get(each.id)
        found[each.id] = each if before is None else _joined(before, each)
    return tuple(found.values())


def _joined(first: Contribution, second: Contribution) -> Contribution:
    if first.distribution is not second.distribution:
        raise MetrologyError(
            f'contribution "{first.id}" is {first.distribution} and {second.distribution} at once; '
            "one id is one physical error, so give different errors different ids"
        )
    base = first if first.standard_uncertainty > 0.0 else second
    if base.standard_uncertainty == 0.0:
        return first
    dof = min(first.degrees_of_freedom, second.degrees_of_freedom)
    other = second.standard_uncertainty / base.standard_uncertainty
    own = first.standard_uncertainty / base.standard_uncertainty
    sensitivity = first.sensitivity * own + second.sensitivity * other
    return replace(base, sensitivity=sensitivity, degrees_of_freedom=dof)


def correlation_matrix(ids: Sequence[str], correlations: Iterable[Correlation]) -> list[list[float]]:
    """Return the matrix of coefficients in the order of `ids`, shape (len(ids), len(ids))."""
    place = {name: position for position, name in enumerate(ids)}
    matrix = [[1.0 if i == j else 0.0 for j in range(len(ids))] for i in range(len(ids))]
    for first, second, coefficient in correlations:
        if first in place and second in place:
            i, j = place[first], place[second]
            matrix[i][j] = matrix[j][i] = coefficient
    return matrix


def checked_correlations(
    contributions: Sequence[Contribution], correlations: Iterable[tuple[str, str, float]]
) -> tuple[Correlation, ...]:
    """Return the correlations when they fit these contributions.

    Raises MetrologyError naming the contributions of a coefficient that is out of range, given twice with
    different figures, or part of a matrix that is not positive semidefinite.
    """
    known = {each.id for each in contributions}
    found: dict[frozenset[str], Correlation] = {}
    for first, second, coefficient in correlations:
        where = f'correlation of "{first}" and "{second}"'
        for name in (first, second):
            if name not in known:
                raise MetrologyError(f'{where}: no contribution has the id "{name}"{close_match(name, known)}')
        if first == second:
            raise MetrologyError(f"{where}: a contribution is fully correlated with itself; leave it out")
        if not -1.0 <= coefficient <= 1.0:
            raise MetrologyError(f"{where}: coefficient {coefficient!r}: a number from -1 to 1 is needed")
        pair = frozenset((first, second))
        if pair in found and found[pair].coefficient != coefficient:
            raise MetrologyError(f"{where}: both {found[pair].coefficient!r} and {coefficient!r} are given")
        found[pair] = Correlation(first, second, coefficient)
    _check_semidefinite(tuple(found.values()))
    return tuple(found.values())


def _check_semidefinite(correlations: tuple[Correlation, ...]) -> None:
    if len(correlations) < 2:
        return
    import numpy as np

    ids = list(dict.fromkeys(name for each in correlations for name in each[:2]))
    lowest = float(np.linalg.eigvalsh(np.array(correlation_matrix(ids, correlations)))[0])
    if lowest < -_ROUNDING * len(ids):
        names = ", ".join(f'"{each}"' for each in ids)
        raise MetrologyError(
            f"correlations of {names}: their matrix is not positive semidefinite (an eigenvalue is {lowest:.3g}), "
            "so no joint distribution has them; check signs and coefficients"
        )


def combined(contributions: Sequence[Contribution], correlations: Iterable[Correlation]) -> float:
    """Return the combined standard uncertainty in the unit of the result (GUM equation 16)."""
    plain = math.hypot(*(each.sensitivity * each.standard_uncertainty for each in contributions))
    if math.isinf(plain):
        raise MetrologyError(
            "the combined standard uncertainty is beyond what a number can hold; use a larger quantity unit"
        )
    stated = [each for each in correlations if each.coefficient != 0.0]
    if plain == 0.0 or not stated:
        return plain
    part = {each.id: each.sensitivity * each.standard_uncertainty / plain for each in contributions}
    ids = [each for each in dict.fromkeys(name for pair in stated for name in pair[:2]) if each in part]
    correlated = [part.pop(each) for each in ids]
    return plain * math.hypot(*part.values(), *_rotated(correlated, correlation_matrix(ids, stated)))


def _rotated(parts: Sequence[float], matrix: list[list[float]]) -> list[float]:
    """Return independent parts with the same combined variance: the transposed Cholesky factor times the parts.

    What cancels does so before it is squared, so that a correlation of one leaves no rounding behind.
    """
    count = len(parts)
    factor = [[0.0] * count for _ in range(count)]
    for i in range(count):
        for j in range(i + 1):
            rest = matrix[i][j] - math.fsum(factor[i][k] * factor[j][k] for k in range(j))
            if i == j:
                factor[i][j] = math.sqrt(rest) if rest > _SINGULAR else 0.0
            elif factor[j][j] > 0.0:
                factor[i][j] = rest / factor[j][j]
    return [math.fsum(factor[i][k] * parts[i] for i in range(k, count)) for k in range(count)]


def groups(
    contributions: Sequence[Contribution], correlations: Iterable[Correlation]
) -> tuple[tuple[Contribution, ...], ...]:
    """Return the contributions in groups that are independent of each other, in their order."""
    label = {each.id: each.id for each in contributions}
    for first, second, coefficient in correlations:
        if coefficient != 0.0:
            keep, drop = label[first], label[second]
            label = {name: keep if group == drop else group for name, group in label.items()}
    found: dict[str, list[Contribution]] = {}
    for each in contributions:
        found.setdefault(label[each.id], []).append(each)
    return tuple(tuple(members) for members in found.values())


def is_one_error(members: Sequence[Contribution], correlations: Iterable[Correlation]) -> bool:
    """Return whether coefficients of 1 and -1 make these contributions, all of one shape, a single error."""
    first, ids = members[0], {each.id for each in members}
    between = [r for a, b, r in correlations if a in ids and b in ids]
    shapes = {(each.distribution, each.degrees_of_freedom) for each in members}
    ratios = {round(each.divisor, 9) for each in members}
    pairs = len(members) * (len(members) - 1) // 2
    full = len(between) == pairs and all(abs(r) == 1.0 for r in between)
    return full and len(shapes) == 1 and len(ratios) == 1 and first.standard_uncertainty > 0.0
