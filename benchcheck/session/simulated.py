"""The simulated bench behind a visit: a virtual unit is served on loopback sockets, and nobody types anything."""

from __future__ import annotations

from benchcheck.bench.model import Bench
from benchcheck.clock import SystemClock
from benchcheck.document import parse_document
from benchcheck.instruments.settling import SettleRule
from benchcheck.readings.metered import Taking
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.meters import Meters
from benchcheck.simulation.simulated_bench import SimulatedBench
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

__all__ = ["bare_board", "simulated_bench", "simulated_source"]

#: simulated meters settle within 2 ms, and charge moves a thousand times faster than life.
_PACE = 2000.0
_RULE = SettleRule(hold_s=0.012, timeout_s=2.0)
_QUICK = Taking(settle=_RULE, patient=_RULE, slow=SettleRule(hold_s=0.2, relative=0.01, timeout_s=10.0))


_BARE = 'benchcheck = 1\n[board]\nmodel = "no board"\nhazards = []\n'


def bare_board() -> Board:
    """Return a board with nothing on it, for what is done without a unit."""
    return load_board(parse_document(_BARE, "no board"))


def simulated_bench(board: Board, bench: Bench) -> SimulatedBench:
    """Return a good unit of the board behind the instruments of a bench, to be served."""
    return SimulatedBench(board, bench=bench, pace=_PACE)


def simulated_source(served: SimulatedBench) -> InstrumentedSource:
    """Return the source that reads a served bench with its own hand."""
    return InstrumentedSource(Meters(served.bench, SystemClock(), _QUICK), served.hand)
