"""Several faults at once: what the eyes saw together, else pairs of those that each explain most of what is left."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import pins
from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.fits import Fit, Local, joint, straight
from benchcheck.diagnosis.gathered import Gathered
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED, Hypothesis
from benchcheck.diagnosis.likelihood import Held, hold, unexplained
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.search import settled
from benchcheck.diagnosis.unit import UnitSolver
from benchcheck.diagnosis.unnamed import least_with_paths, lower_than_named, worth_of_unnamed

__all__ = [
    "add_several",
    "another_explains",
    "beyond_leakages",
    "gone_to_alone",
    "least_readings",
    "several_faults",
]

Floats = NDArray[np.float64]

_PAIRED, _MOST_PAIRS, _MOST_BESIDE = 8, 10, 2
#: how many of those weighed together are followed to where the unit seems to be.
_FOLLOWED = 3
#: how many of those that explain what is left are looked for by themselves, and by how much, as a logarithm.
_TELLING, _TELLS = 2, 5.0


@dataclass(frozen=True, slots=True)
class Together:
    """Several faults at once, their log odds, what unnamed paths beside them add, and the checks they leave.

    `like` is what was weighed for all that no reading tells from it, None where that is these faults themselves.
    """

    hypothesis: Hypothesis
    log_odds: float
    path: float
    left: tuple[str, ...]
    like: Hypothesis | None = None

    @property
    def with_paths(self) -> Together:
        """The same with unnamed paths beside where those add anything."""
        if not self.path:
            return self
        beside = replace(self.hypothesis, also=(*self.hypothesis.also, UNNAMED))
        return replace(self, hypothesis=beside, log_odds=self.log_odds + self.path)


def another_explains(engine: Engine, weighed: Weighed, left: Collection[str]) -> bool:
    """Return whether any fault explains a reading of these checks: where none does, a further one is no help."""
    here = np.array([one.check in left for one in weighed.held.seen], bool)
    faults = [one.part_fault is not None for one in engine.hypotheses]
    every = np.concatenate([weighed.terms[faults], *(fit.terms[None] for at, fit in weighed.fits.items() if at)])
    return not unexplained(weighed.held, every)[:, here].all()


def add_several(
    engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered, left: Collection[str]
) -> dict[int, tuple[str, ...]]:
    """Add several faults at once where one leaves these checks; return those each of them leaves, by its identity.

    Before that, and where they lead, faults are looked for by themselves once more.
    """
    if every.first is GOOD and len(left) == 1:
        return {}  # one fault explains one reading by itself, if any does
    if len(_seen_turned(engine, evidence)) < 2:
        left = _asking(engine, evidence, weighed, every, left)
    if not left:
        return {}
    together = list(several_faults(engine, evidence, weighed, left))
    for several in together:
        every.add(several.hypothesis, several.log_odds, several.like)
    left_by = {id(one.hypothesis): one.left for one in together}
    if id(every.first) in left_by:
        gone_to_alone(engine, evidence, weighed, every, _rows_of(engine, every.first))
    return left_by


def _asking(
    engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered, left: Collection[str]
) -> Collection[str]:
    """Return the checks that ask for a second fault, once those that explain most of these were gone to alone."""
    row = engine.row_of(every.first)
    if row in weighed.fits and not beyond_leakages(weighed, row, left):
        return ()
    gone_to_alone(engine, evidence, weighed, every, _telling(engine, weighed, row, left))
    row = engine.row_of(every.first)
    if row not in weighed.fits:
        return left
    far = unexplained(weighed.held, weighed.fits[row].terms)
    left = tuple(one.check for one, bad in zip(weighed.held.seen, far, strict=True) if bad)
    return left if beyond_leakages(weighed, row, left) else ()


def _seen_turned(engine: Engine, evidence: Evidence) -> list[Hypothesis]:
    """Return the parts the wrong way round that the eyes saw so."""
    answers = evidence.orientation or {}
    return [one for one in engine.hypotheses if one.code == "reversed" and answers.get(one.designator) == "no"]


def _telling(engine: Engine, weighed: Weighed, row: int, left: Collection[str]) -> list[int]:
    """Return the faults that explain most of what one leaves, one of each group."""
    here = np.array([one.check in left for one in weighed.held.seen], bool)
    terms = weighed.fits[row].terms if row in weighed.fits else weighed.terms[row]
    gain = (weighed.terms - terms)[:, here].clip(min=0.0).sum(axis=1)
    best: dict[int, int] = {}
    for at in np.argsort(-gain):
        best.setdefault(engine.groups[at], int(at))
    others = [at for group, at in best.items() if group not in (engine.groups[0], engine.groups[row])]
    return [at for at in others[:_TELLING] if gain[at] > _TELLS]


def beyond_leakages(weighed: Weighed, row: int, left: Collection[str]) -> bool:
    """Return whether any reading of these checks is further off than leakages may be that take over from each other.

    Where a junction's leakage is next to the test current a reading hangs on a thousandth of it: what a fault leaves
    there asks for another look, and for no second fault.
    """
    held, fit = weighed.held, weighed.fits[row]
    lines = weighed.lines(row, fit.stray)
    allowed = np.sqrt(held.meter**2 + lines.own**2 + lines.bent**2)
    far = unexplained(held, fit.terms) & ~(np.abs(fit.rest) <= allowed)
    return any(one.check in left for one, bad in zip(held.seen, far, strict=True) if bad)


def gone_to_alone(engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered, rows: Sequence[int]) -> None:
    """Go to each of some faults by itself from where the good board suits best and as designed; enter what is better.

    It was gone to before from where the unit seemed to be then.
    """
    solver = UnitSolver(
        engine.board, engine.bench, engine.netlist, engine.hypotheses, weighed.predictions, weighed.held
    )
    good = weighed.fits[0].stray
    for row in rows if solver.solves else ():
        fits = [settled(solver, weighed.held, row, begin)[0] for begin in (good, np.zeros_like(good))]
        fit = max(fits, key=lambda each: each.log_likelihood)
        if row in weighed.fits and fit.log_likelihood <= weighed.fits[row].log_likelihood:
            continue
        alike = [at for at, group in enumerate(engine.groups) if group == engine.groups[row]]
        before = engine.log_prior[alike] + engine.beside(evidence, [engine.hypotheses[at] for at in alike])
        for at, odds in zip(alike, before + fit.log_likelihood, strict=True):
            if odds > weighed.log_odds[at]:
                weighed.fits[at], weighed.log_odds[at] = fit, odds
                every.add(engine.hypotheses[at], float(odds))


def several_faults(engine: Engine, evidence: Evidence, weighed: Weighed, left: Collection[str]) -> Iterator[Together]:
    """Yield several faults at once: what the eyes saw together, else pairs of what explains most.

    `left` are the checks that the leader leaves unexplained.
    """
    leading = _explaining(engine, weighed)
    seen_turned = _seen_turned(engine, evidence)
    if len(seen_turned) > 1:
        told = [one for one in leading if not _like_a_path(engine, one)]
        yield from _beside_what_was_seen(engine, evidence, weighed, seen_turned, told)
        return
    if not another_explains(engine, weighed, left):
        return
    for one in _weighed_together(engine, evidence, weighed, _pairs(engine, weighed, leading)):
        yield one
        yield from _alike(engine, evidence, one)


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
    more = predict(engine.board, engine.bench, engine.netlist, every, shots, engine.predictions.settled)
    held = hold(more, evidence.seen, engine.errors, evidence.leads_ohm)
    before = np.log([one.odds for one in several]) + engine.beside(evidence, several)
    incomplete = engine.model.incomplete
    found = [(joint(more, held, row), straight(more, held, row)) for row in range(1, len(every))]
    nearer = np.array([_nearer_the_unit(engine, evidence, weighed, one) for one in several])
    for at, followed in _followed(engine, weighed, several, more, held, before, [fit for fit, _ in found]):
        found[at], nearer[at] = followed, 0.0
    low = {at for _, lines in found for at in lower_than_named(lines, held, incomplete)}
    least = least_readings(engine, held.seen, several, low)
    worths = [
        worth_of_unnamed(lines, fit, held, incomplete, more.common, least=at_least)
        for (fit, lines), at_least in zip(found, least, strict=True)
    ]
    paths = np.array([max(worth or 0.0, 0.0) for worth in worths])
    by_fit = np.array([fit.log_likelihood for fit, _ in found])
    for one, worth, path, (fit, _) in zip(several, before + by_fit + nearer, paths, found, strict=True):
        far = unexplained(held, fit.terms) if not path else np.zeros(len(held.seen), bool)
        left = (seen.check for seen, bad in zip(held.seen, far, strict=True) if bad)
        yield Together(one, float(worth), float(path), tuple(left))


def _followed(
    engine: Engine, weighed: Weighed, several: Sequence[Hypothesis], more: Predictions, held: Held, before: Floats,
    by_lines: Sequence[Fit],
) -> Iterator[tuple[int, tuple[Fit, Local]]]:  # fmt: skip
    """Yield the likeliest of several where the unit seems to be, their places, fits and lines there.

    Whoever leads alone was gone to: lines from the designed board are no match for that. The search begins where the
    likelier of the faults by itself came out, and where lines promise more, there as well: what they promise is kept
    where it is found.
    """
    solver = UnitSolver(engine.board, engine.bench, engine.netlist, (GOOD, *several), more, held)
    if not solver.solves:
        return
    worth, best = before + np.array([fit.log_likelihood for fit in by_lines]), float(weighed.log_odds.max())
    for at in (int(each) for each in np.argsort(-worth)[:_FOLLOWED]):
        alone = [row for row in _rows_of(engine, several[at]) if row in weighed.fits]
        begin = by_lines[at].stray
        if alone:
            likelier = weighed.fits[max(alone, key=lambda row: float(weighed.log_odds[row]))]
            begin = more.strays.carried_over(weighed.predictions.strays, likelier.stray, len(begin))
        fit, _ = settled(solver, held, at + 1, begin, rival=best - float(before[at]))
        if alone and fit.log_likelihood < by_lines[at].log_likelihood:
            other, _ = settled(solver, held, at + 1, by_lines[at].stray, rival=best - float(before[at]))
            fit = max(fit, other, key=lambda each: each.log_likelihood)
        yield at, (fit, solver.lines(at + 1, fit.stray))


def _rows_of(engine: Engine, several: Hypothesis) -> list[int]:
    """Return the rows of the faults among several, each by itself."""
    faults = {one.part_fault for one in (several, *several.also)} - {None}
    return [at for at, one in enumerate(engine.hypotheses) if one.part_fault in faults]


def _nearer_the_unit(engine: Engine, evidence: Evidence, weighed: Weighed, several: Hypothesis) -> float:
    """Return by how much lines from the designed board promise too much, as the logarithm, 0 where too little.

    Several together are held against such lines alone. The likeliest of them by itself was held against the unit
    where it seems to be too.
    """
    row = max(_rows_of(engine, several), key=lambda at: float(weighed.log_odds[at]))
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
    likeliest = {engine.groups[at]: int(at) for at in np.argsort(weighed.log_odds) if at in set(rows)}
    leading = sorted(likeliest.values(), key=lambda at: -float(weighed.log_odds[at]))[: _PAIRED // 2]
    return [engine.hypotheses[at] for at in dict.fromkeys((*chosen, *leading))]


def _together(several: Sequence[Hypothesis]) -> Hypothesis:
    return replace(several[0], odds=math.prod(one.odds for one in several), also=tuple(several[1:]))


def _pairs(engine: Engine, weighed: Weighed, leading: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Return pairs of faults, the likeliest were each reading as likely as the better of the two makes it.

    Of faults that no reading tells apart one stands for all; one that none tells from the good board adds nothing.
    """
    row = {id(one): at for at, one in enumerate(engine.hypotheses)}
    one_of_each = {engine.groups[row[id(one)]]: one for one in reversed(leading)}
    one_of_each.pop(engine.groups[0], None)
    found = []
    for first, second in combinations(one_of_each.values(), 2):
        pair = _pair(first, second)
        if pair is not None:
            better = np.maximum(weighed.terms[row[id(first)]], weighed.terms[row[id(second)]])
            found.append((math.log(pair.odds) + float(better.sum()), pair))
    return [pair for _, pair in sorted(found, key=lambda each: -each[0])[:_MOST_PAIRS]]


def _alike(engine: Engine, evidence: Evidence, pair: Together) -> Iterator[Together]:
    """Yield the pairs that no reading tells from one, as likely by the readings and with their own odds."""
    rows = [_rows_of(engine, one)[0] for one in (replace(pair.hypothesis, also=()), *pair.hypothesis.also)]
    groups = [
        [one for one, group in zip(engine.hypotheses, engine.groups, strict=True) if group == engine.groups[row]]
        for row in rows
    ]
    by_readings = pair.log_odds - _beforehand(engine, evidence, pair.hypothesis)
    for first, second in product(*groups):
        other = _pair(first, second)
        if other is not None and other != pair.hypothesis:
            odds = by_readings + _beforehand(engine, evidence, other)
            yield replace(pair, hypothesis=other, log_odds=odds, like=pair.hypothesis)


def _beforehand(engine: Engine, evidence: Evidence, several: Hypothesis) -> float:
    """Return the log odds of several faults without the readings between nets."""
    return math.log(several.odds) + float(engine.beside(evidence, [several])[0])


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
