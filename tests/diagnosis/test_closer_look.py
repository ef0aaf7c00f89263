"""Where the circuit is solved again, and where that would be in vain."""

from __future__ import annotations

import pytest

from benchcheck.diagnosis import closer_look
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.fits import Fit
from benchcheck.diagnosis.search import gone_to_from_designed

from . import boards


@pytest.fixture
def looked_elsewhere(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The hypotheses that are looked for from the designed board, as they are."""
    rows: list[int] = []

    def noted(*given: object, rival: float) -> tuple[Fit, object]:
        rows.append(given[3])  # type: ignore[arg-type]  # the hypothesis's row
        return gone_to_from_designed(*given, rival=rival)  # type: ignore[arg-type]  # what it was given

    monkeypatch.setattr(closer_look, "gone_to_from_designed", noted)
    return rows


def leader(engine: Engine, fault: str, changed: dict[str, str] | None = None) -> str:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, fault, changed))
    return str(found.groups()[0][0][0].hypothesis)


def test_a_good_board_that_no_reading_speaks_against_is_looked_for_once(
    engine: Engine, looked_elsewhere: list[int]
) -> None:
    assert leader(engine, "good") == "good"
    assert looked_elsewhere == []


def test_nor_is_it_looked_for_again_where_a_fault_is_far_ahead(engine: Engine, looked_elsewhere: list[int]) -> None:
    assert leader(engine, "R1 decade x0.1") == "R1 decade x0.1"
    assert looked_elsewhere == []


def test_it_is_looked_for_from_the_designed_board_where_no_fault_explains_what_it_leaves(
    engine: Engine, looked_elsewhere: list[int]
) -> None:
    leader(engine, "good", {"D1.forward_drop": "1.9"})
    assert looked_elsewhere == [0]
