"""The engine of a board where it is measured: a board far from 27 degC has other junctions than the cards'.

Near 27 degC the spread of all junctions together covers it, and one dictionary serves; further off the board is made
ready anew, in steps that are small beside that spread.
"""

from __future__ import annotations

from dataclasses import replace

from benchcheck.bench.model import Bench
from benchcheck.circuit.warmed import warmed
from benchcheck.diagnosis.engine import Engine, engine_for
from benchcheck.diagnosis.kept import Shelf
from benchcheck.diagnosis.shots import MeterErrors
from benchcheck.diagnosis.spread import model_with_series
from benchcheck.readings.reading import Session
from benchcheck.score.model_circuit import conditions_at
from benchcheck.spec.board import Board

__all__ = ["engine_at", "solved_at_c"]

_NOMINAL_C, _NEAR_K, _STEP_K = 27.0, 6.0, 2.0
#: what a bench may be at, in degree Celsius; beyond, the ambient was noted wrongly.
_LEAST_C, _MOST_C = -20.0, 60.0
_CACHE: dict[tuple[str, str, bool, float], Engine] = {}
_MOST_KEPT = 4


def solved_at_c(board: Board, session: Session) -> float:
    """Return the temperature a board is solved at, in degree Celsius: the stated ambient where it is far from 27."""
    stated = session.ambient_c if session.ambient_read else board.ambient_c
    if abs(stated - _NOMINAL_C) <= _NEAR_K or not _LEAST_C <= stated <= _MOST_C:
        return _NOMINAL_C
    return _STEP_K * round(stated / _STEP_K)


def engine_at(
    board: Board, bench: Bench, session: Session, *, across: bool = True, shelf: Shelf | None = None
) -> Engine:
    """Return the engine of a board and bench at the ambient of a session, made ready as `engine_for` does."""
    at_c = solved_at_c(board, session)
    if at_c == _NOMINAL_C:
        return engine_for(board, bench, across=across, shelf=shelf)
    key = board.digest, bench.digest, across, at_c
    if key not in _CACHE:
        while len(_CACHE) >= _MOST_KEPT:
            _CACHE.pop(next(iter(_CACHE)))
        model = model_with_series(board)
        model = replace(model, netlist=warmed(model.netlist, conditions_at(at_c)))
        _CACHE[key] = Engine(board, bench, model, across=across, shelf=shelf)
        _CACHE[key].errors = MeterErrors(bench, at_c)
    return _CACHE[key]
