"""`benchcheck between`: what the meter should read between two nets, and why."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchcheck.cli.completing import nets
from benchcheck.cli.options import bench_option, json_option, spec_argument

__all__ = ["between"]

_FUNCTIONS = ("ohms", "diode", "capacitance", "esr")


@click.command(
    epilog="""\b
Examples:
  benchcheck between specs/quillmere-kr6.toml FB GND --bench simulated
  benchcheck between specs/quillmere-kr6.toml LX VSW --function diode \\
    --bench examples/quillmere-kr6/bench.toml"""
)
@spec_argument
@click.argument("first", shell_complete=nets)
@click.argument("second", shell_complete=nets)
@click.option("--function", type=click.Choice(_FUNCTIONS), default="ohms", show_default=True, help="What to measure.")
@bench_option
@json_option
def between(spec: Path, first: str, second: str, function: str, bench: str | None, json_file: Path | None) -> int:
    """Say what this meter should read between nets FIRST and SECOND of SPEC, both ways round.

    With it come the parts that make the reading so, and what it would be if one of them were faulty.
    """
    from benchcheck.bench.functions import Function
    from benchcheck.builtin import load_spec
    from benchcheck.score.between import between as solved
    from benchcheck.score.between import between_json
    from benchcheck.session.which_bench import bench_from
    from benchcheck.terminal.listing import between_lines

    found = solved(load_spec(spec), bench_from(bench), first, second, Function(function))
    if json_file is not None:
        from benchcheck.document import write_atomically

        write_atomically(json_file, json.dumps(between_json(found), indent=1, ensure_ascii=False) + "\n")
    for line in between_lines(found):
        click.echo(line)
    return 0
