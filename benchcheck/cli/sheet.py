"""`benchcheck sheet`: a record as one page for its owner and the next technician."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli import completing
from benchcheck.cli.options import as_option
from benchcheck.cli.output import refuse_output
from benchcheck.errors import RecordError

__all__ = ["sheet"]


@click.command(
    epilog="""\b
Examples:
  benchcheck sheet records/kr-6/20260131T101500Z-1f0c9a2b.toml -o sheet.html
  benchcheck sheet records/kr-6/20260131T101500Z-1f0c9a2b.toml --as results \\
    -o results.json"""
)
@click.argument("record", type=click.Path(path_type=Path), shell_complete=completing.records)
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), metavar="FILE.html", help="The page.")
@as_option("sheet")
def sheet(record: Path, output: Path, report: str) -> int:
    """Write RECORD as one HTML file that needs nothing else: for the screen, a phone and A4 paper.

    --as NAME makes another report about a record instead: results (JSON), or one of a plugin.
    """
    refuse_output("-o", output, (record,))
    from benchcheck.builtin import report_text
    from benchcheck.cli.opening import opened_plugins
    from benchcheck.document import write_atomically
    from benchcheck.record.store import read_record
    from benchcheck.report.offer import About

    manager = opened_plugins()
    read = read_record(record)
    write_atomically(output, report_text(manager, report, About.RECORD, read), error=RecordError)
    for problem in read.problems:
        click.echo(f"the sheet says so too: {problem}", err=True)
    click.echo(f"{output}: {len(read.scores)} checks, last seal {read.last_seal[:16]}...")
    return 0
