"""`benchcheck check-spec` and `benchcheck schema`: is a spec right, and what may stand in one."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchcheck.cli.options import spec_argument

__all__ = ["check_spec", "schema"]


@click.command(
    "check-spec",
    epilog="""\b
Examples:
  benchcheck check-spec specs/quillmere-kr6.toml
  benchcheck check-spec specs/quillmere-kr6.toml --brief""",
)
@spec_argument
@click.option("--brief", is_flag=True, help="Only say whether the spec holds together.")
def check_spec(spec: Path, brief: bool) -> int:
    """Validate SPEC: every fault at once, with its line; then list the checks it gives."""
    from benchcheck.checklist.order import in_order
    from benchcheck.cli.opening import open_spec
    from benchcheck.terminal.listing import check_lines
    from benchcheck.terminal.wrapping import wrapped

    board = open_spec(spec)
    name = f"{board.model} {board.revision}".strip()
    told = [f"{spec}: {name}: {len(board.checks)} checks, nothing wrong"]
    told += [f"no power on this board: {refusal}" for refusal in board.power_refusals]
    told += [f"note: {note}" for note in board.notes]
    for words in told:
        click.echo("\n".join(wrapped(words, "", "    ")))
    if not brief:
        for check in in_order(board.checks):
            for line in check_lines(check):
                click.echo(line)
    return 0


@click.command(
    "schema",
    epilog="""\b
Example:
  benchcheck schema > benchcheck.schema.json
  then write as the first line of a spec, for editors that read it:
  #:schema ./benchcheck.schema.json""",
)
def schema() -> int:
    """Print the JSON Schema of specs, which editors complete and check with."""
    from benchcheck.builtin import plugins
    from benchcheck.spec.schema import json_schema

    click.echo(json.dumps(json_schema(plugins().handed("benchcheck_kinds")), indent=1, ensure_ascii=False))
    return 0
