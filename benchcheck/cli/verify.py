"""`benchcheck verify`: the same pytest run a user can start, with our own screen."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from benchcheck.cli import completing
from benchcheck.cli.options import bench_option, json_option, records_option, refuse_unwritable, spec_argument

__all__ = ["verify"]


@click.command(
    epilog="""\b
Examples:
  benchcheck verify specs/quillmere-kr6.toml --unit 0412
  benchcheck verify specs/quillmere-kr6.toml --unit 0412 --only D3,C9
  benchcheck verify specs/quillmere-kr6.toml --unit 0412 --resume
  benchcheck verify specs/quillmere-kr6.toml --unit demo --bench simulated
  benchcheck verify specs/quillmere-kr6.toml --unit 0412 \\
    --bench examples/quillmere-kr6/bench.toml \\
    --readings examples/quillmere-kr6/good.csv --json result.json"""
)
@spec_argument
@click.option("--unit", required=True, metavar="LABEL", help="The unit on the bench, as its label says.")
@bench_option
@click.option("--readings", type=click.Path(path_type=Path), metavar="FILE", help="A CSV file of readings.")
@click.option(
    "--source",
    default="",
    metavar="NAME",
    help="What is asked, or reads the file: typed, csv, a plugin's. From a pipe, typed begins with the board's "
    "first check; the meter's own are asked at a terminal.",
)
@click.option(
    "--only",
    metavar="NAMES",
    shell_complete=completing.checks(several=True, subjects=True),
    help="Parts, rails or check ids, comma separated: D3,C9.esr",
)
@click.option(
    "--stage",
    type=click.Choice(["as-found", "as-left", "return"]),
    default="as-left",
    show_default=True,
    help="Which look this is.",
)
@click.option("--resume", is_flag=True, help="Go on with the unit's unfinished record.")
@click.option(
    "--waive",
    nargs=2,
    multiple=True,
    metavar="CHECK REASON",
    shell_complete=completing.checks(),
    help="Apply power without this check.",
)
@click.option(
    "--explain",
    metavar="CHECK",
    shell_complete=completing.checks(),
    help="Show the uncertainty budget of one check.",
)
@click.option(
    "--soak",
    type=click.FloatRange(0.0, 1440.0),
    default=0.0,
    metavar="MIN",
    help="Then run the unit for so many minutes, attended, and log it.",
)
@click.option("--operator", default="", metavar="INITIALS", help="Who measures; kept in the record.")
@click.option(
    "--keep-until",
    type=click.DateTime(["%Y-%m-%d"]),
    callback=lambda _context, _option, moment: moment and moment.date(),
    metavar="YYYY-MM-DD",
    help="Note in the record until when to keep it; nothing is deleted.",
)
@click.option("--linear", is_flag=True, help="One line an event, no screen: for screen readers and slow lines.")
@click.option("--silent", is_flag=True, help="No bell, no tones, no speech.")
@click.option("--spoken", is_flag=True, help="Say where the tips go, where a speech program is installed.")
@json_option
@records_option
def verify(
    spec: Path,
    only: str | None,
    explain: str | None,
    json_file: Path | None,
    linear: bool,
    silent: bool,
    spoken: bool,
    **asked: Any,
) -> int:
    """Check one unit against its SPEC: what to measure, what it shows, what to keep.

    Exit codes: 0 all passed; 1 something failed; 2 spec, bench or usage error; 3 nothing failed but something
    undecided, skipped or blocked; 4 instrument trouble; 5 output state unknown; 130 interrupted.
    """
    refuse_unwritable(json_file, spec, asked["bench"] or "bench.toml", asked["readings"])
    from benchcheck.cli.visit import run_visit
    from benchcheck.session.run import Request
    from benchcheck.terminal.manner import Manner

    manner = Manner(linear, silent, spoken)
    report = run_visit(spec, Request(**asked), only=only, explain_check=explain, manner=manner)
    if json_file is not None:
        from benchcheck.document import write_atomically

        write_atomically(json_file, json.dumps(report.results(), indent=1, ensure_ascii=False) + "\n")
    if report.exit_code == 1:
        from benchcheck.terminal.likely import likely_lines
        from benchcheck.terminal.screen import Screen

        screen = Screen()
        for line in likely_lines(report):
            screen.tell(line)
    return report.exit_code
