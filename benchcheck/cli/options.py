"""Options that several commands share, worded once."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["bench_option", "json_option", "records_option", "spec_argument"]

spec_argument = click.argument("spec", type=click.Path(path_type=Path))
bench_option = click.option(
    "--bench", metavar="FILE", help="The bench file, or the word simulated.  [default: ./bench.toml]"
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
