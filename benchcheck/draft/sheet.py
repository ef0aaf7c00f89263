"""A table somebody exported: whatever the encoding, the separator and the quoting, cells with their line.

Nothing is refused that can be read some way; what had to be guessed is said in `remarks`.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchcheck.document.files import printable, read_bytes_capped
from benchcheck.errors import DocumentError, Fault

__all__ = ["Row", "Sheet", "read_sheet", "read_text"]

SIZE_LIMIT_BYTES = 2_000_000
SEPARATORS = (",", ";", "\t", "|")
#: byte-order marks and what they announce.
MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
#: one byte a sign: 0x80 to 0x9F are letters in the first and control signs in the second, which reads any file.
ONE_BYTE = ("cp1252", "latin-1")


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one row, stripped, and the line it begins in."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The rows that hold anything, in file order, and what had to be guessed to read them."""

    rows: tuple[Row, ...]
    remarks: tuple[str, ...] = ()


def read_text(path: Path) -> tuple[str, tuple[str, ...]]:
    """Return the text of a file with LF line ends, and remarks on its encoding.

    UTF-8 and UTF-16 are told by their mark or their bytes, everything else is read as Windows-1252. Raises
    DocumentError for a file that is missing, empty, larger than 2 MB or binary.
    """
    data = read_bytes_capped(path, SIZE_LIMIT_BYTES)
    name = printable(str(path))
    text, remarks = _decoded(data, name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise DocumentError(Fault(name, "", "is empty; check that it was saved"))
    if "\0" in text:
        raise DocumentError(Fault(name, "", "is a binary file; save the table as CSV, a text file"))
    return text, remarks


def _decoded(data: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    for mark, encoding in MARKS:
        if data.startswith(mark):
            try:
                return data.removeprefix(mark).decode(encoding), ()
            except UnicodeDecodeError as reason:
                message = f"says it is {encoding.upper()} and byte {reason.start} is not; save it as UTF-8"
                raise DocumentError(Fault(name, "", message)) from reason
    try:
        return data.decode("utf-8"), ()
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode(ONE_BYTE[0])
    except UnicodeDecodeError:
        text = data.decode(ONE_BYTE[1])
    return text, ("the file is not UTF-8 and was read as Windows-1252; look at ohm, micro and plus-minus signs",)


def read_sheet(text: str, name: str, score: Callable[[Sequence[str]], int]) -> Sheet:
    """Return the rows of a text, cut at the separator under which one of its first rows scores best.

    `score` says how much a row looks like a header. Raises DocumentError for a cell too long to be one.
    """
    separator = max(SEPARATORS, key=lambda each: _best(text, each, score))
    declared = text[:6].casefold()
    if declared.startswith("sep=") and len(declared) > 4 and declared[4] in SEPARATORS:
        separator, text = declared[4], "\n" + text.partition("\n")[2]
    try:
        return Sheet(_rows(text, separator, quoted=True))
    except csv.Error:
        pass
    try:
        rows = _rows(text, separator, quoted=False)
    except csv.Error as reason:
        raise DocumentError(Fault(name, "", f"cannot be read as a table: {reason}; save it as CSV again")) from reason
    return Sheet(rows, ("a quote is opened and never closed; quotes were read as plain signs",))


def _best(text: str, separator: str, score: Callable[[Sequence[str]], int]) -> int:
    head = "\n".join(text.split("\n", 40)[:40])
    try:
        return max((score(row.cells) for row in _rows(head, separator, quoted=False)), default=0)
    except csv.Error:
        return 0


def _rows(text: str, separator: str, *, quoted: bool) -> tuple[Row, ...]:
    source = io.StringIO(text)
    if quoted:
        reader = csv.reader(source, delimiter=separator, strict=True)
    else:
        reader = csv.reader(source, delimiter=separator, quoting=csv.QUOTE_NONE)
    rows: list[Row] = []
    begins = 1
    for cells in reader:
        stripped = tuple(cell.strip() if quoted else cell.strip().strip('"') for cell in cells)
        if any(stripped):
            rows.append(Row(begins, stripped))
        begins = reader.line_num + 1
    return tuple(rows)
