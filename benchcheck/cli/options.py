"""Options that several commands share, worded once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from benchcheck.cli import completing
from benchcheck.errors import Fault, UsageError

__all__ = ["as_option", "bench_option", "json_option", "records_option", "refuse_unwritable", "spec_argument"]

spec_argument = click.argument("spec", type=click.Path(path_type=Path), shell_complete=completing.specs)
bench_option = click.option(
    "--bench",
    metavar="FILE",
    shell_complete=completing.benches,
    help="The bench file, or the word simulated.  [default: ./bench.toml]",
)
records_option = click.option(
    "--records",
    type=click.Path(path_type=Path),
    default=Path("records"),
    show_default=True,
    help="Where records are.",
)
json_option = click.option(
    "--json", "json_file", type=click.Path(path_type=Path), metavar="FILE", help="Also write results for programs."
)


def as_option(default: str) -> Callable[[Any], Any]:
    """Return the option that names the report to make."""
    told = "Which report: one of benchcheck's or a plugin's."
    return click.option("--as", "report", default=default, show_default=bool(default), metavar="NAME", help=told)


def refuse_unwritable(target: Path | None, *inputs: Path | str | None) -> None:
    """Raise UsageError before any work is done where results could not be written, or would replace an input."""
    if target is None:
        return
    if not target.parent.is_dir():
        raise UsageError(
            Fault("--json", str(target), "its directory does not exist; create it or choose another place")
        )
    if target.is_dir():
        raise UsageError(Fault("--json", str(target), "is a directory; name a file in it"))
    for given in inputs:
        if given is not None and Path(given).exists() and target.exists() and target.samefile(given):
            raise UsageError(Fault("--json", str(target), "is one of the files read here; choose another name"))
