"""All readings taken with the probes exchanged: the good board held against them once more, each the other way round.

Where the good board is looked for with readings that are all turned, its strays come out anywhere; what it would read
from there says little. So it is looked for again.
"""

from __future__ import annotations

from dataclasses import replace

from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.fits import joint
from benchcheck.diagnosis.hypotheses import GOOD
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.search import settled
from benchcheck.diagnosis.shots import DIRECT
from benchcheck.diagnosis.unit import UnitSolver

__all__ = ["worth_of_exchange"]


def worth_of_exchange(engine: Engine, evidence: Evidence, weighed: Weighed) -> float:
    """Return how much likelier readings are on the good board with the probes exchanged, as a logarithm."""
    turned = (
        replace(one, shot=one.shot.reversed) if one.shot.function in DIRECT else one for one in weighed.held.seen
    )
    seen = tuple(turned)
    shots = tuple(dict.fromkeys(one.shot for one in seen))
    begin = engine.predictions.settled
    predictions = predict(engine.board, engine.bench, engine.netlist, (GOOD,), shots, begin)
    held = hold(predictions, seen, engine.errors, evidence.leads_ohm)
    fit = joint(predictions, held, 0)
    solver = UnitSolver(engine.board, engine.bench, engine.netlist, (GOOD,), predictions, held)
    if solver.solves:
        fit, _ = settled(solver, held, 0, fit.stray)
    return fit.log_likelihood - weighed.fits[0].log_likelihood
