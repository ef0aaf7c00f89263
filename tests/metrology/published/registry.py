"""The calculations that reproduce published examples, by example id."""

from __future__ import annotations

from collections.abc import Callable

from tests.metrology.published.comparing import Calculation

CALCULATIONS: dict[str, Calculation] = {}
#: example id -> output key -> why no calculation is held against it.
LEFT_OUT: dict[str, dict[str, str]] = {}


def reproduces(*ids: str, without: dict[str, str] | None = None) -> Callable[[Calculation], Calculation]:
    """Register a calculation for examples; `without` names outputs left out, each with the reason."""

    def register(calculation: Calculation) -> Calculation:
        for name in ids:
            assert name not in CALCULATIONS
            CALCULATIONS[name] = calculation
            LEFT_OUT[name] = dict(without or {})
        return calculation

    return register
