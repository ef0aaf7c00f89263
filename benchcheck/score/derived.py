"""Derived checks: computed from the budgets of other checks, in which one meter's errors are one and the same.

Two readings on one range share gain, offset and leads, so these cancel in a difference as they do on the
bench. What remains is the converter's curve (one count, and its bend over the distance of the readings), the
rounding of both displays, repeatability, and the drift of what is measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from benchcheck.bench.contributions import accuracy_contributions, not_shared
from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Formula
from benchcheck.metrology import Budget, Contribution, Verdict, difference, ratio
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.measured import Measured, measure
from benchcheck.score.model import Reason
from benchcheck.score.surroundings import Solver
from benchcheck.score.words import lifted, shown

__all__ = ["derive"]

#: a current nobody measured, drawn by a resistor or set by hand (common practice, no source).
_CURRENT_AS_SET = 0.05
#: on-resistance rises 0.4 % a kelvin, a small part on a board warms 100 K a watt (common practice, no source).
_HEATING_PER_W = 0.004 * 100.0


def derive(
    check: Check,
    sources: Mapping[str, Sequence[Reading]],
    bench: Bench,
    session: Session,
    by_id: Mapping[str, Check],
    solver: Solver | None = None,
) -> Measured | Finding:
    """Return the value and budget a formula gives from the readings of its sources, or why it gives none.

    Every source has readings; `by_id` holds the source checks. `solver` says what the circuit around a junction
    makes of its drop.
    """
    parts: list[Measured] = []
    for name in check.sources:
        part = _source(by_id[name], sources[name], bench, session)
        if isinstance(part, Finding):
            because = f"{name}: {part.because}"
            return undecided(part.code or Reason.METHOD, because, part.change or f"read {name} again")
        parts.append(part)
    if check.formula in (Formula.SLOPE, Formula.INTERNAL_RESISTANCE):
        return _slope(check, parts, bench, [by_id[name].load_a for name in check.sources], session)
    first, second = parts[0], parts[1]
    beside = _beside(check, [(by_id[name], part) for name, part in zip(check.sources, parts, strict=True)], solver)
    if isinstance(beside, Finding):
        return beside
    sag = difference(first.budget, second.budget, _remains(check.id, first, second) + beside)
    if check.formula is Formula.DIFFERENCE:
        return Measured(sag, first.meter, first.range)
    if second.budget.value == 0.0:
        return undecided(Reason.METHOD, f"{check.sources[1]} reads zero", "look at that check first")
    return Measured(_unit(ratio(sag, second.budget), check), first.meter, first.range)


def _source(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> Measured | Finding:
    for reading in readings:
        if reading.display.value is None:
            because = f'shows "{reading.display.text}", and a number is needed'
            return undecided(Reason.METHOD, because, f"look at {check.id} first")
    return measure(check, readings, bench, session)


def _remains(name: str, first: Measured, second: Measured) -> tuple[Contribution, ...]:
    """Return what sharing a range does not remove: linearity and rounding; nothing where no range is shared."""
    shared = first.range is not None and first.range == second.range and first.meter == second.meter
    if not shared or first.range is None:
        return ()
    return not_shared(name, first.range, first.budget.value - second.budget.value)


def _beside(
    check: Check, parts: Sequence[tuple[Check, Measured]], solver: Solver | None
) -> tuple[Contribution, ...] | Finding:
    """Return how far the circuit around two junctions moves their drops, as limits of an error of the difference.

    A resistor from base to emitter takes current from one junction alone: tens of millivolts, against a difference
    of a few. Where the parts around leave nothing of a junction to be seen, its difference is undecided.
    """
    moved = 0.0
    for source, part in parts:
        own = solver(source, part.budget) if solver is not None and source.function is Function.DIODE else None
        if own is None:
            continue
        if own.masked or own.unsolved:
            return undecided(
                Reason.CIRCUIT, f"{source.id}: {own.unsolved or 'the parts around hide it'}", lifted(check)
            )
        there = own.review(source, Finding(Verdict.PASS)) if own.review is not None else None
        if there is not None and there.verdict is Verdict.UNDECIDED:
            return replace(there, because=f"{source.id}: {there.because}")
        moved += abs(own.budget.value - part.budget.value)
    if not moved:
        return ()
    origin = "the circuit of the spec: drops on the board less the junctions' own"
    return (Contribution.from_limits(f"{check.id}.beside", "what lies beside the junctions", moved, origin=origin),)


def _unit(budget: Budget, check: Check) -> Budget:
    return Budget(budget.value, check.quantity_unit, budget.contributions, budget.correlations)


def _slope(
    check: Check, parts: Sequence[Measured], bench: Bench, loads_a: Sequence[float | None], session: Session
) -> Measured | Finding:
    first, second = parts[0], parts[1]
    if len(parts) == 4:
        currents = parts[2].budget, parts[3].budget
        remains = _remains(f"{check.id}.current", parts[2], parts[3])
    elif None in loads_a:
        return undecided(Reason.METHOD, "the currents of both readings are not known", "note the load currents")
    else:
        known = [_load(load_a, bench, session) for load_a in loads_a if load_a is not None]
        currents = known[0].budget, known[1].budget
        remains = _remains(f"{check.id}.current", known[0], known[1])
    rise = difference(first.budget, second.budget, _remains(check.id, first, second))
    step = difference(currents[0], currents[1], remains)
    if check.formula is Formula.INTERNAL_RESISTANCE:
        step = step.scaled(-1.0)
    if step.value == 0.0:
        return undecided(Reason.METHOD, "both readings were taken at one current", "take them at two currents")
    slope = _unit(ratio(rise, step), check)
    if check.formula is Formula.SLOPE:
        largest_a = max(abs(each.value) for each in currents)
        slope = slope.with_contributions(*_heating(check, slope.value, largest_a))
    return Measured(slope, first.meter, first.range)


def _load(load_a: float, bench: Bench, session: Session) -> Measured:
    """Return the current a load was set to, as good as the load reads itself back; a load switched off is 0."""
    if load_a == 0.0:
        return Measured(Budget(0.0, "A", ()))
    for load in bench.loads.values():
        chosen = load.readback.range_for(Function.DC_CURRENT, load_a)
        if chosen is not None:
            errors = accuracy_contributions(
                load.readback, chosen, load_a, reading="load", ambient_c=session.ambient_c
            )
            return Measured(Budget(load_a, "A", errors), load.readback, chosen)
    as_set = Contribution.from_limits(
        "load.current", "load current as set", _CURRENT_AS_SET * load_a, origin="no load on the bench reads it back"
    )
    return Measured(Budget(load_a, "A", (as_set,)))


def _heating(check: Check, resistance_ohm: float, current_a: float) -> tuple[Contribution, ...]:
    share = _HEATING_PER_W * current_a * current_a * abs(resistance_ohm)
    origin = f"{shown(check, resistance_ohm, 2)} at {current_a:g} A, 100 K/W, 0.4 %/K"
    half_width = share * abs(resistance_ohm)
    return (Contribution.from_limits(f"{check.id}.heating", "heating of the part", half_width, origin=origin),)
