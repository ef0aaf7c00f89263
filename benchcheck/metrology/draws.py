"""Random draws for Monte Carlo: one standardized draw for each contribution and trial (JCGM 101 6.4).

Contributions with stated correlations are drawn as a joint normal (6.4.8), or a joint Student's t when all of
them have the same finite degrees of freedom. A bounded contribution cannot be part of that: no joint
distribution follows from a coefficient alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import MetrologyError
from benchcheck.metrology.budget import Budget
from benchcheck.metrology.contribution import Contribution
from benchcheck.metrology.correlation import Correlation, checked_correlations, correlation_matrix, groups
from benchcheck.metrology.distribution import Distribution

__all__ = ["Draw", "Sampler", "curvilinear_trapezoid"]

Array = NDArray[np.float64]
Generator = np.random.Generator
#: (generator, count) -> values of shape (count,).
Draw = Callable[[Generator, int], Array]
#: fills an array with draws of a contribution's error over its scale.
_Fill = Callable[[Generator, Array], None]


def curvilinear_trapezoid(lower: float, upper: float, inexactness: float) -> Draw:
    """Return draws between limits that are themselves known only within `inexactness` (JCGM 101 6.4.3).

    All in the input's quantity unit; the midpoint stays where it is.
    """
    if not (math.isfinite(lower) and math.isfinite(upper) and 0.0 <= inexactness <= 0.5 * (upper - lower)):
        raise MetrologyError(
            f"limits {lower!r} and {upper!r} within {inexactness!r}: "
            "lower below upper and an inexactness from 0 to half their distance are needed"
        )

    def draw(generator: Generator, count: int) -> Array:
        start = generator.uniform(lower - inexactness, lower + inexactness, count)
        found: Array = start + (lower + upper - 2.0 * start) * generator.random(count)
        return found

    return draw


class Sampler:
    """Draws the inputs of a model, block by block."""

    def __init__(
        self, inputs: Mapping[str, Budget | Draw | float], correlations: Sequence[tuple[str, str, float]]
    ) -> None:
        self._inputs = inputs
        known = _known(inputs)
        stated = _all_correlations(inputs, correlations)
        if stated:
            stated = checked_correlations(tuple(known.values()), stated)
        self._joint = [_Joint(members, stated) for members in _correlated(known, stated)]
        joint_ids = {each for joint in self._joint for each in joint.ids}
        self._terms = {
            name: [(each.id, _gain(each)) for each in given.contributions if each.output_uncertainty > 0.0]
            for name, given in inputs.items()
            if isinstance(given, Budget)
        }
        uses = [each for terms in self._terms.values() for each, _ in terms]
        self._fills = {each: _fill_of(known[each]) for each in uses if each not in joint_ids}
        self._shared = {each for each in uses if uses.count(each) > 1}

    def draw(self, count: int, generator: Generator) -> dict[str, Array | float]:
        """Return `count` draws of each input; constants stay numbers."""
        ready = self._ready(count, generator)
        found: dict[str, Array | float] = {}
        for name, given in self._inputs.items():
            if isinstance(given, Budget):
                values = np.empty(count)
                self._add(name, given.value, values, ready, generator)
                found[name] = values
            elif callable(given):
                found[name] = np.asarray(given(generator, count), dtype=np.float64)
            else:
                found[name] = float(given)
        return found

    def draw_into(self, name: str, values: Array, generator: Generator) -> None:
        """Fill `values` with draws of the budget `name`."""
        given = self._inputs[name]
        assert isinstance(given, Budget)
        self._add(name, given.value, values, self._ready(len(values), generator), generator)

    def _ready(self, count: int, generator: Generator) -> dict[str, Array]:
        """Return the draws that more than one input, or a joint distribution, needs."""
        ready: dict[str, Array] = {}
        for joint in self._joint:
            ready.update(joint.draw(count, generator))
        for each in self._fills:
            if each in self._shared:
                ready[each] = np.empty(count)
                self._fills[each](generator, ready[each])
        return ready

    def _add(self, name: str, value: float, values: Array, ready: Mapping[str, Array], generator: Generator) -> None:
        values.fill(value)
        scratch = np.empty(len(values))
        for each, gain in self._terms[name]:
            if each in ready:
                np.multiply(ready[each], gain, out=scratch)
            else:
                self._fills[each](generator, scratch)
                scratch *= gain
            values += scratch


def _known(inputs: Mapping[str, Budget | Draw | float]) -> dict[str, Contribution]:
    known: dict[str, Contribution] = {}
    for given in inputs.values():
        if isinstance(given, Budget):
            for each in given.contributions:
                before = known.setdefault(each.id, each)
                if before.distribution is not each.distribution:
                    raise MetrologyError(
                        f'contribution "{each.id}" is {before.distribution} and {each.distribution} at once; '
                        "one id is one physical error, so give different errors different ids"
                    )
    return known


def _all_correlations(
    inputs: Mapping[str, Budget | Draw | float], correlations: Sequence[tuple[str, str, float]]
) -> tuple[Correlation, ...]:
    own = (each for given in inputs.values() if isinstance(given, Budget) for each in given.correlations)
    return tuple(dict.fromkeys((*own, *(Correlation(*each) for each in correlations))))


def _correlated(known: Mapping[str, Contribution], stated: Sequence[Correlation]) -> list[tuple[Contribution, ...]]:
    return [members for members in groups(tuple(known.values()), stated) if len(members) > 1]


def _gain(contribution: Contribution) -> float:
    """Return what a draw of the standardized error is multiplied with to act on the result."""
    if contribution.distribution is Distribution.NORMAL:
        return contribution.sensitivity * contribution.standard_uncertainty
    return contribution.sensitivity * (contribution.half_width or 0.0)


def _normal(generator: Generator, out: Array) -> None:
    generator.standard_normal(out=out)


def _rectangular(generator: Generator, out: Array) -> None:
    generator.random(out=out)
    out *= 2.0
    out -= 1.0


def _u_shaped(generator: Generator, out: Array) -> None:
    generator.random(out=out)
    out *= math.pi
    np.cos(out, out=out)


def _trapezoid(top: float) -> _Fill:
    """Return a fill for the sum of two rectangulars that makes a trapezoid of base half-width 1."""

    def fill(generator: Generator, out: Array) -> None:
        generator.random(out=out)
        out *= 1.0 + top
        out += (1.0 - top) * generator.random(len(out))
        out -= 1.0

    return fill


def _student(degrees_of_freedom: float) -> _Fill:
    def fill(generator: Generator, out: Array) -> None:
        out[:] = generator.standard_t(degrees_of_freedom, len(out))

    return fill


def _fill_of(contribution: Contribution) -> _Fill:
    if contribution.distribution is Distribution.NORMAL:
        dof = contribution.degrees_of_freedom
        return _normal if math.isinf(dof) else _student(dof)
    if contribution.distribution is Distribution.RECTANGULAR:
        return _rectangular
    if contribution.distribution is Distribution.U_SHAPED:
        return _u_shaped
    ratio = contribution.standard_uncertainty / (contribution.half_width or math.inf)
    return _trapezoid(math.sqrt(max(0.0, min(1.0, 6.0 * ratio * ratio - 1.0))))


class _Joint:
    """Contributions drawn together as a joint normal or Student's t."""

    def __init__(self, members: tuple[Contribution, ...], stated: Sequence[Correlation]) -> None:
        self.ids = [each.id for each in members]
        for each in members:
            if each.distribution is not Distribution.NORMAL:
                raise MetrologyError(
                    f'contribution "{each.id}" ({each.label}) is {each.distribution} and correlated: a coefficient '
                    "alone settles no joint distribution; draw both from one function, or give them one id"
                )
        dofs = {each.degrees_of_freedom for each in members}
        if len(dofs) > 1:
            names = ", ".join(f'"{each}"' for each in self.ids)
            raise MetrologyError(
                f"correlated contributions {names} have different degrees of freedom; a joint Student's t needs one"
            )
        self._dof = dofs.pop()
        values, vectors = np.linalg.eigh(np.array(correlation_matrix(self.ids, stated)))
        self._root = vectors * np.sqrt(np.maximum(values, 0.0))

    def draw(self, count: int, generator: Generator) -> dict[str, Array]:
        """Return standardized draws by id."""
        drawn = self._root @ generator.standard_normal((len(self.ids), count))
        if math.isfinite(self._dof):
            drawn /= np.sqrt(generator.chisquare(self._dof, count) / self._dof)
        return dict(zip(self.ids, drawn, strict=True))
