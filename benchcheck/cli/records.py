"""`benchcheck records`: are the records whole, as tables for other programs, and the index to search them by."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from benchcheck.cli.groups import Suggesting
from benchcheck.cli.keeping import amend, contact
from benchcheck.cli.options import records_option
from benchcheck.cli.output import refuse_output, say
from benchcheck.errors import Fault, UsageError

if TYPE_CHECKING:
    from benchcheck.record.record import Record

__all__ = ["records"]


@click.group(cls=Suggesting, epilog="Example: benchcheck records check")
def records() -> None:
    """Look after records: check their seals, export, index or amend them; keep contacts apart."""


@records.command(
    short_help="Check seals; name what was changed or is missing.",
    epilog="""\b
Examples:
  benchcheck records check
  benchcheck records check --unit "KR-6 no. 0412" --records /mnt/archive""",
)
@click.option("--unit", metavar="LABEL", help="Only this unit's records.")
@records_option
def check(unit: str | None, records: Path) -> int:
    """Check seals, parents and sources; name what was changed, is missing or forked.

    Records of a newer format are named as not read here. Exit codes: 0 nothing was changed and nothing is missing, 1
    something is, 2 a usage error.
    """
    from benchcheck.record.audit import check_records
    from benchcheck.report.text import audit_lines

    _refuse_no_folder(records)
    audit = check_records(records, unit, progress=_Progress("checked"))
    say(audit_lines(audit))
    return 0 if audit.sound else 1


@records.command(
    short_help="Write every score as one row: CSV, JSON Lines or Parquet.",
    epilog="""\b
Examples:
  benchcheck records export > readings.csv
  benchcheck records export --format json-lines -o readings.jsonl
  benchcheck records export --format parquet -o readings.parquet""",
)
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write here.  [default: -]")
@click.option(
    "--format",
    "shape",
    type=click.Choice(["csv", "json-lines", "parquet"]),
    default="csv",
    show_default=True,
    help="What to write; parquet needs pyarrow.",
)
@click.option("--unit", metavar="LABEL", help="Only this unit's records.")
@records_option
def export(output: Path | None, shape: str, unit: str | None, records: Path) -> int:
    """Write every score as one row: CSV no spreadsheet takes for formulas, JSON Lines or Parquet."""
    from benchcheck.record.export import export_rows, write_csv, write_json_lines, write_parquet

    refuse_output("-o", output)
    _refuse_no_folder(records)
    rows = export_rows(_all(records, unit))
    if shape == "parquet":
        if output is None:
            raise UsageError(Fault("-o", "", "Parquet is no text; name a file for it with -o"))
        count = write_parquet(rows, output)
    else:
        write = write_csv if shape == "csv" else write_json_lines
        with _opened(output) as file:
            count = write(rows, file)
    click.echo(f"{count} rows", err=True)
    return 0


@records.command(
    short_help="Bring the search index up to date.",
    epilog="""\b
Examples:
  benchcheck records index
  benchcheck records index --index postgresql+psycopg://shop@/records \\
    --shelf bench-2""",
)
@click.option("--index", "place", metavar="PLACE", help="A file, or a database URL.  [default: in the records]")
@click.option("--shelf", default="", metavar="NAME", help="Whose records these are, where benches share a database.")
@records_option
def index(place: str | None, shelf: str, records: Path) -> int:
    """Bring the search index up to date; it may be deleted and built again at any time."""
    from benchcheck.record.index import Index

    _refuse_no_folder(records)
    where: str | Path = place if place is not None and "://" in place else Path(place or records / "index.sqlite")
    with Index(where, shelf=shelf) as opened:
        done = opened.update(records, progress=_Progress("indexed"))
        count = opened.count()
    for fault in done.faults:
        click.echo(f"left out: {fault}", err=True)
    click.echo(f"{done.read} records read, {done.unchanged} unchanged, {done.removed} gone; the index holds {count}")
    return 0


records.add_command(amend)
records.add_command(contact)


def _refuse_no_folder(records: Path) -> None:
    if not records.is_dir():
        raise UsageError(Fault("--records", str(records), "there is no such folder; name the one with the records"))


def _all(records: Path, unit: str | None) -> Iterator[Record]:
    """Yield all records unit by unit, oldest first; memory holds one at a time."""
    from benchcheck.errors import RecordError
    from benchcheck.record.folders import unit_path
    from benchcheck.record.record import read_record
    from benchcheck.record.shelf import record_files, unit_folders

    folders = [unit_path(records, unit)] if unit is not None else list(unit_folders(records))
    for folder in folders:
        for path in record_files(folder):
            try:
                yield read_record(path, with_budgets=False)
            except RecordError as error:
                click.echo(f"left out: {error}", err=True)


@contextlib.contextmanager
def _opened(output: Path | None) -> Iterator[TextIO]:
    """Open what is to be written; a file is put in its place when it is whole."""
    if output is None:
        file = io.TextIOWrapper(sys.stdout.buffer, encoding="utf-8", newline="")
        try:
            yield file
        finally:
            file.detach()  # flushes; else standard output would be closed along with it
        return
    part = output.with_name(f".{output.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as whole:
            yield whole
        part.replace(output)
    except OSError as error:
        raise UsageError(Fault("-o", str(output), f"cannot be written: {error.strerror}")) from error
    finally:
        part.unlink(missing_ok=True)


class _Progress:
    """Says on a terminal how many unit folders are done, a hundred times at most."""

    def __init__(self, word: str) -> None:
        self._word = word
        self._shown = sys.stderr.isatty()

    def __call__(self, done: int, total: int) -> None:
        if self._shown and (done == total or done % max(1, total // 100) == 0):
            click.echo(f"\r{done} of {total} units {self._word}", err=True, nl=done == total)
