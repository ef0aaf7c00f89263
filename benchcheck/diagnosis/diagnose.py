"""From readings to an answer: what is likely wrong, what cannot be told apart, where the probes go next."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.diagnosis.engine import Engine, Weighed, engine_for
from benchcheck.diagnosis.evidence import Evidence, evidence_of
from benchcheck.diagnosis.hypotheses import GOOD, Hypothesis
from benchcheck.diagnosis.likelihood import hold, joint
from benchcheck.diagnosis.next_measurement import LIFT_S, STOP_AT, Candidate, candidates
from benchcheck.diagnosis.operators import Slips, slips
from benchcheck.diagnosis.powered import signs_under_power
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.signatures import by_signature
from benchcheck.diagnosis.spread import shifted
from benchcheck.diagnosis.unnamed import UNNAMED, worth_of_unnamed
from benchcheck.quantity import DisplayState, brief_value
from benchcheck.readings.reading import Reading, Session
from benchcheck.spec.board import Board

__all__ = ["Cause", "Diagnosis", "Ranked", "Suggestion", "diagnose"]

_LEADING, _LEAST_LEADING = 12, 1e-3
_SUGGESTED = 3
_IS_THERE, _FEW = " is there", 2
#: logarithm of a reading's likelihood below which a hypothesis does not explain it, against anything at all.
_UNEXPLAINED = math.log(0.2)
_PAIRED, _MOST_PAIRS, _MOST_BESIDE = 8, 28, 2


@dataclass(frozen=True, slots=True)
class Ranked:
    """One hypothesis with its probability and the number of its group, from 0; the good board's is 0."""

    hypothesis: Hypothesis
    probability: float
    group: int


@dataclass(frozen=True, slots=True)
class Cause:
    """What a suggested reading would show if a hypothesis were true."""

    hypothesis: Hypothesis
    display: str


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A measurement worth making: nets or leads, function, what it tells in bits, what it costs in seconds."""

    red: str
    black: str
    function: Function | None
    information_bits: float
    cost_s: float
    if_cause: tuple[Cause, ...]
    words: str
    check: str = ""
    by_net: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All hypotheses, the likeliest first, what to measure next, and what has to be said beside."""

    ranked: tuple[Ranked, ...]
    suggestions: tuple[Suggestion, ...] = ()
    remarks: tuple[str, ...] = ()

    def group(self, number: int) -> tuple[Ranked, ...]:
        """Return the hypotheses of a group, the likeliest first."""
        return tuple(one for one in self.ranked if one.group == number)

    @property
    def leading(self) -> tuple[tuple[Ranked, ...], float]:
        """The likeliest group and its probability."""
        return self.groups()[0]

    def groups(self) -> tuple[tuple[tuple[Ranked, ...], float], ...]:
        """Return every group with its probability, the likeliest first."""
        shares: dict[int, float] = {}
        for one in self.ranked:
            shares[one.group] = shares.get(one.group, 0.0) + one.probability
        order = sorted(shares, key=lambda number: -shares[number])
        return tuple((self.group(number), shares[number]) for number in order)


def diagnose(
    board: Board, bench: Bench, readings: Sequence[Reading], session: Session | None = None, *, across: bool = True
) -> Diagnosis:
    """Return what a set of readings says of a board, measured on a bench.

    Without `across` only the spec's own checks are looked at, for a quick word at the end of a visit.

    Raises CircuitError for a board whose circuit cannot be solved.
    """
    evidence = evidence_of(board, readings, session or _session(board, readings))
    engine = engine_for(board, bench, across=across)
    if not engine.netlist.devices:
        return _by_signature(board, evidence, readings)
    return _of_circuit(engine, evidence)


def _session(board: Board, readings: Sequence[Reading]) -> Session:
    """Return what the reserved readings say of the session."""
    found = {one.check: one.display.value for one in readings}
    leads = found.get("meter.leads_shorted")
    ambient = found.get("ambient")
    return Session(board.ambient_c if ambient is None else ambient, ambient is not None, leads)


def _by_signature(board: Board, evidence: Evidence, readings: Sequence[Reading]) -> Diagnosis:
    over = {one.check: one.display.state is DisplayState.OVERLOAD or one.display.to_overload for one in readings}
    found = by_signature(board, evidence, over)
    ranked = tuple(Ranked(one, share, at if one is not GOOD else 0) for at, (one, share) in enumerate(found, 1))
    words = (
        "no nets in the spec: judged part by part, by the signatures of their kinds; the circuit around a part is "
        "not known, so a low resistance may be the circuit's. Give nets to have the board solved."
    )
    return Diagnosis(ranked, (), (words,))


def _of_circuit(engine: Engine, evidence: Evidence) -> Diagnosis:
    weighed = engine.weigh(evidence)
    hypotheses, odds, group = list(engine.hypotheses), list(weighed.log_odds), list(engine.groups)
    for slip, worth in _slips(engine, evidence, weighed):
        hypotheses.append(slip)
        odds.append(weighed.log_odds[0] + worth)
        group.append(max(group) + 1)
    unnamed = worth_of_unnamed(weighed.predictions, weighed.held, weighed.terms[0], engine.model.incomplete)
    if unnamed is not None:
        hypotheses.append(UNNAMED)
        odds.append(weighed.log_odds[0] + unnamed)
        group.append(max(group) + 1)
    remarks = list(_remarks(engine, evidence))
    best = int(np.argmax(weighed.log_odds))
    left = unexplained(engine, evidence, weighed, best)
    if left:
        for pair, worth in _more(engine, evidence, weighed):
            hypotheses.append(pair)
            odds.append(worth)
            group.append(max(group) + 1)
        remarks += _contradictions(left, hypotheses[int(np.argmax(odds))])
    share = np.exp(np.array(odds) - max(odds))
    share /= share.sum()
    order = np.argsort(-share, kind="stable")
    ranked = tuple(Ranked(hypotheses[at], float(share[at]), group[at]) for at in order)
    found = Diagnosis(ranked, (), tuple(remarks))
    return replace(found, suggestions=tuple(_suggestions(engine, evidence, found)))


def _slips(engine: Engine, evidence: Evidence, weighed: Weighed) -> Iterator[tuple[Hypothesis, float]]:
    good = weighed.predictions.only_good()
    work = Slips(good, engine.errors, evidence, weighed.held, tuple(weighed.terms[0]))
    yield from slips(work, engine.netlist, engine.bench)


def unexplained(engine: Engine, evidence: Evidence, weighed: Weighed, row: int) -> tuple[str, ...]:
    """Return the checks whose readings a hypothesis does not explain."""
    fit = joint(weighed.predictions, weighed.held, row)
    terms = fit.terms if len(fit.terms) else weighed.held.terms[row]
    far = terms < math.log(0.01) + weighed.held.anything - _UNEXPLAINED
    return tuple(one.check for one, bad in zip(weighed.held.seen, far, strict=True) if bad)


def _contradictions(left: Sequence[str], best: Hypothesis) -> Iterator[str]:
    names = list(dict.fromkeys(name.partition(".")[0] for name in left))
    together = " and ".join((", ".join(left[:3]), f"{len(left) - 3} more") if len(left) > 3 else left[:2] or left)
    if len(left) == 3:
        together = f"{left[0]}, {left[1]} and {left[2]}"
    if best.also:
        yield f"no single fault explains {together} with the rest; together these do best: {best}"
    else:
        yield (
            f"no single fault explains {together} with all other readings: touch down again there "
            f"({', '.join(names[:4])}), then look for a second fault"
        )


def _more(engine: Engine, evidence: Evidence, weighed: Weighed) -> Iterator[tuple[Hypothesis, float]]:
    """Yield several faults at once: what the eyes saw together, else pairs of what explains most; with log odds."""
    leading = _explaining(engine, weighed)
    seen_turned = [
        one
        for one in engine.hypotheses
        if one.code == "reversed" and (evidence.orientation or {}).get(one.designator) == "no"
    ]
    if len(seen_turned) > 1:
        yield from _beside_what_was_seen(engine, evidence, weighed, seen_turned, leading)
        return
    tried = (_pair(a, b) for a, b in combinations(leading, 2))
    pairs = [pair for pair in tried if pair is not None][:_MOST_PAIRS]
    yield from ((pair, worth) for pair, worth, _ in _weighed_together(engine, evidence, weighed, pairs))


def _beside_what_was_seen(
    engine: Engine, evidence: Evidence, weighed: Weighed, seen: Sequence[Hypothesis], leading: Sequence[Hypothesis]
) -> Iterator[tuple[Hypothesis, float]]:
    """Yield what the eyes saw together, then one and two more faults beside it, the best first fault kept."""
    kept = tuple(seen)
    found = list(_weighed_together(engine, evidence, weighed, [_together(kept)]))
    for _ in range(_MOST_BESIDE):
        yield from (
            (replace(one, also=(*one.also, UNNAMED)) if path else one, worth + path) for one, worth, path in found
        )
        others = [one for one in leading if one not in kept]
        found = list(_weighed_together(engine, evidence, weighed, [_together((*kept, one)) for one in others]))
        if not found:
            return
        kept = (*kept, others[max(range(len(found)), key=lambda at: found[at][1] + found[at][2])])
    yield from (
        (replace(one, also=(*one.also, UNNAMED)) if path else one, worth + path) for one, worth, path in found
    )


def _weighed_together(
    engine: Engine, evidence: Evidence, weighed: Weighed, several: Sequence[Hypothesis]
) -> Iterator[tuple[Hypothesis, float, float]]:
    """Yield hypotheses of several faults, their log odds, and what unnamed paths beside would add."""
    if not several:
        return
    shots = tuple(dict.fromkeys(one.shot for one in weighed.held.seen))
    netlist = shifted(engine.netlist, weighed.shift_v)
    more = predict(engine.board, engine.bench, netlist, [GOOD, *several], shots)
    held = hold(more, evidence.seen, engine.errors, evidence.leads_ohm)
    beside = engine.beside(evidence, several)
    for row, one in enumerate(several, 1):
        fit = joint(more, held, row)
        path = worth_of_unnamed(more, held, fit.terms, engine.model.incomplete, row)
        yield one, math.log(one.odds) + beside[row - 1] + fit.log_likelihood, max(path or 0.0, 0.0)


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


def _remarks(engine: Engine, evidence: Evidence) -> Iterator[str]:
    if not evidence.seen:
        yield "no reading between nets yet: the probabilities are those before any reading"
    elif len(evidence.unread) > len(evidence.seen):
        names = ", ".join(check.id for check in evidence.unread[:4])
        yield f"{len(evidence.unread)} of the spec's checks have no reading, among them {names}"
    if engine.model.unmodelled:
        yield f"no circuit model of {', '.join(engine.model.unmodelled)}: only power shows whether they work"
    turned = [part for part, answer in (evidence.orientation or {}).items() if answer == "no"]
    if turned:
        yield f"seen the wrong way round: {', '.join(turned)}; turn before anything else, then read again"
    signs = list(dict.fromkeys(words for *_, words in signs_under_power(engine.board, evidence)))
    there = [words for words in signs if words.endswith(_IS_THERE)]
    yield from (words for words in signs if words not in there or len(there) <= _FEW)
    if len(there) > _FEW:
        yield f"{there[0].removesuffix(_IS_THERE)} and {len(there) - 1} more readings of rails are within limits"


# what to measure next -------------------------------------------------------------------------------------------


def _suggestions(engine: Engine, evidence: Evidence, found: Diagnosis) -> Iterator[Suggestion]:
    groups = found.groups()
    if groups[0][1] >= STOP_AT:
        yield from _within(groups[0])
        return
    rows, shares, members = leading_rows(engine, found)
    taken = {one.shot for one in evidence.seen}
    last = evidence.seen[-1].shot if evidence.seen else None
    ways = candidates(engine.predictions, engine.errors, rows, np.array(shares), taken, last)
    for one in ways[:_SUGGESTED]:
        yield _suggestion(engine, one, members, rows)
    if not ways:
        yield from _within(next((each for each in groups if each[0][0].hypothesis is not GOOD), groups[0]))


def leading_rows(engine: Engine, found: Diagnosis) -> tuple[list[int], list[float], list[Hypothesis]]:
    """Return for each leading group its likeliest hypothesis: row of the predictions, probability of the group."""
    place = {id(one): at for at, one in enumerate(engine.hypotheses)}
    rows, shares, members = [], [], []
    for group, share in found.groups()[:_LEADING]:
        hypothesis = group[0].hypothesis
        at = place.get(id(hypothesis))
        if at is not None and share >= _LEAST_LEADING:
            rows.append(at)
            shares.append(share)
            members.append(hypothesis)
    return (rows, shares, members) if rows else ([0], [1.0], [GOOD])


def _suggestion(engine: Engine, one: Candidate, members: Sequence[Hypothesis], rows: Sequence[int]) -> Suggestion:
    means = engine.predictions.mean[list(rows), one.column]
    causes = [Cause(each, shown(one.shot, float(mean))) for each, mean in zip(members, means, strict=True)]
    told = _told_apart(causes)
    red, black = engine.points(one.shot)
    text = ", ".join(f"{words} if {whom}" for words, whom in told)
    words = f"red on {red}, black on {black}, {str(one.shot.function).replace('_', ' ')}: {text}"
    return Suggestion(
        one.shot.red, one.shot.black, one.shot.function, one.information_bits, one.cost_s, tuple(causes), words,
        engine.check_of(one.shot), by_net=True,
    )  # fmt: skip


def _told_apart(causes: Sequence[Cause]) -> list[tuple[str, str]]:
    """Return display and whom it speaks for, at most three."""
    by_display: dict[str, list[str]] = {}
    for cause in causes:
        by_display.setdefault(cause.display, []).append(whom(cause.hypothesis))
    return [(display, " or ".join(names[:2])) for display, names in list(by_display.items())[:3]]


def whom(one: Hypothesis) -> str:
    """Return a hypothesis as a clause: "the board is good", "L1 is open"."""
    if one is GOOD:
        return "the board is good"
    if one.code == "bridge":
        return "a bridge joins " + " and ".join(one.fault.split()[1:])
    return f"{one.designator} is {one.fault}" if one.code in ("open", "leaky", "dry", "reversed") else f"{one} it is"


def shown(shot: Shot, value: float) -> str:
    """Return what the meter shows of a prediction, in short."""
    if math.isnan(value):
        return "OL"
    return brief_value(value, shot.function.quantity_unit, 3)


def _within(leading: tuple[tuple[Ranked, ...], float]) -> Iterator[Suggestion]:
    """Yield what tells the members of one group apart: tips on the very leads, or a leg lifted."""
    group, _ = leading
    first = group[0].hypothesis
    if first is GOOD or first.part_fault is None or not first.designator:
        return
    name = first.designator.partition(":")[0]
    causes = tuple(Cause(one.hypothesis, "") for one in group[:3])
    if len(group) > 1 and any(one.hypothesis.code == "missing-joint" for one in group):
        words = (
            f"from each lead of {name}, above the solder, to the next part on its net, ohms: joined if the joint is "
            "good, OL if it is the joint; do not press on the pad"
        )
        yield Suggestion(f"{name} lead", "the next part on its net", Function.OHMS, 1.0, 12.0, causes, words)
    elif len(group) > 1:
        words = f"no reading on the board tells these apart; lift one leg of {name} and read the part alone"
        yield Suggestion(name, name, None, 1.0, LIFT_S, causes, words)
