"""What to measure next, in words: the reading worth most, slips made sure of, what tells a group's members apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.foreseen import given
from benchcheck.diagnosis.hypotheses import GOOD, OPERATOR_CODES, UNNAMED, Hypothesis
from benchcheck.diagnosis.likelihood import hold
from benchcheck.diagnosis.next_measurement import LIFT_S, STOP_AT, Candidate, candidates
from benchcheck.diagnosis.powered import ways_under_power
from benchcheck.diagnosis.predictions import predict
from benchcheck.diagnosis.result import NOT_COUNTED, Cause, Diagnosis, Ranked, Suggestion, each_once
from benchcheck.diagnosis.shots import ALTERNATING, Shot
from benchcheck.quantity import brief_value

__all__ = ["DISCHARGE", "Outlook", "isolated", "outlook", "suggestions"]

Floats = NDArray[np.float64]

#: groups that are told of, and those that a reading is weighed over: how many, and how likely at least.
_LEADING, _LEAST_LEADING = 12, 1e-3
_LIKELY, _LEAST_LIKELY = 300, 1e-5
_SUGGESTED = 3
_CLAUSES = {
    "bridge": "a bridge joins {rest}",
    "decade": "{part} is of the wrong decade ({rest})",
    "missing-joint": "{part} has no joint at {rest}",
    "open": "{part} is open",
    "short": "{part} is shorted",
    "leaky": "{part} is leaky",
    "dry": "{part} is dry",
    "reversed": "{part} is reversed",
    "swapped-pins": "{part} has {rest} swapped",
    "wrong-polarity-type": "{part} is of the wrong polarity type",
    "a": "something fails under power alone",
    "paths": "no part is at fault",
}
#: readings that tell no more than this, in bits, come after a closer look at the leading group.
_LITTLE = 0.1
#: a slip less likely than this is not asked about; seconds to read again what was read (common practice, no source).
_LEAST_SLIP, _SLIP_S, _FOLLOW_S, _LEAD_S = 0.01, 10.0, 60.0, 12.0
_LEADS = "the {pin} lead"
DISCHARGE = "every cell and the supply out, take the charge off through a resistor, see it gone in volts, then "
#: slips that make something else of every reading: what the good board reads is not foreseen with them.
_NOT_FORESEEN = ("lead-open", "tips-joined", "probes-swapped")
_NEW_LEAD = "the tips together read overload: change the lead, the jack or the meter's fuse until they read near 0, "
_CHARGE_ANEW = "then look for charge before all else: 0 V read so shows nothing"
_SURE_OF_ALL = {
    "leads-not-nulled": "touch the tips together in ohms, and note what they read as meter.leads_shorted",
    "probes-swapped": "see that red is in the volt and ohm jack and black in COM, then read a diode again",
    "lead-open": (
        "touch the tips together in ohms: near 0 if leads, jacks, dial and the meter's fuse are right, OL if not; "
        f"put that right, {_CHARGE_ANEW}"
    ),
    "tips-joined": (
        f"hold the tips apart in ohms: OL if leads, jacks and dial are right; put that right, {_CHARGE_ANEW}"
    ),
    "charged-gate": "join gate and source of the transistor for a moment, then read its channel again",
}


def suggestions(engine: Engine, evidence: Evidence, found: Diagnosis) -> Iterator[Suggestion]:
    """Yield the measurements worth making next, the best first; none where nothing the bench can read tells more."""
    groups = found.groups()
    first = groups[0][0][0].hypothesis
    if evidence.charged:
        words = f"{DISCHARGE}read again what touches {' or '.join(sorted(evidence.charged))}"
        yield Suggestion("", "", None, NOT_COUNTED, _SLIP_S, (), words)
    if evidence.powered and not first.part_faults:  # a good unit led by a slip: power showed something all the same
        yield from _powered(engine, evidence, first)
    yield from _touched_again(engine, evidence, found)
    if isolated(found):
        slip = first.code in OPERATOR_CODES or (found.unexplained and first is GOOD)
        yield from _again(engine, evidence, found) if slip else _within(groups[0])
        return
    again = list(_again(engine, evidence, found))
    whole = [one for one in again if one.if_cause[0].hypothesis.code in _NOT_FORESEEN and not one.check]
    yield from whole
    told = [*(one for one in again if one not in whole), *_between(engine, evidence, found)]
    if max((one.information_bits for one in told), default=0.0) < _LITTLE:
        yield from _within(next((each for each in groups if each[0][0].hypothesis is not GOOD), groups[0]))
    yield from sorted(told, key=lambda one: -one.information_bits / one.cost_s)[: _SUGGESTED - len(whole)]


def isolated(found: Diagnosis) -> bool:
    """Return whether nothing more is asked for; paths that the spec does not name are no answer, however likely."""
    leading, share = found.groups()[0]
    return share >= STOP_AT and leading[0].hypothesis is not UNNAMED


def _touched_again(engine: Engine, evidence: Evidence, found: Diagnosis) -> Iterator[Suggestion]:
    """Yield the readings that the likeliest does not explain, to be read again before anything is made of them."""
    slips = {group[0].hypothesis.check for group, share in found.groups()[:_LEADING] if share >= _LEAST_SLIP}
    left = [one for one in evidence.seen if one.check in found.unexplained and one.check not in slips]
    for seen in left[:_SUGGESTED]:
        red, black = engine.points(seen.shot)
        was = f"it was noted as {shown(seen.shot, seen.value)}, which nothing here explains"
        words = f"read {seen.check} again, red on {red}, black on {black}: {was}"
        yield Suggestion(
            seen.shot.red, seen.shot.black, seen.shot.function, NOT_COUNTED, _SLIP_S, (), words, seen.check
        )


def _powered(engine: Engine, evidence: Evidence, first: Hypothesis) -> Iterator[Suggestion]:
    """Yield how to follow what power showed, where no reading without it tells."""
    for subject, words in ways_under_power(engine.board, evidence):
        yield Suggestion(subject, "", Function.DC_VOLTAGE, NOT_COUNTED, _FOLLOW_S, (Cause(first, ""),), words)


def _between(engine: Engine, evidence: Evidence, found: Diagnosis) -> Iterator[Suggestion]:
    """Yield the readings between nets that tell most of the likely hypotheses, several faults at once among them."""
    told = set[tuple[Cause, ...]]()
    seen = outlook(engine, evidence, found)
    for one in seen.ways:
        found_next = _suggestion(engine, one, seen.leading, seen.mean[:, one.column])
        if found_next.if_cause in told:
            continue  # the same two nets by another name, or the other way round
        told.add(found_next.if_cause)
        yield found_next
        if len(told) == _SUGGESTED:
            return


@dataclass(frozen=True)
class Outlook:
    """The readings worth taking next, the best first, and what each shot shows of those that lead (rows x shots)."""

    ways: tuple[Candidate, ...]
    leading: Sequence[Hypothesis]
    mean: Floats


def outlook(engine: Engine, evidence: Evidence, found: Diagnosis) -> Outlook:
    """Return what may be read next, weighed over all that is likely, and what it would show of what leads."""
    table, (rows, shares) = engine.predictions, _likely_rows(engine, found)
    members = [engine.hypotheses[at] for at in rows]
    if 0 in rows and _share_of(found, GOOD) < 0.5 * shares[rows.index(0)]:
        members[rows.index(0)] = UNNAMED
    several = [
        (group[0].hypothesis, share)
        for group, share in found.groups()[:_LEADING]
        if _foretold(group[0].hypothesis) and share >= _LEAST_LEADING
    ]
    if several:
        together = sorted((*zip(members, shares, strict=True), *several), key=lambda pair: -pair[1])[:_LEADING]
        members, shares = [list(each) for each in zip(*together, strict=True)]
        known = engine.predictions
        table = predict(engine.board, engine.bench, engine.netlist, [GOOD, *members], known.shots, known.settled)
        rows = list(range(1, len(members) + 1))
    taken = {one.shot for one in evidence.seen}
    taken |= {shot.reversed for shot in taken if shot.function in ALTERNATING}
    last = evidence.seen[-1].shot if evidence.seen else None
    foreseen = given(table, engine.errors, hold(table, evidence.seen, engine.errors, evidence.leads_ohm)).of(rows)
    ways = candidates(foreseen, np.array(shares), taken, last)
    count = max(1, sum(share >= _LEAST_LEADING for share in shares[:_LEADING])) if ways else 0
    return Outlook(ways, members[:count], table.mean[rows[:count]])


def _foretold(one: Hypothesis) -> bool:
    """Return whether several faults foretell readings: with paths of which nothing is known they do not."""
    return bool(one.also and one.part_faults) and UNNAMED not in one.also


def _again(engine: Engine, evidence: Evidence, found: Diagnosis) -> Iterator[Suggestion]:
    """Yield how to make sure of a slip of the hand: what was read is read again."""
    by_check, asked = {one.check: one for one in evidence.seen}, set[str]()
    for group, share in found.groups()[:_LEADING]:
        slip = group[0].hypothesis
        if slip.code not in OPERATOR_CODES or share < _LEAST_SLIP:
            continue
        bits = _either(share)
        seen = by_check.get(slip.check)
        if seen is None:
            broken = evidence.tips_open and slip.code == "lead-open"
            words = _NEW_LEAD + _CHARGE_ANEW if broken else _SURE_OF_ALL[slip.code]
            yield Suggestion("", "", None, bits, _SLIP_S, (Cause(slip, ""),), words)
            continue
        if slip.check in asked:
            continue
        asked.add(slip.check)
        red, black = engine.points(seen.shot)
        first = DISCHARGE if slip.code == "residual-charge" else ""
        was = f"it was noted as {shown(seen.shot, seen.value)}"
        words = f"{first}read {slip.check} again, red on {red}, black on {black}: {was}"
        yield Suggestion(
            seen.shot.red, seen.shot.black, seen.shot.function, bits, _SLIP_S, (Cause(slip, ""),), words, slip.check
        )


def _either(share: float) -> float:
    """Return what it tells, in bits, whether something with such a probability is so (Shannon 1948)."""
    return -sum(each * math.log2(each) for each in (share, 1.0 - share) if each > 0.0)


def _share_of(found: Diagnosis, one: Hypothesis) -> float:
    return next((each.probability for each in found.ranked if each.hypothesis is one), 0.0)


def _likely_rows(engine: Engine, found: Diagnosis) -> tuple[list[int], list[float]]:
    """Return for each likely group its likeliest hypothesis: row of the predictions, and the group's probability.

    Slips of one reading and paths that the spec does not name leave what was not read to the good board's circuit.
    """
    place = {id(one): at for at, one in enumerate(engine.hypotheses)}
    likely: dict[int, float] = {}
    for group, share in found.groups()[:_LIKELY]:
        known = next((place[id(one.hypothesis)] for one in group if id(one.hypothesis) in place), None)
        first = group[0].hypothesis
        as_good = not first.part_faults and (first.check or first.code not in _NOT_FORESEEN)
        row = 0 if known is None and as_good else known
        if row is not None and share >= _LEAST_LIKELY:
            likely[row] = likely.get(row, 0.0) + share
    order = sorted(likely, key=lambda row: -likely[row])
    return order, [likely[row] for row in order]


def _suggestion(engine: Engine, one: Candidate, members: Sequence[Hypothesis], means: Floats) -> Suggestion:
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
    """Return a hypothesis as a clause: "the board is good", "L1 is open", "C2 has no joint at plus"."""
    if one is GOOD:
        return "the board is good"
    if one.also:
        return f"it is {one}"
    code, *rest = one.fault.split()
    words = _CLAUSES.get(code)
    return words.format(part=one.designator, rest=" and ".join(rest)) if words else f"it is {one}"


def shown(shot: Shot, value: float) -> str:
    """Return what the meter shows of a prediction, in short."""
    if math.isnan(value):
        return "OL"
    if shot.function.quantity_unit == "ohm" and abs(value) < 1.0:
        return f"{round(value, 2):g} ohm"  # as a display shows it: "mohm" is soon read as "Mohm"
    return brief_value(value, shot.function.quantity_unit, 3)


def _within(leading: tuple[tuple[Ranked, ...], float]) -> Iterator[Suggestion]:
    """Yield what tells the members of one group apart: tips on the very leads, eyes on a bridge, or a leg lifted."""
    group = each_once(leading[0])
    first = group[0].hypothesis
    if first is GOOD or first.part_fault is None:
        return
    causes = tuple(Cause(one.hypothesis, "") for one in group[:3])
    bits = _either(group[0].probability)
    joint = next((one.hypothesis for one in group if one.hypothesis.code == "missing-joint"), None)
    bridge = next((one.hypothesis for one in group if one.hypothesis.code == "bridge"), None)
    if joint is not None:
        name, which = joint.designator.partition(":")[0], _LEADS.format(pin=joint.fault.split()[1])
        lead = "each lead" if any(one.hypothesis.code == "open" for one in group) else which
        words = (
            f"from {lead} of {name}, above the solder, to the next part on its net, ohms: joined if the joint is "
            "good, OL if it is the joint; do not press on the pad"
        )
        yield Suggestion(f"{name} lead", "the next part on its net", Function.OHMS, bits, _LEAD_S, causes, words)
    elif len(group) > 1 and bridge is not None:
        nets, others = " and ".join(bridge.fault.split()[1:]), [one.hypothesis for one in group]
        names = list(dict.fromkeys(one.designator.partition(":")[0] for one in others if one.designator))
        words = (
            f"look with a glass for solder or a bent leg between {nets}; if there is none, lift one leg of "
            f"{', '.join(names[:4])} in turn and read between the nets until they part"
        )
        yield Suggestion("", "", None, bits, LIFT_S, causes, words)
    elif len(group) > 1 and first.designator:
        name = first.designator.partition(":")[0]
        words = f"no reading on the board tells these apart; lift one leg of {name} and read the part alone"
        yield Suggestion(name, name, None, bits, LIFT_S, causes, words)
