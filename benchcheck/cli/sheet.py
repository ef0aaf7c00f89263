"""`benchcheck sheet`: a record as one page for its owner and the next technician."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli import completing
from benchcheck.cli.options import as_option
from benchcheck.cli.output import refuse_output
from benchcheck.errors import Fault, RecordError, UsageError

if TYPE_CHECKING:
    from benchcheck.record.record import Record

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
@click.option(
    "--photos",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where the photos are.  [default: beside the record, or in photos]",
)
@as_option("sheet")
def sheet(record: Path, output: Path, photos: Path | None, report: str) -> int:
    """Write RECORD as one HTML file that needs nothing else: for the screen, a phone and A4 paper.

    Photos that the record names are found by their SHA-256 and shown without what the camera wrote into them (place,
    time, serial number); what can be seen on them is for you to look at.

    --as NAME makes another report about a record instead: results (JSON), or one of a plugin.
    """
    refuse_output("-o", output, (record,))
    if photos:
        _refuse_photos(photos, report)
    from benchcheck.document import write_atomically
    from benchcheck.record.store import read_record

    read = read_record(record)
    write_atomically(output, _made(read, photos, report), error=RecordError)
    for problem in read.problems:
        click.echo(f"the sheet says so too: {problem}", err=True)
    click.echo(f"{output}: {len(read.scores)} checks, last seal {read.last_seal[:16]}...")
    return 0


def _refuse_photos(photos: Path, report: str) -> None:
    if report != "sheet":
        raise UsageError(
            Fault("--photos", str(photos), f"goes with the sheet, not with --as {report}; leave one out")
        )
    if not photos.is_dir():
        raise UsageError(Fault("--photos", str(photos), "is no folder; name the one that holds the photos"))


def _made(record: Record, photos: Path | None, report: str) -> str:
    """Return the text of the report, the sheet with the photos of a folder where one is named."""
    if photos:
        from benchcheck.report.html import sheet_page
        from benchcheck.report.photos import photos_of

        return sheet_page(record, photos_of(record, (photos,)))
    from benchcheck.builtin import report_text
    from benchcheck.cli.opening import opened_plugins
    from benchcheck.report.offer import About

    return report_text(opened_plugins(), report, About.RECORD, record)
