"""What a person types for a check, read as forgivingly as honesty allows, and asked about when unlikely."""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.errors import Fault, QuantityError, ReadingsError
from benchcheck.kinds.check import Check, Evidence
from benchcheck.quantity import Display, DisplayState, format_value, magnitude_slip, parse_display
from benchcheck.readings.reading import Origin, Reading

__all__ = ["magnitude_question", "read_typed"]


def read_typed(
    check: Check, text: str, *, meter: str = "", origin: Origin = Origin.TYPED, where: str = "", line: int = 0
) -> Reading:
    """Return the reading typed as `text` for the check, in the check's quantity unit.

    Raises ReadingsError when the text is no reading for this check. A plausible text whose magnitude is
    unlikely is returned all the same: ask `magnitude_question` before accepting it.
    """
    try:
        display = parse_display(text, check.quantity_unit)
    except QuantityError as error:
        raise ReadingsError(Fault(where, check.id, error.faults[0].message)) from error
    problem = _misfit(check, display)
    if problem:
        raise ReadingsError(Fault(where, check.id, problem))
    return Reading(check.id, display, check.quantity_unit, origin, meter=meter, line=line)


def _misfit(check: Check, display: Display) -> str:
    if check.function is Function.VISUAL:
        known = {answer.casefold() for answer in check.answers}
        other_name = bool(check.name_asked) and display.state is DisplayState.TEXT
        if known and not other_name and display.text.casefold() not in known:
            allowed = " or ".join(f'"{answer}"' for answer in check.answers)
            return f'"{display.text}" is not an answer to this; write {allowed}'
        return ""
    if check.function is Function.TEMPERATURE and display.value is not None and not -20.0 <= display.value <= 60.0:
        return f'"{display.text}" is no temperature to work at; write the room\'s in degrees Celsius, such as "23"'
    if display.state in (DisplayState.BEEP, DisplayState.NO_BEEP) and check.quantity_unit != "ohm":
        return f'"{display.text}" says nothing about a quantity in {check.quantity_unit}; write the number shown'
    return ""


def magnitude_question(check: Check, reading: Reading) -> str | None:
    """Return the question to ask when the value lies 10^3 or 10^6 off what is expected, None when it does not.

    A reading that draws a question is never scored before somebody has answered it.
    """
    value = reading.display.value
    if value is None or check.function is Function.VISUAL:
        return None
    expected = _expected_span(check)
    if expected and check.evidence is Evidence.RAISED and value > max(expected):
        return None  # a large capacitor beside a small one reads so, rightly
    slip = magnitude_slip(value, expected) if expected else None
    if slip is None:
        return None
    shown = format_value(value, check.quantity_unit, ascii=True)
    meant = format_value(value / 10.0**slip, check.quantity_unit, ascii=True)
    return f'"{reading.display.text}" is {shown}, a factor 10^{abs(slip)} off what is expected; {meant} meant?'


def _expected_span(check: Check) -> tuple[float, float] | None:
    if check.expected is not None:
        return check.expected, check.expected
    lower, upper = check.limits.lower, check.limits.upper
    if lower is None or upper is None:
        return None
    return lower, upper
