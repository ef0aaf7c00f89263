"""`benchcheck draft`: a first spec from a parts list, with questions where the list is silent."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import refuse_output
from benchcheck.errors import Fault, UsageError

__all__ = ["draft"]


@click.command(
    epilog="""\b
Examples:
  benchcheck draft examples/draft/parts.csv
  benchcheck draft examples/draft/parts.csv --nets examples/draft/board.cir -o board.toml"""
)
@click.argument("parts", type=click.Path(path_type=Path), metavar="PARTS.csv")
@click.option(
    "--nets",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Which pin is on which net: a SPICE-style netlist, or a list of two columns.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="SPEC",
    help="The spec to write; it must not be there yet.  [default: print it]",
)
def draft(parts: Path, nets: Path | None, output: Path | None) -> int:
    """Draft a spec from a parts list: kinds, values and tolerances by reference and marking.

    Lines of the draft that begin with `# ?` are questions; nothing of the list is lost, what cannot be used
    stands as a comment with the reason. The draft passes check-spec as it is.
    """
    from benchcheck.document import write_atomically
    from benchcheck.draft import draft_spec

    refuse_output("-o", output, [parts, *filter(None, (nets,))])
    if output is not None and output.exists():
        message = "is there already, and answers in it would be lost; choose another name or remove it"
        raise UsageError(Fault("-o", str(output), message))
    made = draft_spec(parts, nets)
    told = f"{made.parts} parts, {made.questions} questions, {made.left_out} left out and named in it"
    if output is None:
        click.echo(made.text, nl=False)
        click.echo(told, err=True)
    else:
        write_atomically(output, made.text, mode=0o644)
        click.echo(f"{output}: {told}")
    return 0
