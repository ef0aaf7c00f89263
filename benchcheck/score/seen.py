"""What was seen, sorted by shape: a measured value, a bound on one, an answer in words, or nothing usable."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.bench.contributions import TWO_WIRE
from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.measured import Measured, measure, picked_meter
from benchcheck.score.model import Reason
from benchcheck.score.span import from_beep, from_overload, judge_span
from benchcheck.score.visual import judge_words
from benchcheck.score.words import limits_words, shown

__all__ = ["seen"]

_AGAIN = "clean the point and read again with a needle tip"
#: how sure it must be that a number below zero is more than the meter's own zero error (GUM 6.2: k = 2).
_ZERO_ERROR_COVERAGE = 0.9545
_FINER_TIME = (
    "a supply that answers faster, a lower start_current in the spec, with which it charges longer, or an "
    "oscilloscope on the supply's current"
)
_MOVES = (DisplayState.CLIMBS, DisplayState.FALLS)


def seen(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> Measured | Finding:
    """Return the value the readings make, or the finding they come to without one."""
    if check.function is Function.VISUAL:
        return judge_words(check, readings[-1].display)
    shapes = {_shape(reading) for reading in readings}
    problem = _no_value(check, readings, shapes)
    if problem is not None:
        return problem
    (shape,) = shapes
    if shape is DisplayState.VALUE:
        return _number(check, readings, bench, session)
    if shape is DisplayState.OVERLOAD:
        return _overload(check, readings, bench, session)
    return _beep(check, readings, bench, beeps=shape is DisplayState.BEEP)


def _shape(reading: Reading) -> DisplayState:
    """Return the state of a reading; a climb or fall with its end noted is that end."""
    display = reading.display
    if display.state in _MOVES and display.value is not None:
        return DisplayState.VALUE
    return DisplayState.OVERLOAD if display.to_overload else display.state


def _no_value(check: Check, readings: Sequence[Reading], shapes: set[DisplayState]) -> Finding | None:
    """Return why these readings give neither a value nor a bound of one, or None when they do."""
    if DisplayState.JUMPS in shapes:
        return undecided(Reason.CONTACT, "the reading jumps", _AGAIN)
    if len(shapes) > 1:
        texts = " and ".join(reading.display.text for reading in readings)
        return undecided(Reason.CONTACT, f"touch-downs disagree: {texts}", _AGAIN)
    (shape,) = shapes
    if check.function is Function.DERIVED:
        because = "this is computed from other checks, not read"
        return undecided(Reason.METHOD, because, f"read {', '.join(check.sources)}")
    if shape in _MOVES:
        because = f"the reading {shape} and no end of it was noted"
        return undecided(Reason.METHOD, because, f'wait, and note "{shape} to" with its end')
    if shape is DisplayState.TEXT and check.function is Function.TIME and readings[0].origin is Origin.METERED:
        return _unresolved(check, readings[0])
    if shape in (DisplayState.YES, DisplayState.NO, DisplayState.TEXT):
        because = f'"{readings[0].display.text}" is no reading of {check.function}'
        return undecided(Reason.METHOD, because, "read what the display shows")
    if _one_way(check) and any(reading.polarity == "swapped" for reading in readings):
        because = "red and black were exchanged, and this check holds one way only"
        return undecided(Reason.METHOD, because, "read it with red where the check puts it")
    return None


def _unresolved(check: Check, reading: Reading) -> Finding:
    """Return why a time that an instrument's polls do not resolve decides nothing, as the reading's note has it."""
    lay = f"{reading.note}: {reading.display.text}" if reading.note else reading.display.text
    return undecided(Reason.METER, f"{lay}; wanted is {limits_words(check)}", _FINER_TIME)


def _number(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> Measured | Finding:
    """Return the value of numbers read; one below zero stands where the meter may show that for nothing."""
    impossible = _impossible(check, readings)
    if impossible is None:
        return measure(check, readings, bench, session)
    if check.subject == "meter":
        return impossible
    measured = measure(check, readings, bench, session)
    if isinstance(measured, Measured) and _may_be_zero(measured):
        return measured
    return impossible


def _may_be_zero(measured: Measured) -> bool:
    """Whether a value below zero is no further from it than its expanded uncertainty."""
    return -measured.budget.value <= measured.budget.coverage(_ZERO_ERROR_COVERAGE).expanded_uncertainty


def _impossible(check: Check, readings: Sequence[Reading]) -> Finding | None:
    """Return why a negative number is no reading here: charge, exchanged leads or a slip; None where it may be one.

    Ohms are looked at with the leads taken off; volts may have either sign.
    """
    lowest = min(reading.display.value or 0.0 for reading in readings)
    if lowest < 0.0 and check.id == "meter.leads_shorted":
        because = f"{shown(check, lowest)}: leads are never below zero; the null was taken with the tips apart"
        return undecided(Reason.METHOD, because, "short the tips, null again, then read them")
    if lowest >= 0.0 or check.function in (Function.DC_VOLTAGE, Function.TEMPERATURE, *TWO_WIRE, Function.OHMS_4W):
        return None
    if check.function is Function.DC_CURRENT:
        if check.limits.lower is not None or -lowest <= 0.01 * (check.limits.upper or 0.0):
            return None  # a few counts below zero are the meter's own
        because = f"{shown(check, lowest)}: the current reads backwards"
        return undecided(Reason.METHOD, because, "exchange red and black, then read again")
    if check.function is Function.DIODE:
        because = f"{shown(check, lowest)}: a diode reading below zero means charge, or exchanged leads"
        return undecided(Reason.METHOD, because, "discharge through a resistor, mind red and black, then read again")
    because = f"{shown(check, lowest)}: {check.function.replace('_', ' ')} is never below zero"
    return undecided(Reason.METHOD, because, "look at the sign and at the leads, then read again")


def _one_way(check: Check) -> bool:
    return check.function is Function.DIODE or check.bracket.startswith("red:")


def _overload(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> Finding:
    meter = picked_meter(check, readings, bench)
    if isinstance(meter, Finding):
        return meter
    named = readings[0].meter_range
    chosen = meter.range_for(check.function, 0.0, named) if named else meter.widest(check.function)
    if chosen is None:
        because = f'{meter.name} has no range "{named}" of {check.function}'
        return undecided(Reason.METER, because, "name the range as the bench file does")
    return judge_span(check, from_overload(check, chosen, meter.name, session.ambient_c))


def _beep(check: Check, readings: Sequence[Reading], bench: Bench, *, beeps: bool) -> Finding:
    meter = bench.meter_for(Function.CONTINUITY, readings[0].meter)
    chosen = meter.widest(Function.CONTINUITY) if meter is not None else None
    if meter is None or chosen is None or chosen.beeps_ohm is None or check.quantity_unit != "ohm":
        because = "nothing is known of where this meter stops beeping"
        change = "read the value, or give the continuity range its beeps in the bench file"
        return undecided(Reason.METER, because, change)
    return judge_span(check, from_beep(check, chosen, meter.name, beeps=beeps))
