"""`benchcheck simulate`: a virtual unit on a simulated bench, served until the end is asked for."""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.completing import benches
from benchcheck.cli.options import spec_argument
from benchcheck.errors import Fault, UsageError

if TYPE_CHECKING:
    from benchcheck.simulation.hand_lines import HandLines
    from benchcheck.simulation.simulated_bench import SimulatedBench
    from benchcheck.spec.board import Board

__all__ = ["simulate"]

_ANY = "any"


@click.command(
    epilog="""\b
Examples:
  benchcheck simulate specs/quillmere-kr6.toml --fault "D3 reversed" --seed 7
  benchcheck simulate specs/quillmere-kr6.toml --fault any --seed 12 --tell"""
)
@spec_argument
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="WORDS",
    help='"D3 reversed", "bridge GDR LX", "probes-swapped"; any draws one by the seed.',
)
@click.option("--seed", type=int, default=0, show_default=True, help="Which unit it is: the values of its parts.")
@click.option("--bench", metavar="FILE", shell_complete=benches, help="Serve this bench's meter, supply and load.")
@click.option(
    "--pace", type=click.FloatRange(1.0, 1e4), default=20.0, show_default=True, help="Charge moves so much faster."
)
@click.option("--ports", default="0,0,0", show_default=True, help="For meter, supply and load; 0 takes a free one.")
@click.option("--tell", is_flag=True, help="Say at the end what was wrong.")
def simulate(
    spec: Path, faults: tuple[str, ...], seed: int, bench: str | None, pace: float, ports: str, tell: bool
) -> int:
    """Serve a virtual unit of SPEC behind a simulated meter, supply and load, until Ctrl-C.

    The instruments answer SCPI on this machine's loopback. The probes are moved by lines on standard input: a
    check's id, two nets, or help for the rest.
    """
    from benchcheck.cli.opening import open_spec
    from benchcheck.session.which_bench import bench_from
    from benchcheck.simulation.hand_lines import HandLines
    from benchcheck.simulation.simulated_bench import SimulatedBench
    from benchcheck.terminal.signals import ending_as_interrupt

    board = open_spec(spec)
    chosen = tuple(_drawn(board, seed) if fault == _ANY else fault for fault in faults)
    own = bench_from(bench) if bench is not None else None
    served = SimulatedBench(board, chosen, seed, _ports(ports), bench=own, pace=pace)
    try:
        with ending_as_interrupt(interrupt_too=True), served:
            lines = HandLines(served.hand)
            _introduce(served, board, seed, own is not None)
            _follow_lines(lines)
    except OSError as error:
        raise UsageError(Fault("--ports", ports, f"cannot be served ({error}); choose others, or 0")) from error
    except KeyboardInterrupt:
        click.echo()
    if tell:
        wrong = served.unit.specimen.faults.in_words()
        click.echo(f"What was wrong: {wrong or 'nothing'}.")
    return 0


def _drawn(board: Board, seed: int) -> str:
    """Return one fault of all this board can have, drawn by the seed."""
    from benchcheck.circuit.faults import possible_faults
    from benchcheck.simulation.specimen import Specimen

    specimen = Specimen(board, (), seed)
    possible = possible_faults(specimen.good({}))
    if not possible:
        raise UsageError(Fault("--fault", _ANY, "the spec has no part that can be faulty; give it parts"))
    return str(specimen.chance("fault").choice(possible))


def _ports(text: str) -> tuple[int, ...]:
    try:
        ports = tuple(int(word) for word in text.split(","))
    except ValueError:
        ports = ()
    if len(ports) != 3 or not all(0 <= port < 65536 for port in ports):
        raise UsageError(Fault("--ports", text, "is not three port numbers; write 5025,5026,5027 or 0,0,0"))
    return ports


def _introduce(served: SimulatedBench, board: Board, seed: int, own: bool) -> None:
    from benchcheck.simulation.simulated_bench import fragment_of

    click.echo(
        f"{f'{board.model} {board.revision}'.strip()}, virtual unit {seed}: nothing here is real, no power flows."
    )
    click.echo("Put this into a bench file and measure with it from another terminal:\n")
    click.echo(fragment_of(served.names, served.resources, own))
    click.echo("\nHere the hand is moved: write a check's id, two nets, or help. Ctrl-C ends.")
    sys.stdout.flush()


def _follow_lines(lines: HandLines) -> None:
    """Obey lines until one asks for the end; with no more lines to come, serve on."""
    for line in sys.stdin:
        if said := lines.obey(line):
            click.echo(said)
            sys.stdout.flush()
        if lines.done:
            return
    threading.Event().wait()
