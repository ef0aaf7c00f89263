"""Every published example of tests/reference/metrology, at its printed digits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.metrology.published import (  # noqa: F401 - importing registers the calculations
    conformity,
    further,
    gum,
    laboratories,
    meters,
    monte_carlo,
    statistics,
)
from tests.metrology.published.comparing import Example, examples, flattened, misses
from tests.metrology.published.registry import CALCULATIONS, LEFT_OUT

EXAMPLES = examples()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda each: each.id)
def test_a_published_example_comes_out_at_its_printed_digits(example: Example) -> None:
    results = CALCULATIONS[example.id](example.inputs)
    left_out = LEFT_OUT[example.id]
    kept = {
        kind: {
            name: each
            for name, each in flattened(example.outputs.get(kind, {}))
            if name not in left_out and f"{kind}.{name}" not in left_out
        }
        for kind in ("published", "computed")
    }
    assert misses(replace(example, outputs=kept), results) == []


def test_every_example_has_one_calculation() -> None:
    ids = [each.id for each in EXAMPLES]
    assert len(ids) == len(set(ids)) == 58 + 7
    assert set(CALCULATIONS) == set(ids)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda each: each.id)
def test_an_output_left_out_exists(example: Example) -> None:
    names = {
        full
        for kind, outputs in example.outputs.items()
        for name, _ in flattened(outputs)
        for full in (name, f"{kind}.{name}")
    }
    assert set(LEFT_OUT[example.id]) <= names


@pytest.mark.parametrize("example", [each for each in EXAMPLES if each.confidence == "C"], ids=lambda each: each.id)
def test_an_unconfirmed_example_is_never_the_only_check(example: Example) -> None:
    assert example.also, "name what else checks the same rule"


def test_a_wrong_digit_is_noticed() -> None:
    example = next(each for each in EXAMPLES if each.id == "GUM-4.3.7-EX1-RECT")
    results = dict(CALCULATIONS[example.id](example.inputs))
    assert misses(example, {**results, "u_per_K": results["u_per_K"] * (1 + 3e-9)}) == [
        f"computed u_per_K: 2.309401077e-07 expected, {results['u_per_K'] * (1 + 3e-9)!r} calculated"
    ]
    assert misses(example, {**results, "variance": 53.5e-15})
