"""The words of a spec: how each type an entry class may use is read from TOML, or refused in a sentence.

One table of quantities serves the loader and the JSON Schema. Everything here takes a TOML value and returns
what the entry holds, or raises `Wrong` with the path below it and the sentence for the user.
"""

from __future__ import annotations

import datetime
import math
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from benchcheck.errors import QuantityError, close_match
from benchcheck.kinds.fields import Tolerance
from benchcheck.quantity import parse_tolerance, parse_value
from benchcheck.quantity.units import UNITS, shown
from benchcheck.spec.entries import MINUS_SIGNS, NEVER_NEGATIVE, UNIT_MAY_BE_LEFT_OUT

__all__ = [
    "Path",
    "ToleranceOf",
    "Wrong",
    "above_zero",
    "count",
    "describe",
    "flag",
    "mapping",
    "near",
    "one_of",
    "plain_number",
    "quantity",
    "said",
    "text",
    "together",
    "word",
]

LONGEST_TEXT = 200
LONGEST_QUANTITY = 64

ABSOLUTE_ZERO_C = -273.15
FEW_WORDS = 4
#: "4,700" is 4.7 to this tool and 4700 to whoever typed it; "0,470" is clear.
AMBIGUOUS_COMMA = re.compile(rf"\s*[+{MINUS_SIGNS[1:]}-]?\s*0*[1-9]\d{{0,2}},\d{{3}}(?!\d)")
BARE_DIGITS = re.compile(rf"\s*[+{MINUS_SIGNS[1:]}-]?\s*[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?\s*")

Path = tuple[str | int, ...]


class Wrong(ValueError):
    """What is wrong with a TOML value: (path below the value, sentence) for every finding."""

    def __init__(self, *findings: str | tuple[Path, str]) -> None:
        self.findings: tuple[tuple[Path, str], ...] = tuple(
            ((), finding) if isinstance(finding, str) else finding for finding in findings
        )
        super().__init__("; ".join(message for _, message in self.findings))


def together(readers: Mapping[Any, Callable[[], Any]]) -> dict[Any, Any]:
    """Return what each reader returns, by place; raises one Wrong with the findings of all that fail."""
    kept: dict[Any, Any] = {}
    findings: list[tuple[Path, str]] = []
    for place, read in readers.items():
        try:
            kept[place] = read()
        except Wrong as error:
            findings.extend(((place, *path), message) for path, message in error.findings)
    if findings:
        raise Wrong(*findings)
    return kept


def describe(value: object) -> str:
    """Return a TOML value as a message shows it.

    >>> describe(True), describe("5 volts"), describe([1]), describe(4700)
    ('true', '"5 volts"', 'a list', '4700')
    """
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**18 else "a number of more than 18 digits"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return "a date or time"
    return "a table"


def one_of(allowed: Iterable[str], joint: str = "or") -> str:
    """Return the words as a message lists them.

    >>> one_of(["N", "P"])
    '"N" or "P"'
    """
    words = [f'"{each}"' for each in allowed]
    return f" {joint} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def near(given: object, allowed: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the nearest allowed word, or one it shortens; nothing when none is near.

    >>> near("tol", ["value", "tolerance"])
    '; did you mean "tolerance"?'
    """
    if not isinstance(given, str):
        return ""
    words = tuple(allowed)
    longer = [each for each in words if len(given) > 1 and each.startswith(given.casefold())]
    return close_match(given, words) or (f'; did you mean "{longer[0]}"?' if len(longer) == 1 else "")


def text(value: object) -> str:
    """Return a TOML text of one line that can be seen; raises Wrong for anything else."""
    if not isinstance(value, str):
        hint = f'; put it in quotes: "{describe(value)}"' if isinstance(value, int | float) else ""
        raise Wrong(f"{describe(value)} is not a text{hint or '; write one in quotes'}")
    if len(value) > LONGEST_TEXT:
        raise Wrong(f"{shown(value)} has {len(value)} characters; at most {LONGEST_TEXT} are kept")
    unseen = next((sign for sign in value if not sign.isprintable() and unicodedata.category(sign) != "Zs"), None)
    if unseen is not None:
        found = f"holds a character that cannot be seen (U+{ord(unseen):04X})"
        raise Wrong(f"{shown(value)} {found}; write it in one plain line")
    return value


def said(value: object) -> str:
    """Return a text that says something; raises Wrong for an empty one as for one that is none."""
    if text(value).strip():
        return str(value)
    raise Wrong(f"{describe(value)} says nothing; write a word or two")


def word(value: object, allowed: Collection[str], what: str = "one of the words this key takes") -> str:
    """Return a text that is one of the allowed words; raises Wrong.

    The nearest word is offered only among many: "on" is nearer to "open" than to "closed", and means the other.
    """
    if isinstance(value, str) and value in allowed:
        return value
    hint = near(value, allowed) if len(allowed) > FEW_WORDS else ""
    raise Wrong(f"{describe(value)} is not {what}{hint or f'; write {one_of(allowed)}'}")


def quantity(value: object, quantity_unit: str) -> float:
    """Return the SI value of a TOML value; a bare number is taken for ratios only.

    Raises Wrong for another type, another quantity, a number that is not finite, and a negative one where
    the quantity has none.
    """
    words = UNITS[quantity_unit]
    if isinstance(value, str):
        number = _parsed(value, quantity_unit)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        number = _bare(value, quantity_unit)
    else:
        raise Wrong(f"{describe(value)} is not {words.quantity}; write {words.examples}")
    minus = isinstance(value, str) and value.strip()[:1] in MINUS_SIGNS  # "-0 ohm" is a slip too
    if (number < 0 or minus) and quantity_unit in NEVER_NEGATIVE:
        raise Wrong(f"{describe(value)} is negative, and {words.quantity} here is not; write {words.examples}")
    if quantity_unit == "degC" and number < ABSOLUTE_ZERO_C:
        raise Wrong(f"{describe(value)} is below absolute zero; write {words.examples}")
    return number


def _parsed(value: str, quantity_unit: str) -> float:
    words = UNITS[quantity_unit]
    if AMBIGUOUS_COMMA.match(value):
        raise Wrong(f"{describe(value)} could mean thousands; a comma is a decimal comma, write {words.examples}")
    if quantity_unit not in UNIT_MAY_BE_LEFT_OUT and BARE_DIGITS.fullmatch(value[:LONGEST_QUANTITY]):
        raise Wrong(f"{describe(value)} has no unit; write {words.quantity} such as {words.examples}")
    try:
        return parse_value(value, quantity_unit)
    except QuantityError as error:
        raise Wrong(error.faults[0].message) from error


def _bare(value: float, quantity_unit: str) -> float:
    words = UNITS[quantity_unit]
    if not -math.inf < value < math.inf:
        raise Wrong(f"{describe(value)} is not a finite number; write {words.examples}")
    if quantity_unit != "1":
        raise Wrong(f"{describe(value)} has no unit; write {words.quantity} in quotes, such as {words.examples}")
    if abs(value) > 1e9:
        raise Wrong(f"{describe(value)} is too large for {words.quantity}; write {words.examples}")
    return float(value)


def above_zero(value: object, quantity_unit: str) -> float:
    """Return a quantity that must be more than zero; raises Wrong."""
    number = quantity(value, quantity_unit)
    if number > 0:
        return number
    words = UNITS[quantity_unit]
    raise Wrong(f"{describe(value)} is not above zero; write {words.quantity} such as {words.examples}")


def plain_number(value: object) -> float:
    """Return a plain number of zero or more, such as a current gain; raises Wrong."""
    if isinstance(value, str):
        try:
            value = float(value)
        except ValueError:
            raise Wrong(f"{describe(value)} is not a plain number; write one such as 110") from None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Wrong(f"{describe(value)} is not a plain number; write one such as 110")
    if not 0 <= value <= 1e9:  # NaN as well
        raise Wrong(f"{describe(value)} is out of place here; write a number from 0 to 1e9 such as 110")
    return float(value)


def count(value: object) -> int:
    """Return a whole number from 1 to 1000; raises Wrong."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1000:
        raise Wrong(f"{describe(value)} is not a count; write a whole number from 1 to 1000, without quotes")
    return value


def flag(value: object) -> bool:
    """Return true or false; raises Wrong for anything else."""
    if not isinstance(value, bool):
        raise Wrong(f"{describe(value)} is neither true nor false; write true or false, without quotes")
    return value


def mapping(value: object, example: str) -> Mapping[str, Any]:
    """Return a table; raises Wrong with an example of one."""
    if not isinstance(value, dict):
        raise Wrong(f"{describe(value)} is not a table; write {example}")
    return value


class ToleranceOf:
    """A tolerance as written, beside the quantity it belongs to: letters below 10 pF mean picofarads."""

    def __init__(self, written: object, quantity_unit: str, nominal: float | None) -> None:
        self.written, self.quantity_unit, self.nominal = written, quantity_unit, nominal

    def read(self) -> Tolerance:
        """Return the tolerance; raises Wrong."""
        if not isinstance(self.written, str):
            letter = ' or a letter of IEC 60062 such as "J"' if self.quantity_unit in ("ohm", "F", "H") else ""
            raise Wrong(f'{describe(self.written)} is not a tolerance; write "5 %"{letter}')
        try:
            return parse_tolerance(self.written, self.quantity_unit, self.nominal)
        except QuantityError as error:
            raise Wrong(error.faults[0].message) from error
