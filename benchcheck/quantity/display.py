"""What a meter showed, as somebody typed it: a number with the worth of its last digit, or a word.

A reading has a shape and not only a value: "OL" in its many forms, "climbs to 2.1M", "falls to 18u",
"jumps", "beep". A comma is a decimal comma; "1." and "1 ." are the overload of meters that blank all digits
but the first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.errors import QuantityError
from benchcheck.quantity.notation import MAX_LENGTH, clean, read_figures
from benchcheck.quantity.refusal import refusal
from benchcheck.quantity.units import SIGNS, QuantityUnit, UnitWords, find_suffix, shown, unit_words

__all__ = ["Display", "DisplayState", "parse_display"]


class DisplayState(StrEnum):
    """The shape of what was seen; only VALUE, CLIMBS and FALLS can carry a number."""

    VALUE = "value"
    OVERLOAD = "overload"
    CLIMBS = "climbs"
    FALLS = "falls"
    JUMPS = "jumps"
    BEEP = "beep"
    NO_BEEP = "no beep"
    YES = "yes"
    NO = "no"
    TEXT = "text"
    NOT_REACHABLE = "not reachable"
    NOT_PRESENT = "not present"


@dataclass(frozen=True, slots=True)
class Display:
    """What a meter showed; `value` and `resolution` (one step of the last digit given) are SI.

    A VALUE always has both. CLIMBS and FALLS have them when an end was named, and `to_overload` when that end
    was overload. Every other state has neither.
    """

    text: str
    state: DisplayState
    value: float | None = None
    resolution: float | None = None
    to_overload: bool = False


MOVES = re.compile(
    r"(climb(?:s|ing)?|ris(?:es|ing)|fall(?:s|ing)?|drop(?:s|ping)?)(?: +(?:(?:to|towards?|past) +)?(.+))?",
    re.IGNORECASE,
)
#: forms of overload, then perhaps a unit; dashes are two or more.
OVERLOAD = re.compile(
    r"[+-]? *(?:[o0] ?\.? ?l\.?|\.[o0] ?l|o\.?f\.?l|ovld|open|over(?:load|range|flow)?|[ .]*-[ .]*-[ .-]*)"
    r" *([^0-9 .,+\-][^0-9]*)?",
    re.IGNORECASE,
)
#: the blanked display; with a unit behind it nobody can tell it from the number one.
BLANKED = re.compile(r"[+-]? *1 *[.,] *([^0-9]*)")
WORDS = {
    "jumps": DisplayState.JUMPS,
    "jumping": DisplayState.JUMPS,
    "unstable": DisplayState.JUMPS,
    "beep": DisplayState.BEEP,
    "beeps": DisplayState.BEEP,
    "no beep": DisplayState.NO_BEEP,
    "silent": DisplayState.NO_BEEP,
    "not reachable": DisplayState.NOT_REACHABLE,
    "not present": DisplayState.NOT_PRESENT,
}
ANSWERS = {
    "yes": DisplayState.YES,
    "y": DisplayState.YES,
    "ok": DisplayState.YES,
    "seen": DisplayState.YES,
    "lit": DisplayState.YES,
    "no": DisplayState.NO,
    "n": DisplayState.NO,
    "not ok": DisplayState.NO,
    "not seen": DisplayState.NO,
    "not lit": DisplayState.NO,
}
LONGEST_TEXT = 200
#: states a text answer may have beside TEXT; a maker may well be called Beep.
TEXT_STATES = (DisplayState.YES, DisplayState.NO, DisplayState.NOT_REACHABLE, DisplayState.NOT_PRESENT)
#: units in which a continuity or diode buzzer means something.
BUZZER_UNITS = (QuantityUnit.OHM, QuantityUnit.VOLT)


def parse_display(text: str, quantity_unit: str) -> Display:
    """Return what a text says a meter showed; QuantityError says what was found and what to type.

    `quantity_unit` "yes/no" takes answers, "text" answers and free words (a maker, a lot), "1" numbers and
    answers, any other numbers and the words for what a display does.

    >>> display = parse_display("4.68k", "ohm")
    >>> display.state.value, display.value, display.resolution
    ('value', 4680.0, 10.0)
    >>> parse_display("climbs to OL", "ohm").to_overload
    True
    """
    if quantity_unit in (QuantityUnit.TEXT, QuantityUnit.YES_NO):
        return _answer(text.strip(), quantity_unit)
    words = unit_words(quantity_unit)
    cleaned = clean(text)
    if len(cleaned) <= MAX_LENGTH and BLANKED.fullmatch(cleaned) is None:
        figures = read_figures(cleaned, words)
        if figures is not None:
            return Display(text.strip(), DisplayState.VALUE, figures.value, figures.resolution)
    return _word(text.strip(), cleaned, words)


def _word(stripped: str, cleaned: str, words: UnitWords) -> Display:
    """Return the display of a text that is no plain number."""
    if len(cleaned) > MAX_LENGTH or not cleaned.isprintable():
        raise refusal(cleaned, words)
    blanked = BLANKED.fullmatch(cleaned)
    if blanked is not None and blanked[1]:
        raise QuantityError(
            f'{shown(stripped)} could be an overload or the number one; write "OL" or "1.0 {blanked[1].strip()}"'
        )
    if blanked is not None or _is_overload(cleaned, words):
        return Display(stripped, DisplayState.OVERLOAD)
    state = _state(_folded(cleaned), words)
    if state is not None:
        return Display(stripped, state)
    moves = MOVES.fullmatch(cleaned)
    if moves is not None:
        return _moving(stripped, moves, words)
    raise refusal(cleaned, words)


def _folded(text: str) -> str:
    """Return a text in lower case with single spaces, hyphens among them."""
    return " ".join(text.casefold().replace("-", " ").split())


def _state(folded: str, words: UnitWords) -> DisplayState | None:
    """Return the state a word stands for in this quantity, or None; refuse a word that does not fit it."""
    state = WORDS.get(folded)
    if state in (DisplayState.BEEP, DisplayState.NO_BEEP) and words.unit not in BUZZER_UNITS:
        raise QuantityError(f"{shown(folded)} is no reading of {words.quantity}; write {words.examples}")
    answer = ANSWERS.get(folded)
    if answer is not None and words.unit != QuantityUnit.RATIO:
        raise QuantityError(f'{shown(folded)} is not what a meter shows; write {words.examples}, or "OL"')
    return state or answer


def _is_overload(cleaned: str, words: UnitWords) -> bool:
    """Return whether a text is one of the forms of overload, with or without the unit behind it."""
    match = OVERLOAD.fullmatch(cleaned)
    return match is not None and (not match[1] or find_suffix(words, match[1]) is not None)


def _moving(stripped: str, moves: re.Match[str], words: UnitWords) -> Display:
    state = DisplayState.CLIMBS if moves[1][0] in "cCrR" else DisplayState.FALLS
    if moves[2] is None:
        return Display(stripped, state)
    end = moves[2].strip()
    if _is_overload(end, words) or BLANKED.fullmatch(end):
        return Display(stripped, state, to_overload=True)
    figures = read_figures(end, words)
    if figures is None:
        raise refusal(end, words)
    return Display(stripped, state, figures.value, figures.resolution)


def _answer(stripped: str, quantity_unit: str) -> Display:
    folded, printable = _folded(stripped), stripped.translate(SIGNS).isprintable()
    is_text = quantity_unit == QuantityUnit.TEXT
    state = ANSWERS.get(folded) or WORDS.get(folded)
    if is_text and (len(folded) == 1 or state not in TEXT_STATES):  # "Y" may be a lot
        state = DisplayState.TEXT if 0 < len(stripped) <= LONGEST_TEXT else None
    if state is not None and printable:
        return Display(stripped, state)
    wanted = f"1 to {LONGEST_TEXT} printable signs" if is_text else '"yes" or "no"'
    raise QuantityError(f"{shown(stripped)} is not an answer here; write {wanted}")
