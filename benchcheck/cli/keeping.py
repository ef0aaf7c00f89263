"""`records amend` and `records contact`: what is added to a record later, and what is kept apart from all records."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli import completing
from benchcheck.cli.options import records_option
from benchcheck.errors import Fault, UsageError, close_match

if TYPE_CHECKING:
    from benchcheck.record.record import Record

__all__ = ["amend", "contact"]


@click.command(
    short_help="Add a remark to a sealed record.",
    epilog="""\b
Example:
  benchcheck records amend records/kr-6/20260131T101500Z-1f0c9a2b.toml \\
    "read on the 6 V range, not the 60 V range" --check VSW.voltage[0A]""",
)
@click.argument("record", type=click.Path(path_type=Path), shell_complete=completing.records)
@click.argument("text")
@click.option("--check", "check_id", default="", metavar="CHECK", help="The check it is about; its score is named.")
@click.option("--operator", default="", metavar="INITIALS", help="Who says so.")
def amend(record: Path, text: str, check_id: str, operator: str) -> int:
    """Add TEXT to RECORD as a sealed block of its own; nothing that stands in it is changed."""
    from benchcheck.clock import SystemClock
    from benchcheck.record.journal import Journal
    from benchcheck.record.store import read_record

    if not text.strip():
        raise UsageError(Fault("TEXT", "", "is empty; write what is to be known"))
    amends = _amended(read_record(record, with_budgets=False), check_id)
    with Journal.resume(record, SystemClock()) as journal:
        seal = journal.append_event("amendment", check_id, text, amends=amends, operator=operator)
    click.echo(f"added; last seal {seal}")
    return 0


def _amended(record: Record, check_id: str) -> tuple[str, ...]:
    """Return the seal of the score that an amendment is about, none where it is about the whole visit."""
    if not check_id:
        return ()
    scores = [entry for entry in record.all_scores if entry.value.check == check_id]
    if not scores:
        hint = close_match(check_id, [score.check for score in record.scores])
        raise UsageError(Fault("--check", check_id, f"the record has no score of it{hint or '; leave it out'}"))
    return (scores[-1].seal,)


@click.command(
    short_help="Keep, show or erase whose unit it is.",
    epilog="""\b
Examples:
  benchcheck records contact "KR-6 no. 0412" --name "A. Person"
  benchcheck records contact "KR-6 no. 0412"
  benchcheck records contact "KR-6 no. 0412" --erase""",
)
@click.argument("unit")
@click.option("--name", metavar="TEXT", help="Whose unit it is.")
@click.option("--reach", metavar="TEXT", help="How to reach them.")
@click.option("--complaint", metavar="TEXT", help="What they said was wrong.")
@click.option("--erase", is_flag=True, help="Erase what is kept; the records stay whole.")
@records_option
def contact(unit: str, name: str | None, reach: str | None, complaint: str | None, erase: bool, records: Path) -> int:
    """Keep, show or erase whose UNIT it is, apart from its records, which never name a customer."""
    from benchcheck.record.contacts import erase_contact

    given = {
        key: text for key, text in (("name", name), ("reach", reach), ("complaint", complaint)) if text is not None
    }
    if erase and given:
        raise UsageError(Fault("--erase", "", f"and --{next(iter(given))} contradict each other; give one of them"))
    if erase:
        click.echo("erased" if erase_contact(records, unit) else "there was nothing to erase")
        return 0
    return _kept(records, unit, given)


def _kept(records: Path, unit: str, given: dict[str, str]) -> int:
    """Put what was given in place of what was kept, or show what is kept."""
    from dataclasses import replace

    from benchcheck.record.contacts import Contact, keep_contact, read_contact
    from benchcheck.report.wording import one_line

    kept = read_contact(records, unit)
    if given:
        keep_contact(records, unit, replace(kept or Contact(), **given))
        click.echo("kept; --erase erases it")
    elif kept is None:
        click.echo("nothing is kept")
    else:
        for key in ("name", "reach", "complaint"):
            click.echo(f"{key}: {one_line(getattr(kept, key))}".rstrip())
    return 0
