"""`benchcheck history`: a unit over the years, and which units share a lot or a meter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.options import as_option, records_option
from benchcheck.cli.output import refuse_output, say
from benchcheck.errors import Fault, RecordError, UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchcheck.record.history import History
    from benchcheck.record.index import Index, IndexedVisit

__all__ = ["history"]


@click.command(
    epilog="""\b
Examples:
  benchcheck history "KR-6 no. 0412"
  benchcheck history "KR-6 no. 0412" --html history.html
  benchcheck history "KR-6 no. 0412" --as MY-REPORT -o course.txt
  benchcheck history --lot 2531A
  benchcheck history --meter dmm"""
)
@click.argument("unit", required=False)
@click.option("--html", type=click.Path(path_type=Path), metavar="FILE", help="Write a page with trend plots.")
@click.option("-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write the report --as names.")
@as_option("history")
@click.option("--lot", metavar="LOT", help="List the units that hold a lot of parts.")
@click.option("--meter", metavar="NAME", help="List what was measured with a meter: its name or serial number.")
@click.option("--all", "every", is_flag=True, help="Also list the checks that did not move.")
@records_option
def history(
    unit: str | None,
    html: Path | None,
    output: Path | None,
    report: str,
    lot: str | None,
    meter: str | None,
    every: bool,
    records: Path,
) -> int:
    """Show what was done to UNIT, visit by visit, and how its readings developed.

    --as NAME -o FILE writes another report about a unit, such as one of a plugin.
    With --lot or --meter: which units hold a lot of parts, or were measured with a meter later found bad.
    """
    if lot is not None or meter is not None:
        if html is not None or output is not None:
            raise UsageError(
                Fault("--html", str(html or output), "a page shows one unit; leave out --lot and --meter")
            )
        return _across(records, unit, lot, meter)
    if unit is None:
        raise UsageError(Fault("history", "UNIT", "is missing; name a unit, or ask with --lot or --meter"))
    wanted = {"history": html} if html is not None else {}
    if output is not None:
        wanted[report] = output
    return _of_unit(records, unit, wanted, every)


def _of_unit(records: Path, unit: str, wanted: Mapping[str, Path], every: bool) -> int:
    for output in wanted.values():
        refuse_output("--html", output)
    from benchcheck.record.history import history_of
    from benchcheck.record.store import shelf_of
    from benchcheck.report.course import reach
    from benchcheck.report.text import history_lines

    shelf = shelf_of(records, unit)
    for fault in shelf.faults:
        click.echo(f"left out: {fault}", err=True)
    if not shelf.records:
        raise UsageError(Fault(str(records), "", f'holds no records of "{unit}"{_known(records, unit)}'))
    found = history_of(shelf.records, at=reach)
    if wanted:
        _write_reports(found, wanted)
    say(history_lines(found, every=every))
    return 0


def _write_reports(found: History, wanted: Mapping[str, Path]) -> None:
    from benchcheck.builtin import report_text
    from benchcheck.cli.opening import opened_plugins
    from benchcheck.document import write_atomically
    from benchcheck.report.offer import About

    manager = opened_plugins()
    for name, output in wanted.items():
        write_atomically(output, report_text(manager, name, About.UNIT, found), error=RecordError)


def _known(records: Path, unit: str) -> str:
    """Return which label was probably meant, or what to do."""
    from urllib.parse import unquote

    from benchcheck.errors import close_match
    from benchcheck.record.shelf import unit_folders

    if not records.is_dir():
        return "; the folder is not there, name it with --records"
    labels = [unquote(folder.name) for folder in unit_folders(records)]
    near = close_match(unit, labels)
    return near or "; verify makes records, or name their folder with --records"


def _across(records: Path, unit: str | None, lot: str | None, meter: str | None) -> int:
    from benchcheck.report.text import visits_lines
    from benchcheck.report.wording import counted

    with _index(records) as index:
        done = index.update(records)
        for fault in done.faults:
            click.echo(f"left out: {fault}", err=True)
        found = _found(index, lot, meter)
    if unit is not None:
        from benchcheck.record.folders import unit_folder

        found = [(visit, words) for visit, words in found if visit.folder == unit_folder(unit)]
    say(visits_lines(found))
    units = len({visit.folder for visit, _ in found})
    asked = " and ".join(
        words for words in (lot is not None and f"lot {lot}", meter is not None and f"meter {meter}") if words
    )
    visits = len({visit.head_seal for visit, _ in found})
    click.echo(f"{asked}: {counted(units, 'unit')}, {counted(visits, 'visit')}")
    return 0


def _index(records: Path) -> Index:
    """Return the index beside the records, or one in memory where nothing can be written there."""
    from benchcheck.record.index import Index

    if not records.is_dir():
        raise UsageError(Fault("--records", str(records), "there is no such folder; name the one with the records"))
    try:
        return Index.beside(records)
    except RecordError:
        return Index("sqlite://")


def _found(index: Index, lot: str | None, meter: str | None) -> list[tuple[IndexedVisit, str]]:
    """Return the visits asked for; with both questions those that answer both."""
    by_meter = index.with_meter(meter) if meter is not None else ()
    if lot is None:
        return [(visit, "") for visit in by_meter]
    seals = {visit.head_seal for visit in by_meter}
    by_lot = index.with_lot(lot)
    return [(visit, f"in {part}") for visit, part in by_lot if meter is None or visit.head_seal in seals]
