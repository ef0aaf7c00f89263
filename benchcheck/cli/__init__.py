"""The command line: each command is a module, loaded only when it is the one called."""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import os
import sys
import traceback

import click

from benchcheck.cli.groups import Suggesting
from benchcheck.errors import BenchcheckError

__all__ = ["COMMANDS", "main"]

INTERRUPTED = 130
#: command -> (module, one line); the lines stand here so that help needs no command's module.
COMMANDS = {
    "verify": ("verify", "Check one unit against its spec and keep the record: the main job."),
    "capability": ("capability", "Say, before a probe is touched, what this bench can decide."),
    "between": ("between", "Say what the meter should read between two nets, and why."),
    "instruments": ("instruments", "List what is on the bench, who answers, errors waiting."),
    "simulate": ("simulate", "Serve a virtual unit on a simulated bench, to practise on."),
    "diagnose": ("diagnose", "Say what is likely wrong, and where the probes go next."),
    "history": ("history", "A unit over the years; which units hold a lot or met a meter."),
    "changes": ("changes", "What is different between two visits, the most significant first."),
    "sheet": ("sheet", "A record as one page, for the screen and A4."),
    "records": ("records", "Check, export or index all records."),
    "limits-from": ("limits", "Learn limits from known-good units."),
    "draft": ("draft", "Draft a spec from a parts list and a list of nets."),
    "check-spec": ("spec", "Validate a spec and list its checks."),
    "completion": ("completion", "Let the shell complete commands, specs and checks."),
    "schema": ("spec", "Print the JSON Schema of specs, for editors."),
}


class _Commands(Suggesting):
    """A group whose commands are imported on demand."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"benchcheck.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Example: benchcheck verify specs/quillmere-kr6.toml --unit 0412",
)
@click.version_option(package_name="benchcheck", prog_name="benchcheck", message="%(prog)s %(version)s")
def cli() -> None:
    """Prove, with the meter you own, that a repaired low-voltage board is right before the case is closed."""


def main() -> None:
    """Run the command line; every expected error becomes its message and its exit code."""
    _open_what_is_closed()
    _write_whatever_comes()
    # a board's matrices are small: threads of the linear algebra cost a tenth of a second and bring nothing
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # what a command makes it mostly keeps: looking for garbage after every 700 things found none
    gc.set_threshold(20_000)
    if "_BENCHCHECK_COMPLETE" in os.environ:
        from benchcheck.cli.completing import use_own_bash

        use_own_bash()
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        with contextlib.suppress(OSError):
            error.show()
        code = 2
    except (click.Abort, KeyboardInterrupt):
        code = INTERRUPTED
    except BenchcheckError as error:
        with contextlib.suppress(OSError):  # nobody is there to be told any more; the exit code stands
            _complain(error)
        code = error.exit_code
    except Exception as error:
        with contextlib.suppress(OSError):
            traceback.print_exc()
            click.echo(
                f"benchcheck: stumbled over {error!r}; what was accepted is kept. Please report the above", err=True
            )
        code = 2  # never 1, which says that a unit failed
    _leave(code if isinstance(code, int) else 0)


def _complain(error: BenchcheckError) -> None:
    """Say every fault on a line of its own, wrapped after its place."""
    from benchcheck.terminal.wrapping import wrapped

    faults = str(error).splitlines()
    if len(faults) > 1:
        click.echo(f"benchcheck: {len(faults)} things to put right", err=True)
    for fault in faults:
        said = fault if len(faults) > 1 else f"benchcheck: {fault}"
        click.echo("\n".join(wrapped(said, "", "    ")), err=True)


def _open_what_is_closed() -> None:
    """Give standard streams that were closed (`<&-`) nothing to read and nowhere to write, in place of no stream."""
    sys.stdin = sys.stdin or os.fdopen(os.open(os.devnull, os.O_RDONLY), encoding="utf-8")
    sys.stdout = sys.stdout or os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8")
    sys.stderr = sys.stderr or os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8")


def _write_whatever_comes() -> None:
    """Let a terminal that lacks a sign show another one rather than end the run."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _leave(code: int) -> None:
    try:
        sys.stdout.flush()
    except OSError:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    # an interrupt that met Python while it made a dataclass (it runs a text for that) stays "unhandled" to it, and
    # with `-m` it kills the process at its end whatever the code; a text that runs well takes that back
    exec("")
    sys.exit(code)
