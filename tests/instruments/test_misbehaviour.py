"""A slice of the fault matrix in every test run; all of it is `python -m tests.benchmarks instrument_faults`."""

from __future__ import annotations

import pytest

from benchcheck.simulation.misbehaviour import HARMLESS, Kind
from tests.instruments.fault_matrix import OPERATIONS, Operation, run_case

BY_NAME = {operation.name: operation for operation in OPERATIONS}
WORST = (
    Kind.LATE,
    Kind.PAUSES,
    Kind.DIGIT_CHANGED,
    Kind.TRUNCATED,
    Kind.DUPLICATED_LATER,
    Kind.NUMBER_BEFORE,
    Kind.ONE_BEHIND,
    Kind.CLOSES_AMID,
    Kind.RESTARTS_ON,
    Kind.SETTINGS_IGNORED,
)


@pytest.mark.parametrize("dialect", ["brisk", "one_by_one"])
@pytest.mark.parametrize("operation", ["meter: ohms, settled", "supply: voltage", "supply: off"])
@pytest.mark.parametrize("kind", [*WORST, *sorted(HARMLESS)], ids=lambda kind: kind.name)
def test_no_wrong_number_is_accepted_and_power_ends_off(kind: Kind, operation: str, dialect: str) -> None:
    outcome, _ = run_case(kind, BY_NAME[operation], 1, dialect)
    assert not outcome.startswith("WRONG")


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.name)
def test_a_stale_number_after_the_first_answer_is_never_taken(operation: Operation) -> None:
    for kind in (Kind.NUMBER_LATER, Kind.ONE_BEHIND):
        outcome, _ = run_case(kind, operation, 1, "one_by_one", 1)
        assert not outcome.startswith("WRONG")
