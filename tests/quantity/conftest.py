"""What every refusal of a quantity must be, whatever was typed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchcheck.errors import QuantityError

LONGEST_MESSAGE = 400


@pytest.fixture(scope="session")
def check_message() -> Callable[[QuantityError], None]:
    """One fault in one printable line of bearable length."""

    def check(refused: QuantityError) -> None:
        assert len(refused.faults) == 1
        assert refused.faults[0].message.isprintable()
        assert len(refused.faults[0].message) <= LONGEST_MESSAGE

    return check
