"""`benchcheck changes`: what is different between two visits, the most significant first."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.completing import records
from benchcheck.cli.output import say

__all__ = ["changes"]


@click.command(
    epilog="""\b
Example:
  benchcheck changes records/kr-6/20260131T101500Z-1f0c9a2b.toml \\
    records/kr-6/20280203T091100Z-77aa01d4.toml"""
)
@click.argument("earlier", type=click.Path(path_type=Path), metavar="RECORD", shell_complete=records)
@click.argument("later", type=click.Path(path_type=Path), metavar="RECORD", shell_complete=records)
def changes(earlier: Path, later: Path) -> int:
    """Compare two records, the earlier first: changes ranked by their size against their uncertainty."""
    from benchcheck.errors import Fault, RecordError
    from benchcheck.record.changes import changes_between
    from benchcheck.record.store import Record, read_record
    from benchcheck.report.text import changes_lines

    read: list[Record] = []
    faults: list[Fault] = []
    for path in (earlier, later):
        try:
            read.append(read_record(path))
        except RecordError as error:
            faults += error.faults
    if faults:
        raise RecordError(faults)
    say(changes_lines(changes_between(*read)))
    return 0
