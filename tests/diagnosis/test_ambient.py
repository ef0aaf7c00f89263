from __future__ import annotations

import pytest

from benchcheck.diagnosis.ambient import engine_at, solved_at_c
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.readings.reading import Session

from . import boards

_DIODE = "D1.forward_drop"


@pytest.mark.parametrize(
    ("ambient_c", "expected"), [(23.0, 27.0), (21.0, 27.0), (33.0, 27.0), (8.3, 8.0), (41.0, 40.0), (230.0, 27.0)]
)
def test_a_board_is_solved_at_the_ambient_that_is_stated_far_from_27(
    engine: Engine, ambient_c: float, expected: float
) -> None:
    assert solved_at_c(engine.board, Session(ambient_c, ambient_read=True)) == expected


def test_readings_in_the_cold_are_the_good_boards(engine: Engine) -> None:
    cold = engine_at(engine.board, engine.bench, Session(-4.0, ambient_read=True))
    assert cold is engine_at(engine.board, engine.bench, Session(-4.4, ambient_read=True))
    column = next(at for at, shot in enumerate(engine.checks) if shot == engine.shot_of(engine.board.by_id[_DIODE]))
    colder = cold.predictions.mean[0, column] - engine.predictions.mean[0, column]
    assert colder == pytest.approx(31 * 0.002, abs=0.02)  # 2 mV/K, common practice
    taken = [*boards.readings(cold, "good"), boards.typed("ambient", "-4.0", "degC")]
    assert "good" in [str(one.hypothesis) for one in diagnose(engine.board, engine.bench, taken).leading[0]]
