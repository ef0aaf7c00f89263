"""What a person types for a check, read as forgivingly as honesty allows, and asked about when unlikely."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.errors import Fault, QuantityError, ReadingsError
from benchcheck.kinds.check import Check, Evidence
from benchcheck.quantity import Display, DisplayState, format_value, magnitude_slip, parse_display
from benchcheck.readings.reading import Origin, Reading

__all__ = ["MagnitudeQuestion", "magnitude_question", "read_typed"]

#: beyond this no meter at a bench shows the quantity. 1000 V is what the inputs of handhelds are rated for; the
#: others are from memory, and generous.
_LARGEST = {"V": 1e3, "A": 1e3, "ohm": 1e12, "F": 1e3, "H": 1e4, "s": 1e6}
#: limits about zero are those of an offset; a value so many times beyond them is asked about.
_BEYOND = 1e3
#: how near a value must be to what the good board reads to need no question, as a factor, either way. Our choice.
WINDOW = 2.0
#: more than the capacitors of a low-voltage board come to together, in farad (common practice, no source).
_MOST_BESIDE = 0.02
#: a value with a prefix of small quantities: of one without, the prefix cannot be a slip.
_PREFIXED_SMALL = re.compile(r"[mµμunp] *[A-Za-z]?$")


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
    return _beyond_meters(check, display)


def _beyond_meters(check: Check, display: Display) -> str:
    """Return in words that no meter shows so much; "" where it may, or where a likelier value is asked about."""
    largest, value, expected = _LARGEST.get(check.quantity_unit), display.value, _expected_span(check)
    if largest is None or value is None or abs(value) <= largest:
        return ""
    if expected and magnitude_slip(value, expected) is not None:
        return ""
    found, most = (format_value(one, check.quantity_unit, ascii=True) for one in (value, largest))
    return f'"{display.text}" is {found}; no meter shows more than {most} here: look at its prefix and its unit'


@dataclass(frozen=True, slots=True)
class MagnitudeQuestion:
    """A reading of unlikely size: as it was understood, what is likelier ("" unknown), and why it is unlikely."""

    typed: str
    shown: str
    likelier: str
    why: str

    @property
    def keep(self) -> str:
        """The question, to be answered with yes or no and with one meaning: whether the reading is kept."""
        return f'"{self.typed}" is {self.shown}, {self.why}. Keep {self.shown}?'

    @property
    def otherwise(self) -> str:
        """What to do where it is not kept."""
        return f"type it again with its unit{f'; {self.likelier} would be likelier' if self.likelier else ''}"

    def __str__(self) -> str:
        """Return it as a fault of a file."""
        return f'"{self.typed}" is {self.shown}, {self.why}{f"; {self.likelier} meant?" if self.likelier else "."}'


def magnitude_question(
    check: Check, reading: Reading, on_board: Callable[[Check], float | None] | None = None
) -> MagnitudeQuestion | None:
    """Return what to ask when the value lies 10^3 or 10^6 off what is expected, None when it does not.

    Likewise a thousand times beyond limits that have zero between them, such as those of an offset. `on_board` says
    what the good board reads there, in the check's quantity unit: what lies beside a part may take it so far off.
    A reading that draws a question is never scored before somebody has answered it.
    """
    value = reading.display.value
    if value is None or check.function is Function.VISUAL:
        return None
    shown = format_value(value, check.quantity_unit, ascii=True)
    expected = _expected_span(check)
    if expected and expected[0] <= 0.0 <= expected[1]:
        beyond = abs(value) >= _BEYOND * max(map(abs, expected)) > 0.0
        why = "more than 1000 times what the limits allow"
        return MagnitudeQuestion(reading.display.text, shown, "", why) if beyond else None
    if expected and check.evidence is Evidence.RAISED and max(expected) < value <= _MOST_BESIDE:
        return None  # a large capacitor beside a small one reads so, rightly
    slip = magnitude_slip(value, expected) if expected else None
    if slip is None or (on_board is not None and _as_on_board(check, value, on_board(check))):
        return None
    if check.powered and slip < 0 and not _PREFIXED_SMALL.search(reading.display.text):
        return None  # a dead rail, or a unit that draws nothing
    likelier = format_value(value / 10.0**slip, check.quantity_unit, ascii=True)
    why = f"a factor 10^{abs(slip)} off what is expected"
    return MagnitudeQuestion(reading.display.text, shown, likelier, why)


def _as_on_board(check: Check, value: float, shown: float | None) -> bool:
    """Whether a value is about what the good board reads: by no slip of a thousand, and within a factor of two."""
    if shown is not None and check.quantity_unit == "ohm" and abs(value - shown) <= _LEADS_OHM:
        return True
    return shown is not None and shown > 0.0 and shown / WINDOW <= value <= shown * WINDOW


#: what leads and contacts may add (common practice, no source).
_LEADS_OHM = 1.0


def _expected_span(check: Check) -> tuple[float, float] | None:
    if check.expected:
        return check.expected, check.expected
    lower, upper = check.limits.lower, check.limits.upper
    if lower is None or upper is None:
        return None
    return lower, upper
