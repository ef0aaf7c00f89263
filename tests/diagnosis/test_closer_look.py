"""Where the circuit is solved again, and where that would be in vain."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from benchcheck.diagnosis import closer_look
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.fits import Fit
from benchcheck.diagnosis.search import compared, gone_to_from_designed

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


@pytest.fixture
def compared_around(monkeypatch: pytest.MonkeyPatch) -> dict[int, set[int]]:
    """The hypotheses that were held against the readings around each one's point."""
    rows: dict[int, set[int]] = {}

    def noted(*given: object) -> Sequence[int]:
        rows.setdefault(given[4], set()).update(given[3])  # type: ignore[arg-type]  # around, and rows
        return compared(*given)  # type: ignore[arg-type]  # what it was given

    monkeypatch.setattr(closer_look, "compared", noted)
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


def test_what_is_far_behind_is_not_solved_beside_a_leader_that_leaves_nothing(
    engine: Engine, compared_around: dict[int, set[int]]
) -> None:
    assert leader(engine, "R1 decade x0.1") == "R1 decade x0.1"
    (around,) = compared_around.keys() - {0}
    assert compared_around[around] == {0, around}
    assert len(compared_around[0]) > 2


def test_all_are_solved_beside_him_where_the_good_board_came_out_elsewhere_since(
    engine: Engine, compared_around: dict[int, set[int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An open joint was told as a leaky diode: it was estimated where the good board had not come out yet."""
    monkeypatch.setattr(closer_look, "_ELSEWHERE", 0.0)  # wherever it came out
    assert leader(engine, "R1 decade x0.1") == "R1 decade x0.1"
    (around,) = compared_around.keys() - {0}
    assert compared_around[around] > {0, around}


def test_what_is_estimated_far_behind_a_good_board_is_not_followed(
    engine: Engine, compared_around: dict[int, set[int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert leader(engine, "good") == "good"
    followed = set(compared_around[0])
    monkeypatch.setattr(closer_look, "_FAR_BEHIND_GOOD", 1000.0)
    assert leader(engine, "good") == "good"
    assert followed < compared_around[0]


def test_it_is_looked_for_from_the_designed_board_where_no_fault_explains_what_it_leaves(
    engine: Engine, looked_elsewhere: list[int]
) -> None:
    leader(engine, "good", {"D1.forward_drop": "1.9"})
    assert looked_elsewhere == [0]
