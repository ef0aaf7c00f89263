"""`benchcheck capability`: what this bench can decide, said before a probe is touched."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchcheck.cli.options import as_option, bench_option, json_option, refuse_unwritable, spec_argument

__all__ = ["capability"]


@click.command(
    epilog="""\b
Examples:
  benchcheck capability specs/quillmere-kr6.toml \\
    --bench examples/quillmere-kr6/bench.toml
  benchcheck capability specs/quillmere-kr6.toml --card > card.txt
  benchcheck capability specs/quillmere-kr6.toml --as card-page > card.html"""
)
@spec_argument
@bench_option
@click.option("--card", is_flag=True, help="Print a probe card instead, with room to write.")
@as_option("")
@json_option
def capability(spec: Path, bench: str | None, card: bool, report: str, json_file: Path | None) -> int:
    """Say for every check of SPEC what this bench's meters make of it: can they decide, and if not, what can."""
    refuse_unwritable(json_file, spec, bench or "bench.toml")
    from benchcheck.checklist.order import in_order
    from benchcheck.cli.opening import open_spec, opened_plugins
    from benchcheck.readings.reading import Session
    from benchcheck.score.capability import capabilities, capability_json
    from benchcheck.score.model_circuit import model_of
    from benchcheck.score.solver import CircuitSolver
    from benchcheck.session.which_bench import bench_from
    from benchcheck.terminal.listing import capability_lines
    from benchcheck.terminal.waiting import count_for

    manager = opened_plugins()
    board = open_spec(spec, manager)
    bench_read = bench_from(bench)
    session = Session(ambient_c=board.ambient_c)
    tell = count_for(len(board.parts), "checks looked at")
    circuit = CircuitSolver(board, bench_read)
    found = capabilities(in_order(board.checks), bench_read, session, circuit, tell)
    if json_file is not None:
        from benchcheck.document import write_atomically

        write_atomically(json_file, json.dumps(capability_json(found), indent=1, ensure_ascii=False) + "\n")
    if card or report:
        from benchcheck.builtin import report_text
        from benchcheck.report.offer import About, CardSubject

        subject = CardSubject(board.model, tuple(found))
        click.echo(report_text(manager, report or "card", About.BENCH, subject), nl=False)
        return 0
    for line in capability_lines(found, model_of(board).unmodelled):
        click.echo(line)
    return 0
