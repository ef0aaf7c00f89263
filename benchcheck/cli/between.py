"""`benchcheck between`: what the meter should read between two nets, and why."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from benchcheck.cli.completing import nets
from benchcheck.cli.options import bench_option, json_option, spec_argument

__all__ = ["between"]

_FUNCTIONS = ("ohms", "low_power_ohms", "diode", "capacitance", "esr")


@click.command(
    epilog="""\b
Examples:
  benchcheck between specs/quillmere-kr6.toml FB GND --bench simulated
  benchcheck between specs/quillmere-kr6.toml LX VSW --function diode \\
    --bench examples/quillmere-kr6/bench.toml"""
)
@spec_argument
@click.argument("first", required=False, shell_complete=nets)
@click.argument("second", required=False, shell_complete=nets)
@click.option("--function", type=click.Choice(_FUNCTIONS), default="ohms", show_default=True, help="What to measure.")
@click.option(
    "--branches",
    "group",
    type=click.Path(path_type=Path),
    help="Instead: a CSV of resistances read between all nets of a group (red,black,reading); gives each branch.",
)
@bench_option
@json_option
def between(
    spec: Path,
    first: str | None,
    second: str | None,
    function: str,
    group: Path | None,
    bench: str | None,
    json_file: Path | None,
) -> int:
    """Say what this meter should read between nets FIRST and SECOND of SPEC, both ways round.

    With it come the parts that make the reading so, and what it would be if one of them were faulty. With --branches
    no nets are named: the file holds readings between every two nets of a passive group, and what lies between each
    two is worked out from them, the part's own value where nothing else can lie there; the exit code is then that
    of verify.
    """
    if group is not None:
        return _branches(spec, group, (first, second), bench, json_file)
    if first is None or second is None:
        raise click.UsageError("name two nets, or give --branches FILE")
    from benchcheck.bench.functions import Function
    from benchcheck.builtin import load_spec
    from benchcheck.score.between import between as solved
    from benchcheck.score.between import between_json
    from benchcheck.session.which_bench import bench_from
    from benchcheck.terminal.listing import between_lines
    from benchcheck.terminal.waiting import words_for

    board = load_spec(spec)
    found = solved(board, bench_from(bench), first, second, Function(function), words_for(len(board.parts)))
    _told(between_lines(found), between_json(found), json_file)
    return 0


def _branches(
    spec: Path, group: Path, nets: tuple[str | None, str | None], bench: str | None, json_file: Path | None
) -> int:
    """Work out every branch of a group from a file of readings between its nets."""
    from benchcheck.builtin import load_spec
    from benchcheck.readings.pairs import read_pairs
    from benchcheck.readings.reading import Session
    from benchcheck.score.branches import branch_lines, branches, branches_json, exit_code_of
    from benchcheck.session.which_bench import bench_from

    if any(nets):
        raise click.UsageError("the nets stand in the file of --branches; name none beside it")
    board = load_spec(spec)
    taken = [(one.red, one.black, one.ohm, one.resolution) for one in read_pairs(group)]
    found = branches(board, bench_from(bench), taken, Session(ambient_c=board.ambient_c))
    _told(branch_lines(found), branches_json(found), json_file)
    return exit_code_of(found)


def _told(lines: Iterable[str], for_programs: dict[str, Any], json_file: Path | None) -> None:
    if json_file is not None:
        from benchcheck.document import write_atomically

        write_atomically(json_file, json.dumps(for_programs, indent=1, ensure_ascii=False) + "\n")
    for line in lines:
        click.echo(line)
