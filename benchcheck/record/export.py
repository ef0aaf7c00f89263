"""Records as tables for other programs: CSV that no spreadsheet runs, JSON Lines, Parquet where pyarrow is.

One row a score, with what identifies its visit. Where a spreadsheet would take a text for a formula, an apostrophe
stands in front (OWASP, "CSV Injection"): at its beginning, and behind what another spreadsheet takes for the end of a
cell. Numbers stay numbers. Every format is written row by row.
"""

from __future__ import annotations

import csv
import importlib
import json
import math
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TextIO

from benchcheck.errors import UsageError
from benchcheck.record.record import Record

__all__ = ["COLUMNS", "export_rows", "safe_cell", "write_csv", "write_json_lines", "write_parquet"]

#: column -> its type as data frames name it; numbers in the SI quantity unit, times in UTC (ISO 8601).
COLUMNS: dict[str, type] = {
    "unit": str,
    "board": str,
    "revision": str,
    "stage": str,
    "date": str,
    "record": str,
    "sealed": bool,
    "check": str,
    "outcome": str,
    "verdict": str,
    "reason": str,
    "display": str,
    "value": float,
    "quantity_unit": str,
    "expanded_uncertainty": float,
    "coverage_factor": float,
    "lower": float,
    "upper": float,
    "limit_origin": str,
    "guard_band": float,
    "conformance_probability": float,
    "polarity": str,
    "meter": str,
    "attempts": int,
    "because": str,
    "change": str,
}
_SIGNS = r"[=+\-@\uff1d\uff0b\uff0d\uff20]"  # what begins a formula, in full width as well
_UNSEEN = r"[\s\u200b-\u200f\u2060\ufeff]*"
_BEGINNING = re.compile(rf"[\t\r\n]|{_UNSEEN}{_SIGNS}")
#: the same where a reader parts cells at semicolons or tabs, or heeds no quotes around a line end.
_LATER = re.compile(rf"([;\t\r\n\v\f\x1c-\x1e\x85\u2028\u2029]{_UNSEEN})({_SIGNS})")
_PARQUET_BATCH = 10_000
Row = dict[str, object]


def export_rows(records: Iterable[Record]) -> Iterator[Row]:
    """Yield one row a score, in the order of the records, with every column of `COLUMNS`."""
    for record in records:
        head = record.head
        visit: Row = {
            "unit": head.unit,
            "board": head.board,
            "revision": head.revision,
            "stage": str(head.stage),
            "date": head.date.isoformat() if head.date else None,
            "record": record.name,
            "sealed": record.sealed,
        }
        for score in record.scores:
            yield visit | {
                "check": score.check,
                "outcome": str(score.outcome),
                "verdict": str(score.verdict) if score.verdict else None,
                "reason": str(score.code) if score.code else None,
                "display": score.display,
                "value": score.value,
                "quantity_unit": score.quantity_unit,
                "expanded_uncertainty": score.expanded_uncertainty,
                "coverage_factor": score.coverage_factor,
                "lower": score.lower,
                "upper": score.upper,
                "limit_origin": score.limit_origin,
                "guard_band": score.guard_band,
                "conformance_probability": score.conformance_probability,
                "polarity": score.polarity,
                "meter": score.meter,
                "attempts": score.attempts,
                "because": score.because,
                "change": score.change,
            }


def safe_cell(value: object) -> object:
    """Return a cell no spreadsheet takes for a formula, and without the sign NUL; numbers stay as they are.

    >>> safe_cell("=1+1"), safe_cell(-0.5), safe_cell("OL")
    ("'=1+1", -0.5, 'OL')
    """
    if not isinstance(value, str):
        return "" if value is None else value
    text = value.replace("\x00", "\ufffd")
    front = "'" if _BEGINNING.match(text) else ""
    return front + _LATER.sub(r"\1'\2", text)


def write_csv(rows: Iterable[Row], file: TextIO) -> int:
    """Write rows as CSV (RFC 4180) and return how many; the file should be opened with `newline=""`."""
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    count = 0
    for row in rows:
        writer.writerow([safe_cell(row[column]) for column in COLUMNS])
        count += 1
    return count


def write_json_lines(rows: Iterable[Row], file: TextIO) -> int:
    """Write rows as one JSON object a line and return how many; a number that is not finite becomes null."""
    count = 0
    for row in rows:
        plain = {column: _finite(row[column]) for column in COLUMNS}
        file.write(json.dumps(plain, ensure_ascii=False, allow_nan=False) + "\n")
        count += 1
    return count


def write_parquet(rows: Iterable[Row], path: Path, *, load: Callable[[str], Any] = importlib.import_module) -> int:
    """Write rows as a Parquet file and return how many.

    Raises UsageError where pyarrow is not installed.
    """
    try:
        arrow, parquet = load("pyarrow"), load("pyarrow.parquet")
    except ImportError as error:
        raise UsageError("Parquet needs the package pyarrow; install it, or export CSV or JSON Lines") from error
    types = {str: arrow.string(), float: arrow.float64(), int: arrow.int64(), bool: arrow.bool_()}
    schema = arrow.schema([(column, types[kind]) for column, kind in COLUMNS.items()])
    count = 0
    with parquet.ParquetWriter(path, schema) as writer:
        for batch in _batches(rows, _PARQUET_BATCH):
            writer.write_table(arrow.Table.from_pylist(batch, schema=schema))
            count += len(batch)
    return count


def _finite(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _batches(rows: Iterable[Row], size: int) -> Iterator[list[Row]]:
    batch: list[Row] = []
    for row in rows:
        batch.append(row)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch
