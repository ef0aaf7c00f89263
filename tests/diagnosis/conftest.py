from __future__ import annotations

import pytest

from benchcheck.diagnosis.engine import Engine, engine_for

from . import boards


@pytest.fixture(scope="session")
def engine() -> Engine:
    return engine_for(boards.board(), boards.bench())
