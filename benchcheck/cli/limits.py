"""`benchcheck limits-from`: limits learned from known-good units, written into a copy of the spec."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli import completing
from benchcheck.cli.output import refuse_output, say
from benchcheck.errors import Fault, RecordError, UsageError

if TYPE_CHECKING:
    from benchcheck.record.limits import LearnedLimits
    from benchcheck.record.limits_spec import AmendedSpec
    from benchcheck.record.record import Record

__all__ = ["limits_from"]


@click.command(
    "limits-from",
    epilog="""\b
Examples:
  benchcheck limits-from records/kr-6*/2026*.toml \\
    --spec specs/quillmere-kr6.toml -o specs/quillmere-kr6-learned.toml
  benchcheck limits-from records/am-6-0031 --channel R10 R13 \\
    --channel R11 R14 --spec specs/tarnholt-am6.toml -o learned.toml""",
)
@click.argument(
    "records", nargs=-1, required=True, type=click.Path(path_type=Path), shell_complete=completing.records
)
@click.option(
    "--spec",
    required=True,
    type=click.Path(path_type=Path),
    metavar="SPEC",
    shell_complete=completing.specs,
    help="The spec to start from.",
)
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), metavar="NEW", help="The new spec.")
@click.option(
    "--channel",
    nargs=2,
    multiple=True,
    metavar="LEFT RIGHT",
    help="Two parts built alike, left and right: the values of each count for both.",
)
def limits_from(records: tuple[Path, ...], spec: Path, output: Path, channel: tuple[tuple[str, str], ...]) -> int:
    """Learn limits from RECORDS of known-good units (files, or unit folders) and write them into a NEW spec.

    Few units say little of the spread, so what was known before is pooled in; comments in the new spec say
    where each limit came from. Yours stay as they are.
    """
    from benchcheck.cli.opening import open_spec
    from benchcheck.document import write_atomically
    from benchcheck.record.limits import learn_limits
    from benchcheck.record.limits_spec import with_limits

    paths = _files(records)
    refuse_output("-o", output, (spec, *paths))
    board = open_spec(spec)
    learned = learn_limits(_read(paths), board, channels=channel)
    amended = with_limits(board, learned)
    if not amended.written:
        say(_lines(learned, amended))
        raise UsageError(Fault("RECORDS", "", "they teach no limit this spec can hold; nothing was written"))
    write_atomically(output, amended.text, error=RecordError)
    say(_lines(learned, amended))
    click.echo(f"{output}: {len(amended.written)} limits learned")
    return 0


def _files(given: tuple[Path, ...]) -> list[Path]:
    from benchcheck.record.shelf import record_files

    return [path for one in given for path in (record_files(one) if one.is_dir() else [one])]


def _read(paths: list[Path]) -> list[Record]:
    """Return the records, oldest visit first; raises RecordError with the faults of all that cannot be read."""
    from benchcheck.record.shelf import in_order
    from benchcheck.record.store import read_record

    records: list[Record] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            records.append(read_record(path))
        except RecordError as error:
            faults += error.faults
    if faults:
        raise RecordError(faults)
    return list(in_order(records))


def _lines(learned: LearnedLimits, amended: AmendedSpec) -> list[str]:
    from benchcheck.quantity import format_value
    from benchcheck.report.wording import wrapped

    lines: list[str] = []
    for limit in amended.written:
        sides = [
            f"{word} {format_value(side, limit.quantity_unit, digits=4, ascii=True)}"
            for word, side in (("min", limit.lower), ("max", limit.upper))
            if side is not None
        ]
        lines += wrapped(f"{limit.check}: {', '.join(sides)} ({limit.origin})", "", "    ")
    for odd in learned.odd:
        lines += wrapped(f"does not belong and was left out: {odd}", "", "    ")
    for remark in amended.remarks:
        lines += wrapped(f"note: {remark}", "", "    ")
    return lines
