"""From readings to an answer: what is likely wrong, what cannot be told apart, where the probes go next."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.model import Bench
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.ambient import engine_at
from benchcheck.diagnosis.beyond_display import beyond_display
from benchcheck.diagnosis.engine import Engine, Weighed
from benchcheck.diagnosis.evidence import Evidence, evidence_of
from benchcheck.diagnosis.exchanged import worth_of_exchange
from benchcheck.diagnosis.fits import fitted, joint
from benchcheck.diagnosis.gathered import Gathered
from benchcheck.diagnosis.hypotheses import GOOD, OPERATOR_CODES, UNNAMED, Hypothesis
from benchcheck.diagnosis.kept import Shelf
from benchcheck.diagnosis.likelihood import unexplained as not_explained
from benchcheck.diagnosis.next_measurement import LIFT_S, PLACE_S
from benchcheck.diagnosis.operators import Slips, slips
from benchcheck.diagnosis.powered import only_under_power, signs_under_power
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.result import NOT_COUNTED, Cause, Diagnosis, Ranked, Suggestion
from benchcheck.diagnosis.robust import NEARBY
from benchcheck.diagnosis.several import add_several, another_explains, beyond_leakages, least_readings
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.signatures import by_signature, parts_unread, slips_by_signature
from benchcheck.diagnosis.suggestions import DISCHARGE, suggestions
from benchcheck.diagnosis.unit import strayed
from benchcheck.diagnosis.unnamed import lower_than_named, worth_of_unnamed
from benchcheck.kinds.between import is_between
from benchcheck.kinds.check import Check
from benchcheck.quantity import DisplayState, format_limits, format_value
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.measured import BROKEN_LEAD_OHM
from benchcheck.spec.board import Board

__all__ = ["Cause", "Diagnosis", "Ranked", "Suggestion", "diagnose", "ranked"]

Floats = NDArray[np.float64]

_WITHIN, _FEW, _WITH_PATHS = "is within its limits", 2, 8
#: what charge asks for.
_BEFORE_OHMS = (
    "every cell and the supply out first, then take it off through a resistor, see it gone, and read again what "
    "touches it; readings beside charge are none of the circuit's"
)
#: what a fault must explain beside unnamed paths, as a logarithm, to be tried with them.
_TELLS = 5.0
#: what is not known of a part that was not read: the entropy of something wrong in 1.2 of 100 parts.
_UNREAD_BITS = 0.09


def diagnose(
    board: Board, bench: Bench, readings: Sequence[Reading], session: Session | None = None,
    *, across: bool = True, shelf: Shelf | None = None,
) -> Diagnosis:  # fmt: skip
    """Return what a set of readings says of a board, measured on a bench.

    Without `across` only the spec's own checks are looked at, for a quick word at the end of a visit. What every
    fault would read is taken from the shelf where it is there, and put there.

    Raises CircuitError for a board whose circuit cannot be solved.
    """
    session = session or _session(board, readings)
    evidence = evidence_of(board, readings, session)
    engine = engine_at(board, bench, session, across=across, shelf=shelf)
    engine = engine.also_reading([one.shot for one in evidence.seen])
    found = _of_circuit(engine, evidence) if engine.netlist.devices else _by_signature(board, evidence, readings)
    return replace(
        found, remarks=(*found.remarks, *_tips(session, evidence), *beyond_display(board, bench, readings))
    )


def _session(board: Board, readings: Sequence[Reading]) -> Session:
    """Return what the reserved readings say of the session."""
    found = {one.check: one.display.value for one in readings}
    leads = found.get("meter.leads_shorted")
    ambient = found.get("ambient")
    return Session(board.ambient_c if ambient is None else ambient, ambient is not None, leads)


def _tips(session: Session, evidence: Evidence) -> Iterator[str]:
    """Yield a word where the tips together read what no leads do: it is taken off nothing."""
    far = session.leads_ohm is not None and abs(session.leads_ohm) > BROKEN_LEAD_OHM
    if far or evidence.tips_open:
        read = "OL" if session.leads_ohm is None else format_value(session.leads_ohm, "ohm", ascii=True)
        yield (
            f"the shorted tips read {read}: a broken lead, or not a reading of the leads, and not taken off; change "
            "the leads, enter meter.leads_shorted again, then every reading of ohms"
        )


def _by_signature(board: Board, evidence: Evidence, readings: Sequence[Reading]) -> Diagnosis:
    over = {one.check: one.display.state is DisplayState.OVERLOAD or one.display.to_overload for one in readings}
    found = by_signature(board, evidence, over)
    order = tuple(Ranked(one, share, at if one is not GOOD else 0) for at, (one, share) in enumerate(found, 1))
    unread = parts_unread(board, evidence, over)
    wrong = list(
        dict.fromkeys(one.designator for one, _ in found if one is not GOOD and one.designator not in unread)
    )
    first = (next((c for c in board.checks if c.subject == name and not c.powered), None) for name in unread)
    odd = list(slips_by_signature(board, evidence))
    left = [one.subject for one in board.checks if one.id in evidence.charges]
    ways = [*map(_discharged, left), *(_once_more(check, why) for check, why in odd)]
    ways += [*map(_alone, wrong), *(_read(one) for one in first if one is not None)]
    remarks = [f"charge was noted at {_listed(left)}: {_BEFORE_OHMS}"] if left else []
    remarks += [f"{check} {why}" for check, why in odd]
    if not readings:
        remarks.append("no reading yet: the probabilities are those before any reading")
    return Diagnosis(order, tuple(ways[:_FEW]), (*remarks, *_without_nets(unread, wrong)))


def _without_nets(unread: Sequence[str], wrong: Sequence[str]) -> Iterator[str]:
    yield (
        "no nets in the spec: judged part by part, by the signatures of their kinds; the circuit around a part is "
        "not known, so a low resistance may be the circuit's. Give nets to have the board solved."
    )
    if unread:
        yield f"no reading says anything of {_listed(unread)}"
    if len(wrong) > 1:
        yield f"no single fault explains {_listed(wrong)} together; each is likely by itself, whatever its share"


def _discharged(name: str) -> Suggestion:
    """Return what comes before any other reading where charge was seen."""
    words = f"{DISCHARGE}read again what touches {name}"
    return Suggestion("", "", None, NOT_COUNTED, PLACE_S, (), words)


def _once_more(check: str, why: str) -> Suggestion:
    """Return a reading that no fault gives, to be taken again."""
    return Suggestion("", "", None, NOT_COUNTED, PLACE_S, (), f"read {check} again: it {why}", check)


def _alone(name: str) -> Suggestion:
    """Return what makes sure of a part of which nothing around it is known."""
    return Suggestion(name, name, None, NOT_COUNTED, LIFT_S, (), f"lift one leg of {name} and read the part alone")


def _read(check: Check) -> Suggestion:
    """Return what to read of a part of which nothing was read."""
    red, black = ("" if probe is None else probe.point for probe in (check.red, check.black))
    between = f", red on {red}, black on {black}" if red and black else ""
    words = f"read {check.id}{between}{_if_right(check)}"
    return Suggestion(red, black, check.function, _UNREAD_BITS, PLACE_S, (), words, check.id)


def _if_right(check: Check) -> str:
    """Return what a check reads of a part that is right, nothing where it has no limits."""
    within = format_limits(check.limits.lower, check.limits.upper, check.quantity_unit, ascii=True)
    return f": {within} if it is right" if within else ""


def _of_circuit(engine: Engine, evidence: Evidence) -> Diagnosis:
    found = ranked(engine, evidence)
    return replace(found, suggestions=tuple(suggestions(engine, evidence, found)))


def ranked(engine: Engine, evidence: Evidence) -> Diagnosis:
    """Return what the evidence says, without what to measure next.

    Every single fault, slips of the hand, paths the spec does not name, and several faults at once where no single
    one explains all.
    """
    weighed = engine.weigh(evidence)
    every = Gathered(list(engine.hypotheses), list(weighed.log_odds), list(engine.groups))
    slipped = list(_slips(engine, evidence, weighed))
    for slip, worth in slipped:
        every.add(slip, weighed.log_odds[0] + worth)
    incomplete, common = engine.model.incomplete, weighed.predictions.common
    low = lower_than_named(weighed.good, weighed.held, incomplete)
    least = least_readings(engine, weighed.held.seen, [GOOD], low)[0]
    unnamed = worth_of_unnamed(
        weighed.good, weighed.fits[0], weighed.held, incomplete, common,
        least=least, near=partial(weighed.lines, 0),
    )  # fmt: skip
    if unnamed is not None:
        every.add(UNNAMED, weighed.log_odds[0] + unnamed)
        lower = _lower(engine, weighed, least)
        for slip, worth in (pair for pair in slipped if pair[0].check and pair[0].check not in lower):
            every.add(replace(slip, also=(*slip.also, UNNAMED)), weighed.log_odds[0] + unnamed + worth)
        if another_explains(engine, weighed, _left(engine, evidence, weighed, every)):
            for one, odds in _beside_paths(engine, evidence, weighed, least, lower):
                every.add(one, odds)
    if any(sign.convicts for sign in signs_under_power(engine.board, evidence)):
        _apart_from_good(engine, evidence, weighed, every, unnamed)
    remarks = [*_looked_right(evidence, every.first), *_remarks(engine, evidence)]
    left = _left(engine, evidence, weighed, every)
    if left:
        contradictions, paths, left = _looked_into(engine, evidence, weighed, every, left, least)
        remarks = [*contradictions, *remarks, *paths]
    return Diagnosis(every.ranked(), (), tuple(remarks), left)


def _looked_into(
    engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered, left: tuple[str, ...], least: Floats
) -> tuple[list[str], list[str], tuple[str, ...]]:
    """Look for several faults where one leaves checks; return what to say of these, of paths, and what is left."""
    left_by = add_several(engine, evidence, weighed, every, left)
    if id(every.first) not in left_by:  # looked for by itself once more, a fault may leave less
        left = _left(engine, evidence, weighed, every)
    paths = _too_low(engine, weighed, left, least) if UNNAMED in (every.first, *every.first.also) else ()
    left = tuple(name for name in left if name not in paths)
    row = engine.row_of(every.first)
    leaks = row in weighed.fits and not beyond_leakages(weighed, row, left)
    contradictions = list(_contradictions(left, every.first, leaks=leaks))
    return contradictions, list(_paths(engine, paths)), left_by.get(id(every.first), left)


def _beside_paths(
    engine: Engine, evidence: Evidence, weighed: Weighed, least: Floats, lower: Collection[str]
) -> Iterator[tuple[Hypothesis, float]]:
    """Yield faults that explain what unnamed paths leave unexplained, both together, with their log odds."""
    held, common, good = weighed.held, weighed.predictions.common, weighed.fits[0]
    low = np.array([one.check in lower for one in held.seen], bool)
    gain = (weighed.terms - good.terms)[:, not_explained(held, good.terms) & ~low].clip(min=0.0).sum(axis=1)
    for at in np.argsort(-gain)[:_WITH_PATHS]:
        if gain[at] < _TELLS or engine.hypotheses[at].part_fault is None:
            continue
        lines = weighed.lines(int(at), weighed.fits.get(int(at), good).stray)
        fit = fitted(lines, held, common, NEARBY)
        worth = worth_of_unnamed(
            lines, fit, held, engine.model.incomplete, common, least=least, near=partial(weighed.lines, int(at))
        )
        if worth is not None:
            beside = engine.log_prior[at] + engine.beside(evidence, engine.hypotheses[at : at + 1])[0]
            yield replace(engine.hypotheses[at], also=(UNNAMED,)), float(beside + fit.log_likelihood + worth)


def _apart_from_good(
    engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered, unnamed: float | None
) -> None:
    """Part the good board from what only power tells from it, the chips that may not work among that.

    What unnamed paths add, None where they explain nothing, they add beside any of these.
    """
    told = engine.beside(evidence, engine.hypotheses)
    for at, group in enumerate(every.group):
        if at and group == 0 and told[at] > told[0]:
            every.group[at] = max(every.group) + 1
    hidden = only_under_power(engine.board, evidence, engine.hypotheses)
    by_readings = weighed.log_odds[0] - told[0]
    for one, beside in zip(hidden, engine.beside(evidence, hidden), strict=True):
        every.add(one, by_readings + math.log(one.odds) + beside)
        if unnamed is not None:
            every.add(replace(one, also=(UNNAMED,)), by_readings + math.log(one.odds) + beside + unnamed)
    if unnamed is not None:
        for at in np.argsort(-weighed.log_odds)[:_WITH_PATHS]:
            if told[at] > told[0]:
                every.add(replace(engine.hypotheses[at], also=(UNNAMED,)), float(weighed.log_odds[at]) + unnamed)


def _left(engine: Engine, evidence: Evidence, weighed: Weighed, every: Gathered) -> tuple[str, ...]:
    """Return the checks whose readings the leader does not explain, a slip of the hand those it does.

    What is no fault of a part has the good board's circuit.
    """
    first = every.first
    if first.code not in OPERATOR_CODES:
        return unexplained(engine, evidence, weighed, engine.row_of(first))
    left = unexplained(engine, evidence, weighed, 0) if first.check else ()
    return tuple(name for name in left if name not in (first.check, *(one.check for one in first.also)))


def _slips(engine: Engine, evidence: Evidence, weighed: Weighed) -> Iterator[tuple[Hypothesis, float]]:
    good, fit = weighed.predictions.only_good(), weighed.fits[0]
    unit = strayed(engine.board, engine.netlist, good.strays, fit.stray)

    def reads(netlist: Netlist, shots: Sequence[Shot]) -> Floats:
        begin = engine.predictions.settled
        return np.asarray(read_under(engine.board, engine.bench, netlist, [GOOD], shots, begin)[0])

    left = unexplained(engine, evidence, weighed, int(np.argmax(weighed.log_odds)))
    exchanged = partial(worth_of_exchange, engine, evidence, weighed) if left else None
    yield from slips(Slips(good, engine.errors, evidence, weighed.held, fit, weighed.good, unit, reads, exchanged))


def unexplained(engine: Engine, evidence: Evidence, weighed: Weighed, row: int) -> tuple[str, ...]:
    """Return the checks whose readings a hypothesis does not explain."""
    fit = weighed.fits.get(row) or joint(weighed.predictions, weighed.held, row)
    terms = fit.terms if len(fit.terms) else weighed.held.terms[row]
    far = not_explained(weighed.held, terms)
    return tuple(one.check for one, bad in zip(weighed.held.seen, far, strict=True) if bad)


def _contradictions(left: Sequence[str], best: Hypothesis, *, leaks: bool) -> Iterator[str]:
    """Yield what to do about readings that one fault leaves; `leaks` where leakages may make that of them."""
    if not left:
        return
    names = list(dict.fromkeys(name if is_between(name) else name.partition(".")[0] for name in left))
    if any(one is not UNNAMED for one in best.also):
        yield f"no single fault explains {_listed(left)} with the rest; together these do best: {best}"
    else:
        then = "; a junction's leakage may make that of it" if leaks else ", then look for a second fault"
        yield (
            f"no single fault explains {_listed(left)} with all other readings: touch down again there "
            f"({', '.join(names[:4])}){then}"
        )


def _listed(names: Sequence[str]) -> str:
    """Return names in a row, at most three of them."""
    shown, more = names[:3], len(names) - 3
    if more > 0:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join(filter(None, (", ".join(shown[:-1]), shown[-1])))


def _too_low(engine: Engine, weighed: Weighed, left: Sequence[str], least: Floats) -> tuple[str, ...]:
    """Return which of these readings are below the good board's where the spec does not name every path."""
    names = _lower(engine, weighed, least)
    return tuple(name for name in left if name in names)


def _lower(engine: Engine, weighed: Weighed, least: Floats) -> set[str]:
    """Return the checks that read lower than the good board where the spec does not name every path."""
    low = lower_than_named(weighed.good, weighed.held, engine.model.incomplete, least=least)
    return {weighed.held.seen[at].check for at in low}


def _paths(engine: Engine, low: Sequence[str]) -> Iterator[str]:
    if low:
        parts = ", ".join(engine.model.unmodelled)
        of = f"parts without a circuit model ({parts})" if parts else "parts"
        yield (
            f"lower than the circuit of the spec, on nets not declared complete: {_listed(low)}; {of} and paths that "
            "nobody wrote down do that too, so by itself it shows no fault"
        )


def _looked_right(evidence: Evidence, first: Hypothesis) -> Iterator[str]:
    """Yield the parts that the readings say are turned and the eyes say are not."""
    for fault in first.part_faults:
        if fault.code == "reversed" and (evidence.orientation or {}).get(fault.designator) == "yes":
            yield (
                f"{fault.designator} was seen the right way round: look at its mark again before it is turned; with "
                "the probes exchanged at its checks the readings would be the same"
            )


def _remarks(engine: Engine, evidence: Evidence) -> Iterator[str]:
    if evidence.charged:
        yield f"charge was noted at {_listed(sorted(evidence.charged))}: {_BEFORE_OHMS}"
    if not evidence.seen:
        yield "no reading between nets yet: the probabilities are those before any reading"
    if len(evidence.unread) > len(evidence.seen):
        names = ", ".join(check.id for check in evidence.unread[:4])
        yield f"{len(evidence.unread)} of the spec's checks between nets have no reading, among them {names}"
    if evidence.no_number:
        yield f"without a number, and left out of this: {_listed(evidence.no_number)}; read on until it stands"
    if engine.model.unmodelled:
        work = "they work" if len(engine.model.unmodelled) > 1 else "it works"
        yield f"no circuit model of {', '.join(engine.model.unmodelled)}: only power shows whether {work}"
    turned = [part for part, answer in (evidence.orientation or {}).items() if answer == "no"]
    if turned:
        yield f"seen the wrong way round: {', '.join(turned)}; turn before anything else, then read again"
    if evidence.powered:
        yield "read under power: switch off and see the charge gone before the tips go on for what is read without it"
    yield from _charge_unread(engine.board, evidence)
    yield from _signs(engine, evidence)


def _charge_unread(board: Board, evidence: Evidence) -> Iterator[str]:
    """Yield a word of caution where nobody looked for charge."""
    looks = [one for one in board.checks if one.measurand == "residual_voltage" and not one.powered]
    if looks and not any(one.id in (evidence.numbers or {}) for one in looks):
        yield (
            f"nobody looked for charge: every cell and the supply out, and {_listed([one.id for one in looks])} read "
            "near 0 V, before the tips go on for ohms, diode or capacitance"
        )


def _signs(engine: Engine, evidence: Evidence) -> Iterator[str]:
    """Yield what the powered readings say, those that say the same of one rail or supply once."""
    alike: dict[tuple[str, str], list[str]] = {}
    within: list[str] = []
    for sign in signs_under_power(engine.board, evidence):
        name, _, words = sign.words.partition(" ")
        if words == _WITHIN:
            within.append(name)
        else:
            alike.setdefault((sign.subject, words), []).append(name)
    for (_, words), names in alike.items():
        yield f"{names[0]} {words}" + (f" ({len(names) - 1} more readings say so)" if names[1:] else "")
    if len(within) > _FEW:
        yield f"{within[0]} and {len(within) - 1} more readings of rails are within their limits"
    else:
        yield from (f"{name} {_WITHIN}" for name in within)
