"""What an instrument answered, read strictly: a text that is not exactly of the expected shape is refused.

A stale answer to another question usually has the wrong shape, and a shape error is the first sign that a link is
out of step. Overload and "not a number" are states, recognised before any limit is looked at.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.bench.functions import Function
from benchcheck.instruments.dialect import METER_FUNCTIONS, MeterDialect

__all__ = [
    "Indication",
    "IndicationState",
    "QueueEntry",
    "decode_bit",
    "read_bool",
    "read_error",
    "read_indication",
    "read_integer",
    "read_number",
    "read_text",
    "split_answers",
]

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
ERROR = re.compile(r"(?:[A-Z:?]+ )?\s*([+-]?\d{1,5})\b\s*,?\s*(.*)", re.ASCII | re.DOTALL)
FRACTION = re.compile(r"[+-]?(?:\d*\.\d*(?:[eE][+-]?\d+)?|\d+[eE][+-]?\d+)", re.ASCII)
UNITS = {"V": ("V", "VDC", "VAC"), "A": ("A", "ADC", "AAC"), "ohm": ("OHM", "OHMS", "\u03a9"), "F": ("F",)}
FALSE_WORDS = ("0", "OFF", "NO")


class IndicationState(StrEnum):
    """The shape of a meter's answer."""

    VALUE = "value"
    OVERLOAD = "overload"
    NOT_A_NUMBER = "not a number"


@dataclass(frozen=True, slots=True)
class Indication:
    """What a meter answered: its text, and its value in SI when the state is VALUE (else None)."""

    text: str
    state: IndicationState
    value: float | None


@dataclass(frozen=True, slots=True)
class QueueEntry:
    """One entry of an instrument's error queue; negative codes are the standard's, positive the maker's."""

    code: int
    text: str

    @property
    def meaning(self) -> str:
        """What a driver has to make of it (SCPI-99 21.8: the class of the code)."""
        if self.code > 0:
            return "the instrument's own error"
        classes = {1: "the command was not understood", 2: "the setting was refused and did not happen"}
        classes |= {3: "the instrument has a fault", 4: "question and answer are out of step"}
        return classes.get(-self.code // 100, "a notice")

    def __str__(self) -> str:
        """Return code and text as the instrument gave them."""
        return f'{self.code}, "{self.text}"'


def split_answers(text: str) -> tuple[str, ...]:
    """Return the parts of an answer to several questions; a semicolon in quotes divides nothing.

    >>> split_answers('5.0;0,"No error; none";37')
    ('5.0', '0,"No error; none"', '37')
    """
    quoted = text.split('"')
    if len(quoted) % 2 and ";" not in "".join(quoted[1::2]):
        return tuple(text.split(";"))
    parts: list[str] = []
    open_part = ""
    for piece in text.split(";"):
        part = f"{open_part};{piece}" if open_part else piece
        open_part = part if part.count('"') % 2 else ""
        if not open_part:
            parts.append(part)
    if open_part:
        raise ValueError(f"{text!r} has an open quote")
    return tuple(parts)


def read_number(text: str, quantity_unit: str = "") -> float:
    """Return a number in any of the standard's forms; ValueError otherwise.

    A trailing unit is taken only when it is the expected one without a prefix: "5.00V" is 5 V, "5.00mV" refused.

    >>> read_number("+1.23456789E-03"), read_number("5.000V", "V")
    (0.00123456789, 5.0)
    """
    found = NUMBER.match(text)
    if found is None:
        raise ValueError(f"{text!r} is not a number")
    rest = text[found.end() :].strip()
    if rest and rest.upper() not in UNITS.get(quantity_unit, ()):
        raise ValueError(f"{text!r} is not a number")
    return float(found[0])


@functools.lru_cache(256)
def read_integer(text: str) -> int:
    """Return a whole number such as a register or count; ValueError otherwise."""
    value = read_number(text)
    if value != int(value) or abs(value) >= 2**31:
        raise ValueError(f"{text!r} is not a whole number")
    return int(value)


def read_bool(text: str, true_words: tuple[str, ...] = ("1", "ON")) -> bool:
    """Return on or off; ValueError for any other word.

    >>> read_bool("ON"), read_bool("0")
    (True, False)
    """
    word = text.strip('"').upper()
    if word in (known.upper() for known in true_words) or word in ("1", "+1"):
        return True
    if word in (*FALSE_WORDS, "+0"):
        return False
    raise ValueError(f"{text!r} is neither on nor off")


def read_text(text: str) -> str:
    """Return a text without its quotes, doubled quotes undone; ValueError when it is empty or a number."""
    if len(text) >= 2 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1].replace(text[0] * 2, text[0])
    if not text.strip():
        raise ValueError("the answer is empty")
    return text.strip()


@functools.lru_cache(256)  # it rides along in every message and nearly always says the same
def read_error(text: str) -> QueueEntry:
    """Return an entry of the error queue in any of the makers' forms; ValueError otherwise.

    >>> [read_error(text).code for text in ('-113,"Undefined header"', "0  No Error", "SYST:ERR 0, No error")]
    [-113, 0, 0]
    """
    found = ERROR.fullmatch(text.strip())
    if found is None or FRACTION.fullmatch(text.strip()):
        raise ValueError(f"{text!r} is no entry of an error queue")
    return QueueEntry(int(found[1]), found[2].strip().strip('"').replace('""', '"'))


def read_indication(text: str, meter: MeterDialect, function: Function) -> Indication:
    """Return what a meter answered for a function; ValueError when it is neither number nor a known word."""
    word = text.strip().strip('"').upper()
    if word in meter.overload_words:
        return Indication(text, IndicationState.OVERLOAD, None)
    if word in meter.nan_words:
        return Indication(text, IndicationState.NOT_A_NUMBER, None)
    if meter.suffix:
        text = text.removesuffix(meter.suffix).rstrip()
    value = read_number(text, function.quantity_unit)
    key = next(name for name, known in METER_FUNCTIONS.items() if known is function)
    if abs(value) >= 9.0e37 and abs(abs(value) / meter.nan_value - 1.0) < 1e-4:
        return Indication(text, IndicationState.NOT_A_NUMBER, None)
    limit = meter.overload_by_function.get(key, meter.overload_abs)
    if abs(value) >= min(limit, 9.0e37) or value == meter.overload_exactly.get(key):
        return Indication(text, IndicationState.OVERLOAD, None)
    return Indication(text, IndicationState.VALUE, value)


def decode_bit(text: str, kind: str, mask: int, true_words: tuple[str, ...] = ("1", "ON")) -> bool:
    """Return one flag of a status answer; ValueError when the answer is not of that kind.

    `mask` is a bit mask, for a string of 0 and 1 a place counted from 1.

    >>> decode_bit("0x0224", "hexbits", 32), decode_bit("01100000", "bitstring", 2)
    (True, True)
    """
    if kind == "word":
        return read_bool(text, true_words)
    if kind == "byte":
        if len(text) != 1:
            raise ValueError(f"{text!r} is not one status byte")
        return bool(ord(text) & mask)
    if kind == "hexbits":
        return bool(int(text, 16) & mask)
    if kind == "bitstring":
        if re.fullmatch("[01]+", text) is None or not 1 <= mask <= len(text):
            raise ValueError(f"{text!r} is not a string of status bits")
        return text[mask - 1] == "1"
    return bool(read_integer(text) & mask)
