"""`benchcheck sheet`: a record as one page for its owner and the next technician."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import refuse_output
from benchcheck.errors import RecordError

__all__ = ["sheet"]


@click.command(
    epilog="""\b
Example:
  benchcheck sheet records/kr-6/20260131T101500Z-1f0c9a2b.toml -o sheet.html"""
)
@click.argument("record", type=click.Path(path_type=Path))
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), metavar="FILE.html", help="The page.")
def sheet(record: Path, output: Path) -> int:
    """Write RECORD as one HTML file that needs nothing else: for the screen, a phone and A4 paper."""
    refuse_output("-o", output, (record,))
    from benchcheck.document import write_atomically
    from benchcheck.record.store import read_record
    from benchcheck.report.html import sheet_page

    read = read_record(record)
    write_atomically(output, sheet_page(read), error=RecordError)
    for problem in read.problems:
        click.echo(f"the sheet says so too: {problem}", err=True)
    click.echo(f"{output}: {len(read.scores)} checks, last seal {read.last_seal[:16]}...")
    return 0
