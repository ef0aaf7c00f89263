"""A file of readings: one line a reading, every bad line named at once, nothing guessed.

Comma separated with decimal points, or semicolon separated with decimal commas. `check,reading` is enough;
the further columns are `quantity_unit, polarity, load, repeat, meter, range, note`.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from benchcheck.bench.model import Bench
from benchcheck.document import read_text_capped
from benchcheck.errors import Fault, QuantityError, ReadingsError, close_match
from benchcheck.kinds.between import NOT_OF_A_VISIT, is_between
from benchcheck.kinds.check import Check
from benchcheck.quantity import bracket_value, parse_value
from benchcheck.readings.reading import Origin, Reading
from benchcheck.readings.typed import magnitude_question, read_typed

__all__ = ["COLUMNS", "ReadingsFile", "parse_readings", "read_readings"]

#: so many checks that the board does not have, and more of them than of its own, are another board's.
_ANOTHER_BOARD = 10
COLUMNS = ("check", "reading", "quantity_unit", "polarity", "load", "repeat", "meter", "range", "note")
SIZE_LIMIT_BYTES = 8_000_000
_OF_NO_VISIT = f"{NOT_OF_A_VISIT}; take the line out here"


@dataclass(frozen=True, slots=True)
class ReadingsFile:
    """All readings of one file, in file order; `digest` is the SHA-256 of its text."""

    name: str
    digest: str
    readings: tuple[Reading, ...]
    blanks: tuple[str, ...] = ()


@dataclass(slots=True)
class _Sheet:
    """The state of reading one file: what is known, what came in, what is wrong."""

    name: str
    checks: Mapping[str, Check]
    meters: Mapping[str, object]
    by_fold: Mapping[str, str]
    withheld: Collection[str]
    on_board: Callable[[Check], float | None] | None = None
    slips: bool = False
    between: Callable[[str], str] | None = None
    seen: dict[tuple[str, int], Reading] = field(default_factory=dict)
    blanks: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    strange: list[Fault] = field(default_factory=list)  # checks that the board does not have

    def fault(self, line: int, key: str, message: str) -> None:
        self.faults.append(Fault(f"{self.name}:{line}", key, message))


def read_readings(
    path: Path,
    checks: Mapping[str, Check],
    bench: Bench,
    *,
    withheld: Collection[str] = (),
    on_board: Callable[[Check], float | None] | None = None,
    slips: bool = False,
    between: Callable[[str], str] | None = None,
) -> ReadingsFile:
    """Return the readings of a CSV file for the checks of a board (ids to checks).

    Raises ReadingsError with every fault of the file: unknown checks with a close match, texts that are no
    readings, values 10^3 or 10^6 off, the same check and repeat twice with different values. `withheld` are the
    ids of powered checks this board must not get; a reading of one is refused with that reason. `on_board` says what
    the good board reads, in a check's quantity unit, so that what the circuit explains is no slip;
    with `slips` values 10^3 or 10^6 off are let in, for one who weighs slips of the hand. `between` says what is
    wrong with the name of a reading between two nets; without it such readings have no place here.
    """
    text = read_text_capped(path, SIZE_LIMIT_BYTES, error=ReadingsError)
    return parse_readings(
        text, str(path), checks, bench, withheld=withheld, on_board=on_board, slips=slips, between=between
    )


def parse_readings(
    text: str,
    name: str,
    checks: Mapping[str, Check],
    bench: Bench,
    *,
    withheld: Collection[str] = (),
    on_board: Callable[[Check], float | None] | None = None,
    slips: bool = False,
    between: Callable[[str], str] | None = None,
) -> ReadingsFile:
    """Return the readings in a text; see `read_readings`."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    by_fold = {identity.casefold(): identity for identity in checks}
    sheet = _Sheet(name, checks, bench.meters, by_fold, withheld, on_board, slips, between)
    for line, row in _rows(sheet, text):
        _take(sheet, line, row)
    if len(sheet.strange) >= _ANOTHER_BOARD and len(sheet.strange) > len(sheet.seen):
        raise ReadingsError(_of_another_board(sheet))
    sheet.faults.extend(sheet.strange)
    if sheet.faults:
        raise ReadingsError(sorted(sheet.faults, key=lambda fault: int(fault.where.rpartition(":")[2])))
    return ReadingsFile(name, digest, tuple(sheet.seen.values()), tuple(sheet.blanks))


def _of_another_board(sheet: _Sheet) -> Fault:
    """Return one fault for a file most of whose checks the board does not have: a hint for each would hide it."""
    first, last = sheet.strange[0], sheet.strange[-1]
    lines = f"{first.key} to {last.key}, lines {first.where.rpartition(':')[2]} to {last.where.rpartition(':')[2]}"
    count = len(sheet.strange)
    message = f"{count} of its checks are none of this board's ({lines}): are these readings of another board?"
    return Fault(sheet.name, "", f"{message} check-spec lists the checks of a spec")


def _rows(sheet: _Sheet, text: str) -> list[tuple[int, dict[str, str]]]:
    lines = ["" if line.lstrip().startswith("#") else line for line in text.removeprefix("\ufeff").splitlines(True)]
    first = next((line for line in lines if line.strip()), "")
    reader = csv.reader(lines, delimiter=";" if ";" in first else ",", strict=True)
    rows: list[tuple[int, dict[str, str]]] = []
    header: list[str] | None = None
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if header is None:
                header = _header(sheet, reader.line_num, stripped)
            elif len(stripped) > len(header):
                hint = "put quotes around a cell that holds a separator"
                sheet.fault(reader.line_num, "", f"{len(stripped)} cells under {len(header)} columns; {hint}")
            else:
                rows.append((reader.line_num, dict(zip(header, stripped, strict=False))))
    except csv.Error as error:
        sheet.fault(reader.line_num, "", f"{error}; close the quotes, one reading a line")
    return rows


def _header(sheet: _Sheet, line: int, cells: list[str]) -> list[str]:
    names = [cell.casefold() for cell in cells]
    for name in names:
        if name not in COLUMNS:
            allowed = close_match(name, COLUMNS) or f"; allowed are {', '.join(COLUMNS)}"
            sheet.fault(line, name, f"is not a column of a readings file{allowed}")
    twice = sorted({name for name in names if names.count(name) > 1})
    missing = [name for name in COLUMNS[:2] if name not in names]
    if twice:
        sheet.fault(line, ", ".join(twice), "stands twice in the first line; keep one column of each name")
    if missing:
        sheet.fault(line, ", ".join(missing), 'the first line must name the columns, at least "check,reading"')
    if sheet.faults:
        raise ReadingsError(sheet.faults)
    return names


def _take(sheet: _Sheet, line: int, row: dict[str, str]) -> None:
    check = _check_of(sheet, line, row)
    if check is None:
        return
    if not row.get("reading"):
        sheet.blanks.append(check.id)
        return
    try:
        reading = read_typed(check, _with_unit(row), origin=Origin.FILE, where=f"{sheet.name}:{line}", line=line)
    except ReadingsError as error:
        sheet.faults.extend(error.faults)
        return
    question = "" if sheet.slips else magnitude_question(check, reading, sheet.on_board)
    if question:
        sheet.fault(
            line,
            check.id,
            f"{question} Correct the line, or type it at the prompt and confirm it; it is not scored as it stands",
        )
        return
    _keep(sheet, line, row, check, reading)


def _with_unit(row: dict[str, str]) -> str:
    return f"{row['reading']} {row.get('quantity_unit', '')}".strip()


def _keep(sheet: _Sheet, line: int, row: dict[str, str], check: Check, reading: Reading) -> None:
    meter = row.get("meter", "")
    if meter and meter not in sheet.meters:
        sheet.fault(line, meter, f"is not a meter of the bench{close_match(meter, sheet.meters)}")
    repeat = row.get("repeat", "") or "1"
    if not (repeat.isascii() and repeat.isdigit() and 1 <= int(repeat) <= 9999):
        sheet.fault(line, check.id, f'repeat "{repeat}" is not a count; write 1, 2, 3 ...')
        return
    polarity = _polarity(sheet, line, row, check)
    kept = replace(
        reading,
        repeat=int(repeat),
        meter=meter,
        meter_range=row.get("range", ""),
        note=row.get("note", ""),
        polarity=polarity,
    )
    earlier = sheet.seen.setdefault((check.id, kept.repeat), kept)
    if earlier is not kept and earlier.display != kept.display:
        first, second = f'"{earlier.display.text}" in line {earlier.line}', f'"{kept.display.text}" here'
        sheet.fault(line, check.id, f"is read twice: {first}, {second}; keep one, or number them under repeat")


def _check_of(sheet: _Sheet, line: int, row: dict[str, str]) -> Check | None:
    given = row.get("check", "")
    wanted = _bracketed(sheet, line, given, row)
    if wanted is None:
        return None
    identity = sheet.by_fold.get(wanted.casefold())
    if identity is None and wanted in sheet.withheld:
        sheet.fault(line, wanted, "is a powered check, and this board must not be powered here; take the line out")
        return None
    if identity is None:
        _not_known(sheet, line, wanted)
        return None
    return sheet.checks[identity]


def _not_known(sheet: _Sheet, line: int, wanted: str) -> None:
    """Say of a name that it is no check's; one between two nets is not taken for another board's."""
    if is_between(wanted) and (words := sheet.between(wanted) if sheet.between else _OF_NO_VISIT):
        sheet.fault(line, wanted, words)
        return
    brackets = [name for name in sheet.checks if name.casefold().startswith(wanted.casefold() + "[")]
    hint = f"; write {' or '.join(brackets)}" if brackets else close_match(wanted, sheet.checks)
    sheet.strange.append(
        Fault(f"{sheet.name}:{line}", wanted, f"the board has no such check{hint or '; check-spec lists them'}")
    )


def _bracketed(sheet: _Sheet, line: int, given: str, row: dict[str, str]) -> str | None:
    """Return the check id with its bracket, which the columns `polarity` and `load` may stand in for."""
    stem, _, inside = given.partition("[")
    bracket = inside.removesuffix("]")
    polarity, load = row.get("polarity", ""), row.get("load", "")
    if load:
        try:
            load = bracket_value(parse_value(load, "A"), "A")
        except QuantityError as error:
            sheet.fault(line, given, error.faults[0].message)
            return None
        bracket = bracket or load
        if bracket.partition(":")[0].casefold() != load.casefold():
            sheet.fault(line, given, f"the check says [{bracket}] and the column load says {load}; keep one")
            return None
    if polarity.startswith("red:") and any(name.startswith(f"{stem}[red:") for name in sheet.checks):
        bracket = bracket or polarity
        if bracket.casefold() != polarity.casefold():
            sheet.fault(line, given, f"the check says [{bracket}] and the column polarity {polarity}; keep one")
            return None
    return f"{stem}[{bracket}]" if bracket else stem


def _polarity(sheet: _Sheet, line: int, row: dict[str, str], check: Check) -> str:
    polarity = row.get("polarity", "")
    if not polarity or check.bracket == polarity:
        return ""
    nets = {probe.net for probe in (check.red, check.black) if probe}
    if polarity == "swapped":
        return "swapped"
    if polarity.startswith("red:") and polarity[4:] in nets:
        return "" if check.red and check.red.net == polarity[4:] else "swapped"
    sheet.fault(line, check.id, f'polarity "{polarity}" is neither "swapped" nor "red:" and a net it touches')
    return ""
