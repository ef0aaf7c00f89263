"""Several faults at once: what the eyes saw together, else pairs of those that each explain most of what is left."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import pins
from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.fits import joint, straight
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED, Hypothesis
from benchcheck.diagnosis.likelihood import hold, unexplained
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.unnamed import least_with_paths, lower_than_named, worth_of_unnamed

__all__ = ["least_readings", "several_faults"]

Floats = NDArray[np.float64]

_PAIRED, _MOST_PAIRS, _MOST_BESIDE = 8, 28, 2


@dataclass(frozen=True, slots=True)
class Together:
    """Several faults at once, their log odds, what unnamed paths beside them add, and the checks they leave."""

    hypothesis: Hypothesis
    log_odds: float
    path: float
    left: tuple[str, ...]

    @property
    def with_paths(self) -> Together:
        """The same with unnamed paths beside where those add anything."""
        if not self.path:
            return self
        beside = replace(self.hypothesis, also=(*self.hypothesis.also, UNNAMED))
        return replace(self, hypothesis=beside, log_odds=self.log_odds + self.path)


def several_faults(engine: Engine, evidence: Evidence, weighed: Weighed) -> Iterator[Together]:
    """Yield several faults at once: what the eyes saw together, else pairs of what explains most."""
    leading = _explaining(engine, weighed)
    seen_turned = [
        one
        for one in engine.hypotheses
        if one.code == "reversed" and (evidence.orientation or {}).get(one.designator) == "no"
    ]
    if len(seen_turned) > 1:
        told = [one for one in leading if not _like_a_path(engine, one)]
        yield from _beside_what_was_seen(engine, evidence, weighed, seen_turned, told)
        return
    tried = (_pair(a, b) for a, b in combinations(leading, 2))
    pairs = [pair for pair in tried if pair is not None][:_MOST_PAIRS]
    yield from _weighed_together(engine, evidence, weighed, pairs)


def _like_a_path(engine: Engine, one: Hypothesis) -> bool:
    """Return whether a leak lies where the spec does not name every path: a path is likelier and reads the same."""
    device = engine.netlist.by_designator.get(one.designator)
    return one.code == "leaky" and device is not None and set(pins(device).values()) <= engine.model.incomplete


def _beside_what_was_seen(
    engine: Engine, evidence: Evidence, weighed: Weighed, seen: Sequence[Hypothesis], leading: Sequence[Hypothesis]
) -> Iterator[Together]:
    """Yield what the eyes saw together, then one and two more faults beside it, the best first fault kept."""
    kept = tuple(seen)
    found = list(_weighed_together(engine, evidence, weighed, [_together(kept)]))
    for _ in range(_MOST_BESIDE):
        yield from (one.with_paths for one in found)
        others = [one for one in leading if one not in kept]
        found = list(_weighed_together(engine, evidence, weighed, [_together((*kept, one)) for one in others]))
        if not found:
            return
        kept = (*kept, others[max(range(len(found)), key=lambda at: found[at].log_odds + found[at].path)])
    yield from (one.with_paths for one in found)


def _weighed_together(
    engine: Engine, evidence: Evidence, weighed: Weighed, several: Sequence[Hypothesis]
) -> Iterator[Together]:
    """Yield hypotheses of several faults, weighed."""
    if not several:
        return
    shots = tuple(dict.fromkeys(one.shot for one in weighed.held.seen))
    every = [GOOD, *several]
    more = predict(engine.board, engine.bench, engine.netlist, every, shots)
    held = hold(more, evidence.seen, engine.errors, evidence.leads_ohm)
    beside = engine.beside(evidence, several)
    incomplete = engine.model.incomplete
    fits = [joint(more, held, row) for row in range(1, len(every))]
    lines = [straight(more, held, row) for row in range(1, len(every))]
    low = {at for each in lines for at in lower_than_named(each, held, incomplete)}
    least = least_readings(engine, held.seen, several, low)
    worths = [
        worth_of_unnamed(own, fit, held, incomplete, more.common, least=at_least)
        for own, fit, at_least in zip(lines, fits, least, strict=True)
    ]
    paths = np.array([max(worth or 0.0, 0.0) for worth in worths])
    before = np.log([one.odds for one in several]) + beside
    by_lines = np.array([fit.log_likelihood for fit in fits])
    nearer = np.array([_nearer_the_unit(engine, evidence, weighed, one) for one in several])
    for one, worth, path, fit in zip(several, before + by_lines + nearer, paths, fits, strict=True):
        far = unexplained(held, fit.terms) if not path else np.zeros(len(held.seen), bool)
        left = (seen.check for seen, bad in zip(held.seen, far, strict=True) if bad)
        yield Together(one, float(worth), float(path), tuple(left))


def _nearer_the_unit(engine: Engine, evidence: Evidence, weighed: Weighed, several: Hypothesis) -> float:
    """Return by how much lines from the designed board promise too much, as the logarithm, 0 where too little.

    Several together are held against such lines alone. The likeliest of them by itself was held against the unit
    where it seems to be too.
    """
    alone = {one.part_fault for one in (several, *several.also)}
    rows = [at for at, one in enumerate(engine.hypotheses) if one.part_fault in alone] or [0]
    row = max(rows, key=lambda at: float(weighed.log_odds[at]))
    beside = float(engine.beside(evidence, engine.hypotheses[row : row + 1])[0]) + engine.log_prior[row]
    by_lines = joint(weighed.predictions, weighed.held, row).log_likelihood
    return min(float(weighed.log_odds[row] - beside) - by_lines, 0.0)


def _explaining(engine: Engine, weighed: Weighed) -> list[Hypothesis]:
    """Return the faults that each explain most of what the good board does not."""
    gain = (weighed.terms - weighed.terms[0]).clip(min=0.0)
    rows = [at for at, one in enumerate(engine.hypotheses) if one.part_fault is not None]
    chosen: list[int] = []
    got = np.zeros(gain.shape[1])
    for _ in range(_PAIRED // 2):
        best = max(rows, key=lambda at: float(np.maximum(gain[at] - got, 0.0).sum()))
        chosen.append(best)
        got = np.maximum(got, gain[best])
    leading = [int(at) for at in np.argsort(-weighed.log_odds) if at in set(rows)][: _PAIRED // 2]
    return [engine.hypotheses[at] for at in dict.fromkeys((*chosen, *leading))]


def _together(several: Sequence[Hypothesis]) -> Hypothesis:
    return replace(several[0], odds=math.prod(one.odds for one in several), also=tuple(several[1:]))


def _pair(first: Hypothesis, second: Hypothesis) -> Hypothesis | None:
    if first.designator and first.designator == second.designator:
        return None
    return replace(first, odds=first.odds * second.odds, also=(second,))


def least_readings(
    engine: Engine, seen: Sequence[Seen], hypotheses: Sequence[Hypothesis], low: Collection[int]
) -> Floats:
    """Return what readings are at least under each hypothesis, whatever lies on incomplete nets.

    Asked of those at the places `low`; of others it is nothing.
    """
    least, places = np.zeros((len(hypotheses), len(seen))), sorted(low)
    if places:
        shots, incomplete = [seen[at].shot for at in places], engine.model.incomplete
        least[:, places] = least_with_paths(engine.board, engine.bench, engine.netlist, hypotheses, shots, incomplete)
    return least
