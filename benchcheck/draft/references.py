"""Reference designators as parts lists write them: `R1-R4,R7`, `C3..C6`, `U1 U2`, and what is none.

A reference becomes the name of a table and part of check ids, so only plain names pass; every other sign in the
cell comes back with the reason it was left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from benchcheck.spec.pins import NAME_PATTERN
from benchcheck.spec.references import RESERVED

__all__ = ["Expanded", "expand", "letters_of", "name_fault"]

MOST_IN_A_RANGE = 500
_APART = r",;|&\s"
_DASH = r"(?:\s*[-\u2010-\u2015~\u2026:]\s*|\s*\.{2,3}\s*|\s+(?:to|thru|through)\s+)"
_TOKEN = re.compile(
    rf"(?<![^{_APART}])(?P<first>-?[A-Za-z]{{1,6}})(?P<low>[0-9]{{1,6}}){_DASH}"
    rf"(?P<last>-?[A-Za-z]{{0,6}})(?P<high>[0-9]{{1,6}})(?![^{_APART}])|(?P<other>[^{_APART}]+)"
)
_PLAIN = re.compile(r"([A-Za-z]{1,6})([0-9]{1,6})")
_JOINED = re.compile(r"[A-Za-z]{1,6}[0-9]{1,6}(?:[/+][A-Za-z]{1,6}[0-9]{1,6})+")
_NAME = re.compile(NAME_PATTERN)


@dataclass(frozen=True, slots=True)
class Expanded:
    """The references of one cell in order, and (text, reason) for everything in it that is none."""

    names: tuple[str, ...]
    refused: tuple[tuple[str, str], ...] = ()


def expand(cell: str) -> Expanded:
    """Return every reference a cell names.

    >>> expand("R1-R3, R7").names, expand("C1,2").names
    (('R1', 'R2', 'R3', 'R7'), ('C1', 'C2'))
    >>> expand("=HYPERLINK(1)").refused
    (('=HYPERLINK(1)', 'begins like a formula of a spreadsheet'),)
    """
    names: list[str] = []
    refused: list[tuple[str, str]] = []
    whole = formula_fault(cell)
    if whole:
        return Expanded((), ((cell, whole),))
    for match in _TOKEN.finditer(cell):
        try:
            found = list(_named(match, names[-1] if names else ""))
        except ValueError as reason:
            refused.append((match[0], str(reason)))
            continue
        for name in found:
            fault = name_fault(name)
            if fault:
                refused.append((name, fault))
            else:
                names.append(name)
    return Expanded(tuple(names), tuple(refused))


def formula_fault(cell: str) -> str:
    """Return why a whole cell is nothing to take apart, or nothing."""
    if cell[:1] in ("=", "@") or (cell[:1] in ("+", "-") and not re.match(r"-[A-Za-z]{1,6}[0-9]", cell)):
        return "begins like a formula of a spreadsheet"
    return ""


def _named(match: re.Match[str], before: str) -> Iterator[str]:
    """Yield the references one token names; raises ValueError with the reason it names none."""
    if match["first"]:
        yield from _range(match)
        return
    token = match["other"]
    previous = _PLAIN.fullmatch(before)
    if _JOINED.fullmatch(token):
        yield from re.split("[/+]", token)
    elif token.isascii() and token.isdigit() and previous:
        yield previous[1] + token
    else:  # IEC 81346 writes the product aspect with a dash before it: -R1
        yield token[1:] if re.fullmatch(r"-[A-Za-z]{1,6}[0-9]{1,6}", token) else token


def _range(match: re.Match[str]) -> Iterator[str]:
    letters, last = match["first"].removeprefix("-"), match["last"].removeprefix("-")
    low, high = int(match["low"]), int(match["high"])
    if last and last.casefold() != letters.casefold():
        raise ValueError(f"runs from {letters} to {last}; a range keeps its letters")
    if high < low:
        raise ValueError(f"runs backwards; write {letters}{high}-{letters}{low}")
    if high - low >= MOST_IN_A_RANGE:
        raise ValueError(f"names {high - low + 1} parts at once, and at most {MOST_IN_A_RANGE} are taken")
    width = len(match["low"]) if match["low"].startswith("0") else 0
    for number in range(low, high + 1):
        yield f"{letters}{number:0{width}d}"


def name_fault(name: str) -> str:
    """Return why a text cannot name a part of a spec, or nothing.

    >>> name_fault("R1"), name_fault("../R1"), name_fault("Meter")
    ('', 'looks like a path', 'is a word benchcheck keeps to itself')
    """
    faults = (
        (any(not sign.isprintable() for sign in name), "holds a sign that cannot be seen"),
        (".." in name or "\\" in name or name[:1] in "./~", "looks like a path"),
        (any(sign in "\"'`" for sign in name), "holds a quote"),
        (len(name) > 40, "is longer than the 40 signs a name may have"),
        (not _NAME.fullmatch(name), "holds other signs than letters A to Z, digits and _ + - . /"),
        (not name[:1].isalpha(), "does not begin with a letter"),
        (name.casefold() in RESERVED, "is a word benchcheck keeps to itself"),
    )
    return next((reason for wrong, reason in faults if wrong), "")


def letters_of(name: str) -> str:
    """Return the letters a reference begins with, in capitals: its class.

    >>> letters_of("Rv12"), letters_of("C3A")
    ('RV', 'C')
    """
    match = re.match("[A-Za-z]+", name)
    return match[0].upper() if match else ""
