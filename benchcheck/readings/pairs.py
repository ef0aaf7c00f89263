"""A file of resistances between nets: `red,black,reading`, one pair of nets a line, for working out branches.

Comma separated with decimal points, or semicolon separated with decimal commas, as a file of readings is.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from benchcheck.document import read_text_capped
from benchcheck.errors import Fault, QuantityError, ReadingsError
from benchcheck.quantity import parse_display

__all__ = ["TakenPair", "parse_pairs", "read_pairs"]

_COLUMNS = ("red", "black", "reading")
_SIZE_LIMIT_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class TakenPair:
    """One resistance in ohm as it was read, red and black on these nets; `resolution` is its last digit, in ohm."""

    red: str
    black: str
    ohm: float
    resolution: float


def read_pairs(path: Path) -> tuple[TakenPair, ...]:
    """Return the readings of a file; raises ReadingsError with every fault of it."""
    return parse_pairs(read_text_capped(path, _SIZE_LIMIT_BYTES, error=ReadingsError), str(path))


def parse_pairs(text: str, name: str) -> tuple[TakenPair, ...]:
    """Return the readings in a text; see `read_pairs`.

    >>> parse_pairs("red,black,reading\\nFB,GND,3.9k\\n", "pairs.csv")[0].ohm
    3900.0
    """
    lines = ["" if line.lstrip().startswith("#") else line for line in text.removeprefix("\ufeff").splitlines(True)]
    first = next((line for line in lines if line.strip()), "")
    reader = csv.reader(lines, delimiter=";" if ";" in first else ",")
    rows = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader if any(map(str.strip, cells))]
    if not rows or [cell.casefold() for cell in rows[0][1]] != list(_COLUMNS):
        line = rows[0][0] if rows else 1
        raise ReadingsError(Fault(f"{name}:{line}", "", 'the first line must be "red,black,reading"'))
    faults: list[Fault] = []
    found = [_pair(f"{name}:{line}", cells, faults) for line, cells in rows[1:]]
    if faults:
        raise ReadingsError(faults)
    return tuple(pair for pair in found if pair is not None)


def _pair(where: str, cells: list[str], faults: list[Fault]) -> TakenPair | None:
    if len(cells) != len(_COLUMNS) or not all(cells):
        faults.append(Fault(where, "", "needs a net for red, a net for black and a reading"))
        return None
    try:
        display = parse_display(cells[2], "ohm")
    except QuantityError as error:
        faults.append(Fault(where, cells[2], str(error)))
        return None
    if display.value is None:
        faults.append(
            Fault(where, cells[2], "is no number of ohms; a group whose nets show OL has no branches there")
        )
        return None
    if display.value < 0.0:
        said = "is below zero, which no resistance reads; discharge what is charged there, null the leads, read again"
        faults.append(Fault(where, cells[2], said))
        return None
    return TakenPair(cells[0], cells[1], display.value, display.resolution or 0.0)
