"""Exports: every score with its visit, numbers exact, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow.parquet import read_table

from benchcheck.clock import FakeClock
from benchcheck.errors import UsageError
from benchcheck.record.export import COLUMNS, export_rows, safe_cell, write_csv, write_json_lines, write_parquet
from benchcheck.record.journal import Journal
from benchcheck.record.store import Record, read_record
from tests.record.samples import HEAD, SCORES, write_visit


@pytest.fixture
def record(tmp_path: Path) -> Record:
    return read_record(write_visit(tmp_path))


def test_csv_holds_every_score_with_its_visit(record: Record) -> None:
    file = io.StringIO(newline="")
    assert write_csv(export_rows([record, record]), file) == 6
    rows = list(csv.DictReader(io.StringIO(file.getvalue(), newline="")))
    assert list(rows[0]) == list(COLUMNS)
    assert [row["check"] for row in rows[:3]] == [score.check for score in SCORES]
    first = rows[0]
    assert (first["unit"], first["stage"], first["date"]) == (HEAD.unit, "as-left", "2026-01-31T10:15:00+00:00")
    assert float(first["value"]) == SCORES[0].value
    assert float(first["expanded_uncertainty"]) == SCORES[0].expanded_uncertainty
    assert (rows[1]["display"], rows[1]["value"], rows[1]["reason"]) == ("OL", "", "compliance")
    assert first["record"] == record.name


FORMULAS = {
    "=HYPERLINK(0)": "'=HYPERLINK(0)",
    "+1": "'+1",
    "-1+cmd|' /C calc'!A0": "'-1+cmd|' /C calc'!A0",
    "@SUM(1)": "'@SUM(1)",
    "\t=1": "'\t'=1",
    "\r=1": "'\r'=1",
    "  =1": "'  =1",
    "\u00a0\ufeff=1": "'\u00a0\ufeff=1",
    "\uff1d1": "'\uff1d1",
    "\uff0b1": "'\uff0b1",
    "\uff0d1": "'\uff0d1",
    "\uff20x": "'\uff20x",
    "seen;=1+1": "seen;'=1+1",
    "seen\n @SUM(1)": "seen\n '@SUM(1)",
    "10 V; lies 5 above, -1": "10 V; lies 5 above, -1",
}
TEXTS = [column for column, kind in COLUMNS.items() if kind is str]


# OWASP, "CSV Injection": a cell beginning with = + - @ (full width too), a tab or a line end can be taken for a
# formula; separators count as well, since a reader may part cells at another sign.
@pytest.mark.parametrize(("text", "cell"), FORMULAS.items())
def test_a_text_that_looks_like_a_formula_is_only_a_text_in_every_column(text: str, cell: str) -> None:
    file = io.StringIO(newline="")
    write_csv([{column: text if column in TEXTS else -1.5 for column in COLUMNS}], file)
    (row,) = csv.DictReader(io.StringIO(file.getvalue(), newline=""))
    assert {row[column] for column in TEXTS} == {cell}
    assert row["value"] == "-1.5"


@given(st.text(max_size=20) | st.text("=+-@\t\r\n ;'x\uff1d\ufeff\u2028", max_size=12))
def test_no_text_cell_begins_like_a_formula(text: str) -> None:
    cell = safe_cell(text)
    assert isinstance(cell, str)
    assert not cell.startswith(("\t", "\r", "\n"))
    for piece in re.split(r"[;\t\r\n\u2028]", cell):
        assert not piece.strip(" \ufeff").startswith(("=", "+", "-", "@", "\uff1d"))
    assert cell.replace("'", "") == text.replace("\x00", "\ufffd").replace("'", "")


def test_json_lines_are_json_even_where_a_limit_is_infinite(tmp_path: Path) -> None:
    with Journal.create(tmp_path, HEAD, FakeClock()) as journal:
        journal.append_score(replace(SCORES[0], upper=float("inf"), display="a\nb\u2028"))
    file = io.StringIO()
    assert write_json_lines(export_rows([read_record(journal.path)]), file) == 1
    assert file.getvalue().count("\n") == 1
    row = json.loads(file.getvalue())
    assert list(row) == list(COLUMNS)
    assert (row["upper"], row["display"], row["value"]) == (None, "a\nb\u2028", SCORES[0].value)


def test_parquet_comes_back(record: Record, tmp_path: Path) -> None:
    assert write_parquet(export_rows([record]), tmp_path / "x.parquet") == 3
    rows = read_table(tmp_path / "x.parquet").to_pylist()
    assert list(rows[0]) == list(COLUMNS)
    assert rows[0]["value"] == SCORES[0].value
    assert rows[1]["value"] is None


def test_without_pyarrow_parquet_is_refused_in_words(record: Record, tmp_path: Path) -> None:
    def missing(name: str) -> object:
        raise ModuleNotFoundError(name)

    with pytest.raises(UsageError, match="Parquet needs the package pyarrow"):
        write_parquet(export_rows([record]), tmp_path / "x.parquet", load=missing)
